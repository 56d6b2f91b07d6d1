"""Fibre announced on the telephone comes in bag by bag: three figures, until that is all of it."""

import uuid

import pytest

from doffer.mill.booking import Reading
from doffer.mill.commands.weigh import correct_weighing
from doffer.mill.models import Change, Lot, Order, OrderLot, Weighing
from doffer.mill.queries.arrivals import arrival_of, awaited_of, order_of_lot, orders_waiting
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.office.order_spec import plan_of_order

OWNER = "C05"  # an owner of the invented mill with mohair here already
ANNOUNCED = {
    "owner": OWNER,
    "owner_code": OWNER,
    "speak": "metric",
    "fibre": "huacaya",
    "mass": "30",
    "form": "skirted",
    "product": "yarn",
    "plies": "2",
    "thick": "200 m/100 g",
    "piece": "100 g",
    "date_kind": "soft",
    "wanted": "2026-04-24",
    "act": "take",
}


def words(answer) -> str:
    return " ".join(answer.content.decode().replace("\u202f", " ").split())


@pytest.fixture
def order(client, demo_mill) -> str:
    """About 30 kg of alpaca, told on the telephone."""
    answer = client.post("/orders/new/", {**ANNOUNCED, "key": str(uuid.uuid4())})
    return answer["Location"].split("/")[2]


def bag(client, gross: str, order: str, **more: str):
    sent = {
        "key": str(uuid.uuid4()),
        "fibre": "huacaya",
        "form": "skirted",
        "gross": gross,
        "tare": "0",
        "kind": "bag",
        "order": order,
    }
    return client.post(f"/weigh-in/{OWNER}/", {**sent, **more})


def lot_of(answer) -> str:
    return answer["Location"].split("/")[2]


def say_fibre(client, order: str, what: str, **more: str):
    return client.post(f"/orders/{order}/fibre/", {"key": str(uuid.uuid4()), "say": what, **more})


def waits(order: str):
    return awaited_of(one_order(order).spec, arrival_of(order))[0]


def planned_g(order: str) -> list[float]:
    """Grams of each lot the plan of this moment starts from."""
    row = one_order(order)
    made = plan_of_order(row, plan_inputs(lots=[each.lot.code for each in row.lots]))
    return [round(start.weighed_mass_g) for start in made.spec.batches[0].lots]


def test_the_first_bag_does_not_shrink_the_plan_to_itself(client, order):
    assert planned_g(order) == [30_000]
    bag(client, "8", order)
    assert planned_g(order) == [8_000, 22_000]
    assert (waits(order).announced_g, waits(order).arrived_g, waits(order).to_come_g) == (
        30_000,
        8_000,
        22_000,
    )


def test_more_than_was_announced_leaves_nothing_to_come(client, order):
    for _ in range(4):
        assert bag(client, "8", order).status_code == 302
    assert planned_g(order) == [8_000] * 4
    assert waits(order).to_come_g == 0


def test_that_is_all_of_it_plans_what_came_and_can_be_taken_back(client, order, demo_mill):
    lot = lot_of(bag(client, "8", order))
    answer = say_fibre(client, order, "all", lot=lot)
    assert answer["Location"] == f"/lots/{lot}/door/"
    assert planned_g(order) == [8_000]
    assert f"{demo_mill.owner.name} said today" in words(client.get(f"/lots/{lot}/door/"))
    say_fibre(client, order, "more")
    assert planned_g(order) == [8_000, 22_000]
    said = arrival_of(order).said
    assert [each.is_all for each in said] == [False, True]
    assert {each.person for each in said} == {demo_mill.owner.name}


def test_bags_are_not_asked_for_once_that_is_all_of_it(client, order):
    assert "Have the bags come?" in words(client.get(f"/orders/{order}/"))
    say_fibre(client, order, "all")
    assert "Have the bags come?" not in words(client.get(f"/orders/{order}/"))


def test_the_same_word_twice_is_written_down_once(client, order):
    say_fibre(client, order, "all")
    say_fibre(client, order, "all")
    assert Change.objects.filter(topic="order fibre", subject=order).count() == 1


def test_what_was_said_is_kept_as_a_plan_with_its_weights(client, order):
    bag(client, "8", order)
    say_fibre(client, order, "all")
    newest = one_order(order).plans[0]
    assert newest.version == 2
    assert newest.note.replace("\u202f", " ") == "that is all of it: 8.00 kg came, 30.00 kg was announced"
    assert len(newest.spec["batches"][0]["lots"]) == 1


