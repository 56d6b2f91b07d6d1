"""What an order's page and Today say comes next is one thing, and the plan's first stage."""

import re
import uuid

import pytest

from doffer.mill import clock
from doffer.mill.booking import Reading
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.run_facts import RunFacts, RunIn, RunOut
from doffer.mill.commands.run_stage import record_run
from doffer.mill.models import Order, Run
from doffer.mill.next_stage import settle_after
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.today import today

pytestmark = pytest.mark.django_db(transaction=True)


def said_next(client, code: str) -> str:
    found = re.search(
        r"Next for your hands</span> <strong>([^<]*)<.*?\?stage=(\w+)",
        client.get(f"/orders/{code}/").content.decode(),
        re.DOTALL,
    )
    return found[2] if found else ""


def test_fibre_that_is_to_be_blended_is_picked_together_before_it_is_carded(client, demo_mill):
    assert said_next(client, "O203") == "pick"


def test_todays_next_step_is_that_of_the_orders_page(client, demo_mill):
    startable = [order for order in today().orders if order.next_stage and not order.is_held]
    pages = {order.code: said_next(client, order.code) for order in startable}
    told = {order.code: order.next_stage for order in startable if pages[order.code]}
    assert {code: pages[code] for code in told} == told
    assert len(told) >= 3


def test_to_begin_takes_the_order_and_the_lots_that_go_in_together_along(client, demo_mill):
    page = client.get("/orders/O203/").content.decode()
    address = re.search(r'href="(/runs/new/\?stage=pick[^"]*)">Begin', page)[1].replace("&amp;", "&")
    form = client.get(address).content.decode()
    for code in ("L009", "L010", "L036", "L034"):  # they already stand in the form
        assert re.search(rf'name="lot" value="{code}"', form)
    assert re.search(r'name="order"[^>]*value="O203"', form)


def todays_next(code: str) -> str:
    return next(order.next_stage for order in today().orders if order.code == code)


def test_today_moves_on_with_the_runs_of_a_kept_plan_as_the_page_does(client, demo_mill, client_of):
    office = client_of(demo_mill.owner)
    assert office.post("/orders/O203/plan/", {"key": str(uuid.uuid4())}).status_code == 302
    ins = [RunIn(lot=code) for code in ("L009", "L010", "L036", "L034")]
    before, seen = todays_next("O203"), []
    assert before == said_next(office, "O203") == "pick"
    done = run(demo_mill, "pick", ins, "O203")
    seen.append(todays_next("O203"))
    assert seen[-1] == said_next(office, "O203") not in ("", "pick")
    run(demo_mill, "rest", [RunIn(lot=done)], "O203")
    seen.append(todays_next("O203"))
    assert seen[-1] == said_next(office, "O203") not in (*seen[:-1], "pick", "")
    assert "Card" in " ".join(office.get("/").content.decode().split("O203")[0].split()[-40:])


def test_a_run_of_the_owners_lots_counts_without_naming_the_order(client, demo_mill, client_of):
    office = client_of(demo_mill.owner)
    office.post("/orders/O203/plan/", {"key": str(uuid.uuid4())})
    run(demo_mill, "pick", [RunIn(lot=code) for code in ("L009", "L010", "L036", "L034")], "")
    assert todays_next("O203") == said_next(office, "O203") != "pick"


def test_an_order_nobody_planned_comes_to_the_usual_next_stage_and_to_an_end(client, demo_mill):
    order = Order.objects.get(code="O203")
    run(demo_mill, "pick", [RunIn(lot=code) for code in ("L009", "L010", "L036", "L034")], "O203")
    assert todays_next("O203") == "rest"
    Order.objects.filter(pk=order.pk).update(next_stage="skein")
    order.refresh_from_db()
    made = Run.objects.create(
        code="N999", stage="skein", order=order, started_at=clock.now(), recorded_at=clock.now(),
        person=demo_mill.floor,
    )  # fmt: skip
    settle_after(made)
    assert todays_next("O203") == ""


def decide(mill, lots) -> int | None:
    """Consent where the mill's own fibre goes in with an owner's."""
    if len(lots) < 2:
        return None
    return decide_join(mill.owner, lots=lots, consent="the owner by phone, 2 March")


def run(mill, stage, ins, order) -> str:
    """A whole run that loses a little; gives the lot that came out."""
    mass_g = sum(one_lot(item.lot).row.mass_g for item in ins)
    done = record_run(
        mill.floor,
        RunFacts(stage=stage, order=order, join_decision=decide(mill, [item.lot for item in ins])),
        inputs=ins,
        outputs=[RunOut(reading=Reading(gross_g=0.97 * mass_g))],
        confirmation="as it was",
    )
    return done.outputs[0].lot
