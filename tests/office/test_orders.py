"""The pages of the orders: the list, one order with its plan, keeping plans, papers."""

import uuid

import pytest
from tests.office.scenario_orders import make_scenarios

from doffer.mill.queries.orders import one_order

THIN = "\u202f"


def words(answer) -> str:
    """The text of a page with plain spaces."""
    return answer.content.decode().replace(THIN, " ")


def choose(client, code: str) -> None:
    """Act as this person from now on."""
    session = client.session
    session["person"] = code
    session.save()


@pytest.fixture
def viewer(demo_mill):
    from doffer.mill.commands.settings import add_person
    from doffer.people.models import Person

    add_person(demo_mill.owner, name="Vic", role="viewer")
    return Person.objects.get(name="Vic").code


def test_the_list_says_what_is_open_late_and_waiting(client, demo_mill):
    text = words(client.get("/orders/"))
    assert "Eight orders are open, one is late" in text
    assert "Late since Friday" in text
    assert text.index("O205") < text.index("O206")


def test_the_list_narrows_down_to_the_late_ones(client, demo_mill):
    text = words(client.get("/orders/?shown=late"))
    assert "O205" in text
    assert "O203" not in text


def test_a_search_without_result_says_what_to_try(client, demo_mill):
    text = words(client.get("/orders/?search=elephant"))
    assert "No order here matches “elephant”" in text


def test_a_mill_without_orders_is_told_what_to_do(client, people):
    assert "take the order here" in words(client.get("/orders/"))


def test_the_list_asks_the_database_a_fixed_number_of_times(client, demo_mill, django_assert_max_num_queries):
    with django_assert_max_num_queries(22):
        assert client.get("/orders/").status_code == 200


@pytest.mark.parametrize("number", range(201, 209))
def test_every_order_of_the_invented_mill_shows_a_plan(client, demo_mill, number):
    answer = client.get(f"/orders/O{number}/")
    text = words(answer)
    assert answer.status_code == 200
    assert "Safe to promise" in text
    assert "Not worked out" not in text


def test_three_fleeces_become_three_batches(client, demo_mill):
    text = words(client.get("/orders/O201/"))
    assert text.count('class="batch"') == 3
    assert "Bay black, last" in text


def test_a_hold_and_a_lot_that_is_used_up_are_said(client, demo_mill):
    text = words(client.get("/orders/O202/"))
    assert "On hold: L007" in text
    assert "larvae" in text


def test_the_promise_stands_on_top_in_one_sentence(client, demo_mill):
    text = words(client.get("/orders/O203/"))
    assert "60 % alpaca 20 % wool 20 % polyamide: 3-ply sock yarn, 425 m/100 g in 100 g skeins" in text
    assert "by Friday 20 March." in text


def test_one_order_asks_the_database_a_fixed_number_of_times(
    client, demo_mill, django_assert_max_num_queries
):
    with django_assert_max_num_queries(45):
        assert client.get("/orders/O203/").status_code == 200


def test_an_order_in_words_only_says_why_there_is_no_plan(client, small_mill):
    from doffer.mill.commands.orders import OrderFacts, take_order

    code = take_order(small_mill.owner, OrderFacts(customer=small_mill.moss, product="something warm"))
    text = words(client.get(f"/orders/{code}/"))
    assert "written in words only" in text


def test_an_order_nobody_took_is_not_there(client, demo_mill):
    assert client.get("/orders/O999/").status_code == 404


def test_a_blend_is_weighed_out_for_three_regains_and_three_losses(client, demo_mill):
    codes = make_scenarios(demo_mill.owner)
    text = words(client.get(f"/orders/{codes['three fibres']}/"))
    for mass in ("3342 g", "2110 g", "1290 g", "6.742 kg"):
        assert mass in text
    for share in ("49.6 %", "31.3 %", "19.1 %"):
        assert share in text
    assert "50.4 % / 28.7 % / 20.9 %" in text


def test_layers_are_whole_grams_with_half_a_layer_at_both_ends(client, demo_mill):
    codes = make_scenarios(demo_mill.owner)
    text = words(client.get(f"/orders/{codes['three fibres']}/"))
    feed = text[text.index('<ol class="feed">') : text.index("</ol>", text.index('<ol class="feed">'))]
    masses = [int(line.split(" g ")[0]) for line in feed.split("<li>")[1:]]
    assert masses[0] == 278
    assert masses[-1] == 279
    assert sum(masses) == 6742
    assert masses.count(557) == 5
    assert masses.count(352) == 4
    assert masses.count(351) == 2


def test_the_limiting_fibre_is_named_and_sets_the_batch(client, demo_mill):
    codes = make_scenarios(demo_mill.owner)
    text = words(client.get(f"/orders/{codes['limiting fibre']}/"))
    for mass in ("4.551 kg", "2535 g", "1600 g", "979 g"):
        assert mass in text
    limit = one_order(codes["limiting fibre"]).lots[1].lot.code
    assert f"{limit} is the limit" in text