def test_an_order_without_announced_fibre_takes_no_such_word(client, demo_mill):
    answer = say_fibre(client, "O203", "all")
    assert answer.status_code == 422
    assert "no fibre was announced for it" in words(answer)


def test_washing_what_came_does_not_bring_more_fibre_to_come(client, order):
    lot = lot_of(bag(client, "8", order))
    Lot.objects.filter(code=lot).update(now_mass_mg=6_000_000)
    assert waits(order).arrived_g == 8_000
    assert planned_g(order) == [6_000, 22_000]


def test_a_corrected_weight_counts_as_arrived(client, order, demo_mill):
    lot = lot_of(bag(client, "8", order))
    wrong = Weighing.objects.get(lot__code=lot)
    correct_weighing(demo_mill.owner, wrong.pk, reading=Reading(gross_g=9_000), reason="misread")
    assert waits(order).arrived_g == 9_000
    assert waits(order).to_come_g == 21_000


def test_the_door_offers_the_order_that_waits_first_and_none_of_them(client, order):
    page = words(client.get(f"/weigh-in/{OWNER}/"))
    assert f"{order} waits for about 30 kg of huacaya alpaca: this is for it" in page
    assert page.index(f'value="{order}"') < page.index("None of these")
    assert "new fibre without an order" in page


def test_the_door_asks_nothing_about_orders_where_none_waits(client, order):
    say_fibre(client, order, "all")
    assert "None of these" not in words(client.get(f"/weigh-in/{OWNER}/"))
    assert orders_waiting(OWNER) == ()


def test_a_bag_is_not_written_down_before_its_order_is_chosen(client, order):
    before = Lot.objects.count()
    answer = bag(client, "8", "")
    assert answer.status_code == 422
    assert "Say which order this bag is for" in words(answer)
    assert Lot.objects.count() == before


def test_a_bag_for_none_of_them_belongs_to_no_order(client, order):
    lot = lot_of(bag(client, "8", "without"))
    assert not OrderLot.objects.filter(lot__code=lot).exists()
    assert order_of_lot(lot) is None
    assert planned_g(order) == [30_000]


def test_another_fibre_than_was_announced_is_asked_about(client, order):
    answer = bag(client, "3", order, fibre="kid mohair")
    assert answer.status_code == 422
    assert f"{order} waits for huacaya alpaca" in words(answer)
    assert bag(client, "3", order, fibre="kid mohair", confirmed="yes").status_code == 302
    assert waits(order).arrived_g == 3_000


def test_a_bag_does_not_go_into_another_owners_order(client, order):
    Order.objects.filter(code=order).update(customer=Order.objects.get(code="O203").customer)
    answer = bag(client, "8", order)
    assert answer.status_code == 422
    assert "the order is another owner&#39;s" in words(answer)
    assert not OrderLot.objects.filter(order__code=order).exists()


def test_the_page_of_a_bag_says_the_three_figures_and_the_next_bag_knows_its_order(client, order):
    lot = lot_of(bag(client, "8", order))
    page = words(client.get(f"/lots/{lot}/door/"))
    came = page[page.index("It came in for") :]
    assert came.index("30.00 kg") < came.index("8.00 kg") < came.index("22.00 kg")
    assert "That is all of it" in came
    assert (
        "checked" in words(client.get(f"/weigh-in/{OWNER}/?order={order}")).split(f'value="{order}"')[1][:20]
    )


def promised(client, order: str) -> str:
    """The panel of the promise on the order's page."""
    page = words(client.get(f"/orders/{order}/"))
    start = page.index('id="promise"')
    return page[start : page.index("</section>", start)]


def cells(panel: str, name: str) -> list[str]:
    """Promised, now and difference of one line."""
    row = panel[panel.index(f'<th scope="row">{name}</th>') :]
    row = row[: row.index("</tr>")]
    return [cell.split(">", 1)[1].split("</td>")[0] for cell in row.split("<td")[1:]]


