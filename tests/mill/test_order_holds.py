"""The hold of an order stops its fibre, and all that was made of it."""

import pytest

from doffer.errors import RefusedError
from doffer.mill.booking import Reading
from doffer.mill.commands.holds import clear_hold, open_hold
from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, move_order, take_order
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.models import Lot
from doffer.mill.queries.lots import list_lots, one_lot
from doffer.mill.queries.orders import one_order

pytestmark = pytest.mark.django_db


def run(person, stage, lot, *, out_g, in_g=None, order=""):
    reading = None if in_g is None else Reading(gross_g=in_g)
    done = record_run(
        person,
        RunFacts(stage=stage, order=order),
        inputs=[RunIn(lot=lot, reading=reading)],
        outputs=[RunOut(reading=Reading(gross_g=out_g, branch="measured", measured_regain_frac=0.15))],
        confirmation="weighed twice",
    )
    return done.outputs[0].lot


@pytest.fixture
def roving(small_mill):
    """An order of Moss Edge for L001 and the mill's L005; a part of L001 is roving now: (order, roving)."""
    facts = OrderFacts(
        customer=small_mill.moss,
        product="roving",
        lots=(OrderLotFacts(lot="L001"), OrderLotFacts(lot="L005", role="mill fibre")),
    )
    order = take_order(small_mill.office, facts)
    run(small_mill.floor, "wash", "L001", out_g=2700)
    made = run(small_mill.floor, "card", "L001", in_g=1000, out_g=900)
    assert made != "L001"
    return order, made


@pytest.fixture
def held(small_mill, roving):
    order, _ = roving
    return open_hold(small_mill.office, kind="moth", order=order, reason="larvae in the fleece")


@pytest.mark.parametrize("which", ["its lot", "what was made of it"])
def test_the_hold_of_an_order_stops_its_lot_and_what_was_made_of_it(small_mill, roving, held, which):
    order, made = roving
    lot = "L001" if which == "its lot" else made
    said = f"{order}, which {lot} is for, is on hold, moth: larvae in the fleece"
    with pytest.raises(RefusedError, match=said):
        run(small_mill.floor, "draw", lot, out_g=800)
    clear_hold(small_mill.office, held, clearance="frozen 14 days")
    run(small_mill.floor, "draw", lot, out_g=800)


def test_other_fibre_of_the_owner_and_of_the_mill_goes_on(small_mill, held):
    run(small_mill.floor, "wash", "L002", out_g=2000)
    run(small_mill.floor, "pick", "L005", out_g=9500)
    assert not one_lot("L002").row.is_held
    assert not one_lot("L005").row.is_held


def test_nothing_is_run_for_a_held_order(small_mill, roving, held):
    order, _ = roving
    with pytest.raises(RefusedError, match=f"The pick run does not start: {order} is on hold, moth"):
        run(small_mill.floor, "pick", "L005", out_g=9500, order=order)


def test_an_unpaid_order_goes_through_the_machines_and_is_not_sent(small_mill, roving):
    order, made = roving
    open_hold(small_mill.office, kind="unpaid", order=order, reason="invoice 7")
    run(small_mill.floor, "draw", made, out_g=800)
    row = one_lot(made).row
    assert (row.is_held, row.is_stopped) == (True, False)
    with pytest.raises(RefusedError, match="unpaid: invoice 7"):
        move_order(small_mill.office, order, "shipped")


def test_an_order_is_not_sent_while_its_yarn_is_held(small_mill, roving):
    order, made = roving
    open_hold(small_mill.floor, kind="quarantine", lot=made, reason="webbing on the can")
    with pytest.raises(RefusedError, match=f"{order} is not sent: {made} is on hold, quarantine: webbing"):
        move_order(small_mill.office, order, "shipped")


def test_the_lot_and_the_list_say_which_order_is_held_and_why(roving, held):
    order, made = roving
    assert [(hold.order, hold.reason) for hold in one_lot(made).holds] == [(order, "larvae in the fleece")]
    shown = {row.code: row.held_for for row in list_lots(standing="held").rows}
    assert shown == dict.fromkeys(("L001", made), f"{order}: larvae in the fleece")


def test_yarn_made_before_the_order_was_booked_is_not_of_it(small_mill, roving, held):
    _, made = roving
    lot = Lot.objects.get(code=made)
    lot.created_at = lot.created_at.replace(year=lot.created_at.year - 1)
    lot.save(update_fields=["created_at"])
    assert not one_lot(made).row.is_held
    assert one_lot(made).made_for == ()


def test_what_was_made_names_its_order_as_the_order_names_it(small_mill, roving):
    order, made = roving
    assert (one_lot(made).made_for, one_lot(made).orders) == ((order,), ())
    assert (one_lot("L001").made_for, one_lot("L001").orders) == ((), (order,))
    yarn = run(small_mill.floor, "spin", made, in_g=500, out_g=480)
    assert one_lot(yarn).made_for == (order,)
    assert [made.lot.code for made in one_order(order).made] == [yarn]


def test_the_run_says_for_which_of_two_orders_it_was(small_mill, roving):
    order, _ = roving
    facts = OrderFacts(customer=small_mill.moss, product="yarn", lots=(OrderLotFacts(lot="L001"),))
    other = take_order(small_mill.office, facts)
    roving_b = run(small_mill.floor, "card", "L001", in_g=700, out_g=600, order=other)
    unsaid = run(small_mill.floor, "card", "L001", in_g=300, out_g=250)
    assert one_lot(roving_b).made_for == (other,)
    assert one_lot(unsaid).made_for == (other, order)
