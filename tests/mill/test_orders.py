"""Orders, their plans and what stops their dispatch."""

import uuid
from datetime import date

import pytest

from doffer.errors import InputError, RefusedError
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.orders import (
    OrderFacts,
    OrderLotFacts,
    add_plan,
    change_order,
    move_order,
    name_lots,
    take_order,
)
from doffer.mill.models import Order
from doffer.mill.queries.orders import list_orders, one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.planning.batch import plan_order

pytestmark = pytest.mark.django_db
SPEC = {
    "batches": [
        {"name": "white", "lots": ["L001"], "wish": {"product": "yarn", "plies": 2, "length_m_per_100g": 250}}
    ]
}


@pytest.fixture
def order(small_mill):
    return take_order(
        small_mill.office,
        OrderFacts(
            customer=small_mill.moss,
            product="2-ply yarn",
            promised_on=date(2026, 3, 20),
            spec=SPEC,
            lots=(OrderLotFacts(lot="L001"), OrderLotFacts(lot="L005", role="mill fibre", wanted_g=500)),
        ),
    )


def test_an_order_is_taken_once_with_its_lots(small_mill):
    key = uuid.uuid4()
    facts = OrderFacts(customer=small_mill.moss, product="roving", lots=(OrderLotFacts(lot="L001"),))
    first = take_order(small_mill.office, facts, key=key)
    assert take_order(small_mill.office, facts, key=key) == first == "O001"
    assert [item.lot.code for item in one_order(first).lots] == ["L001"]
    assert Order.objects.count() == 1


def test_fibre_of_another_farm_does_not_go_into_an_order(small_mill):
    facts = OrderFacts(customer=small_mill.moss, product="roving", lots=(OrderLotFacts(lot="L003"),))
    with pytest.raises(RefusedError, match="belongs to Fern Bank Alpacas, the order is from Moss Edge Farm"):
        take_order(small_mill.office, facts)
    assert Order.objects.count() == 0


def test_plans_stay_beside_one_another(small_mill, order):
    for seed in (1, 2):
        add_plan(
            small_mill.office,
            order,
            spec=SPEC,
            result={"kg": seed},
            tables_sha256="a" * 64,
            seed=seed,
            code_version="0.1.0",
        )
    plans = one_order(order).plans
    assert [(plan.version, plan.seed, plan.result["kg"]) for plan in plans] == [(2, 2, 2), (1, 1, 1)]
    assert plans[0].made_by == "Otto"


def test_an_order_gives_the_planner_everything_it_needs(small_mill, order):
    inputs = plan_inputs(order=order)
    assert [lot.code for lot in inputs.lots] == ["L001", "L005"]
    assert inputs.lots[1].wanted_g == 500
    assert inputs.batches[0].lots[0].weighed_mass_g == 4_000
    assert inputs.batches[0].lots[0].yields_as == "primitive_wool"
    assert inputs.ways.machines["card"].held_mass_g == 60
    plan = plan_order(inputs.order_spec, inputs.tables)
    assert plan.tables_sha256 == inputs.tables.sha256


def test_a_batch_of_lots_that_the_order_does_not_use_is_refused(small_mill):
    spec = {"batches": [{"name": "x", "lots": ["L002"], "wish": {"product": "roving"}}]}
    facts = OrderFacts(
        customer=small_mill.moss, product="roving", spec=spec, lots=(OrderLotFacts(lot="L001"),)
    )
    code = take_order(small_mill.office, facts)
    with pytest.raises(InputError, match="lots of the batch is “L002”; it must be among L001"):
        plan_inputs(order=code)


def test_what_was_changed_stays_readable(small_mill, order):
    change_order(small_mill.office, order, promised_on=date(2026, 3, 27))
    happened = one_order(order).happened
    assert happened[0].what == "changed: promised on was “2026-03-20”"
    assert happened[0].person == "Otto"
    with pytest.raises(InputError, match="changed in product"):
        change_order(small_mill.office, order, customer="C01")


def test_nothing_is_sent_while_a_hold_is_open(small_mill, order):
    open_hold(small_mill.floor, kind="moth", lot="L001", reason="larvae")
    open_hold(small_mill.office, kind="unpaid", customer=small_mill.moss, reason="invoice 7")
    assert len(one_order(order).holds) == 2
    with pytest.raises(RefusedError, match="O001 is not sent: L001 is on hold, moth: larvae"):
        move_order(small_mill.office, order, "shipped")


def test_an_unpaid_order_is_not_sent(small_mill, order):
    open_hold(small_mill.office, kind="unpaid", customer=small_mill.moss, reason="invoice 7")
    with pytest.raises(RefusedError, match="unpaid: invoice 7"):
        move_order(small_mill.office, order, "shipped")


def test_orders_are_listed_by_state_and_word(small_mill, order):
    assert [row.code for row in list_orders().rows] == [order]
    move_order(small_mill.office, order, "shipped")
    assert list_orders().rows == ()
    assert [row.code for row in list_orders(state="all", search="moss ply").rows] == [order]
    name_lots(small_mill.office, order, (OrderLotFacts(lot="L002"),))
    assert [item.lot.code for item in one_order(order).lots] == ["L001", "L005", "L002"]