def test_the_order_says_three_figures_and_keeps_its_promise_beside_the_plan_of_now(client, order):
    bag(client, "8", order)
    page = words(client.get(f"/orders/{order}/"))
    fibre = page[page.index('id="fibre"') : page.index('id="promise"')]
    assert fibre.index("30.00 kg") < fibre.index("8.00 kg") < fibre.index("22.00 kg")
    panel = promised(client, order)
    was, now, apart = cells(panel, "Finished weight")
    assert was[:3] == now[:3] == "19."  # 8 + 22 kg give what 30 kg give
    assert apart == "as promised"
    assert "What was promised can be kept." in panel
    assert "Should nothing more come:" in panel
    assert cells(panel, "Day") == ["Friday 24 April", "Friday 24 April", "as promised"]


def test_when_that_was_all_the_difference_to_the_promise_is_said_in_words(client, order):
    bag(client, "8", order)
    say_fibre(client, order, "all")
    panel = promised(client, order)
    plans = one_order(order).plans
    was, now = (plan.result["batches"][0]["pieces"]["safe"] for plan in reversed(plans))
    assert now < was / 3
    assert cells(panel, "Skeins safe to promise") == [
        f"{was} skeins of 100 g",
        f"{now} skeins of 100 g",
        f"{was - now} skeins fewer",
    ]
    assert f"{was - now} skeins fewer than" in panel.split("<table")[0]
    assert "Should nothing more come" not in panel
    assert "22.00 kg less than was announced" in words(client.get(f"/orders/{order}/"))


def test_a_day_put_off_is_said_beside_the_day_that_was_promised(client, order):
    from doffer.mill.commands.orders import change_order
    from doffer.people.models import Person

    owner = Person.objects.get(code="P1")
    change_order(owner, order, promised_on=one_order(order).row.promised_on.replace(day=29))
    assert cells(promised(client, order), "Day") == [
        "Friday 24 April",
        "Wednesday 29 April",
        "five days later",
    ]


def test_planning_again_after_the_first_bag_keeps_what_is_still_to_come(client, order):
    bag(client, "8", order)
    client.post(f"/orders/{order}/plan/", {"key": str(uuid.uuid4())})
    newest = one_order(order).plans[0]
    assert newest.version == 2
    starts = newest.spec["batches"][0]["lots"]
    assert [round(start["weighed_mass_g"]) for start in starts] == [8_000, 22_000]
    assert cells(promised(client, order), "Finished weight")[2] == "as promised"


def test_a_bag_that_came_is_not_called_unused(client, order):
    bag(client, "8", order)
    assert "goes into no batch" not in words(client.get(f"/orders/{order}/"))


def test_an_order_without_announced_fibre_shows_no_such_figures(client, demo_mill):
    page = words(client.get("/orders/O203/"))
    assert "Arrived so far" not in page
    assert 'id="promise"' not in page


def test_another_wish_after_the_first_bag_leaves_what_is_still_to_come(client, order):
    lot = lot_of(bag(client, "8", order))
    sent = {
        **ANNOUNCED,
        "key": str(uuid.uuid4()),
        "act": "keep",
        "batch": "1",
        f"lot_{lot}": "yes",
        "plies": "3",
    }
    answer = client.post(f"/orders/{order}/wish/", sent)
    assert answer.status_code == 302, words(answer)
    assert planned_g(order) == [8_000, 22_000]
    assert one_order(order).plans[0].spec["batches"][0]["wish"]["plies"] == 3
    assert waits(order).to_come_g == 22_000
    less = client.post(f"/orders/{order}/wish/", {**sent, "key": str(uuid.uuid4()), "mass": "20"})
    assert less.status_code == 302
    assert planned_g(order) == [8_000, 12_000]


def test_the_answer_beside_the_wish_counts_what_is_still_to_come(client, order):
    lot = lot_of(bag(client, "8", order))
    sent = {**ANNOUNCED, "batch": "1", f"lot_{lot}": "yes"}
    answer = words(client.post(f"/orders/{order}/wish/answer/", sent))
    finished = answer[answer.index('<p class="figure-value">') :].split(">")[1].split("<")[0]
    assert 19 < float(finished.split()[0]) < 20, finished  # 8 kg alone give about 5 kg


def test_a_wish_agreed_anew_is_the_promise_from_then_on(client, order):
    sent = {**ANNOUNCED, "key": str(uuid.uuid4()), "act": "keep", "batch": "1", "mass": "20"}
    assert client.post(f"/orders/{order}/wish/", sent).status_code == 302
    assert cells(promised(client, order), "Finished weight")[2] == "as promised"
    assert "?plan=2" in promised(client, order)