def test_the_label_stands_there_on_three_bases(client, demo_mill):
    codes = make_scenarios(demo_mill.owner)
    text = words(client.get(f"/orders/{codes['tin']}/"))
    for exact in ("74.9 / 25.1", "74.7 / 25.3", "73.1 / 26.9"):
        assert exact in text
    assert "75 % wool, 25 % polyamide" in text


def test_skeins_out_of_a_weight_and_the_count_in_every_way(client, demo_mill):
    text = words(client.get("/orders/O208/?set_mass=7.86&test_mass=40"))
    assert "78 skeins of 100 g and 20 g over" in text
    for said in ("R 235.3 tex", "4.25", "464.8", "2108", "527"):
        assert said in text


def test_a_test_skein_heavier_than_the_yarn_is_refused_beside_its_field(client, demo_mill):
    text = words(client.get("/orders/O208/?set_mass=0.1&test_mass=400"))
    assert 'id="test_mass-error"' in text
    assert 'value="0.1"' in text


def test_a_plan_is_kept_once_and_planned_again_as_a_new_version(client, demo_mill):
    key = str(uuid.uuid4())
    for _ in range(2):
        answer = client.post("/orders/O203/plan/", {"key": key, "note": "before the picker"})
        assert answer.status_code == 302
    assert [row.version for row in one_order("O203").plans] == [1]
    client.post("/orders/O203/plan/", {"key": str(uuid.uuid4())})
    assert [row.version for row in one_order("O203").plans] == [2, 1]
    old = words(client.get("/orders/O203/?plan=1"))
    assert "plan 1</strong>" in old
    assert "Show the newest" in old


def test_a_plan_version_that_was_never_made_is_not_there(client, demo_mill):
    assert client.get("/orders/O203/?plan=7").status_code == 404


def test_a_viewer_may_look_but_not_plan(client, demo_mill, viewer):
    choose(client, viewer)
    assert "Keep this plan" not in words(client.get("/orders/O203/"))
    answer = client.post("/orders/O203/plan/", {"key": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert one_order("O203").plans == ()


def test_planning_is_not_done_by_looking(client, demo_mill):
    assert client.get("/orders/O203/plan/").status_code == 405
    assert client.post("/orders/").status_code == 405


def test_an_order_moves_on_with_its_reason(client, demo_mill):
    client.post("/orders/O204/state/", {"state": "running", "why": "the owner said yes"})
    order = one_order("O204")
    assert order.row.state == "running"
    assert "the owner said yes" in order.happened[0].what


def test_an_order_under_a_hold_is_not_sent(client, demo_mill):
    answer = client.post("/orders/O202/state/", {"state": "shipped"})
    assert answer.status_code == 422
    assert one_order("O202").row.state != "shipped"


@pytest.mark.parametrize("which", ["run-card", "weigh-out", "bag-tags"])
def test_papers_come_as_pdf(client, demo_mill, which):
    answer = client.get(f"/orders/O203/{which}.pdf")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


def test_an_order_that_is_no_blend_has_no_weigh_out_sheet(client, demo_mill):
    answer = client.get("/orders/O205/weigh-out.pdf")
    assert answer.status_code == 422
    assert "go in whole" in words(answer)


def test_units_follow_the_owner_until_the_device_says_otherwise(client, small_mill):
    from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, take_order

    spec = {"batches": [{"name": "fawn", "lots": ["L003"], "wish": {"product": "roving"}}]}
    facts = OrderFacts(
        customer=small_mill.fern, product="roving", spec=spec, lots=(OrderLotFacts(lot="L003"),)
    )
    code = take_order(small_mill.owner, facts)
    text = words(client.get(f"/orders/{code}/"))
    figures = text[text.index("Finished roving") : text.index("river")]
    assert " lb " in figures
    assert " kg" not in figures
    session = client.session
    session["units"] = "metric"
    session.save()
    assert " lb " not in words(client.get(f"/orders/{code}/"))


def test_what_the_scale_said_since_stands_beside_the_plan(client, demo_mill):
    from doffer.mill.booking import Reading
    from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run

    assert "rung-weighed" not in words(client.get("/orders/O201/"))
    client.post("/orders/O201/plan/", {"key": str(uuid.uuid4())})
    weighed = Reading(gross_g=1900, branch="measured", measured_regain_frac=0.15)
    facts = RunFacts(stage="draw", machine="DRW", order="O201")
    record_run(demo_mill.owner, facts, inputs=[RunIn(lot="L001")], outputs=[RunOut(reading=weighed)])
    text = words(client.get("/orders/O201/"))
    assert text.count("rung-weighed") == 1
    assert "of the dry fibre kept" in text
