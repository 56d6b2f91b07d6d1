"""Runs on plain forms: in, out, waste; what is usual; owners kept apart; impossible yields asked about."""

import uuid

import pytest
from django.test import Client

from doffer.mill.models import JoinDecision, Lot, Run, Weighing


@pytest.fixture
def floor(client_of, small_mill) -> Client:
    return client_of(small_mill.floor)


def run(stage: str = "card", lots: tuple[str, ...] = ("L005",), act: str = "record", **more: str) -> dict:
    first = {"out_1_gross": "9.2", "out_1_kind": "can", "rh": "60", "branch": "desorption", "number": "keep"}
    return {"key": str(uuid.uuid4()), "stage": stage, "lot": list(lots), "act": act, **first, **more}


def text_of(response) -> str:
    return " ".join(response.content.decode().replace("\u202f", " ").split())


@pytest.mark.parametrize(
    "stage",
    [
        "tumble",
        "wash",
        "extract",
        "dry",
        "dye",
        "pick",
        "rest",
        "dehair",
        "card",
        "draw",
        "spin",
        "ply",
        "set",
        "skein",
    ],
)
def test_every_stage_has_a_form_with_its_cautions(floor, small_mill, stage):
    page = text_of(floor.get("/runs/new/", {"stage": stage, "lot": "L005"}))
    cautions = [row.text for row in small_mill.tables.cautions.values() if row.stage == stage]
    assert cautions
    assert all(text.split("'")[0] in page for text in cautions)
    assert ("This screen does not stop the machine." in page) == (stage not in ("rest", "dry"))


def test_without_a_stage_the_form_of_the_usual_next_one_is_shown(floor):
    assert "<h1>Wash L001</h1>" in text_of(floor.get("/runs/new/?lot=L001"))
    assert "<h1>Pick L005</h1>" in text_of(floor.get("/runs/new/?lot=L005"))


def test_a_whole_lot_without_a_weight_goes_in_as_it_stood_and_keeps_its_number(floor):
    before = Lot.objects.get(code="L005")
    answer = floor.post("/runs/new/", run(waste_1="300"))
    kept = Run.objects.get()
    assert answer["Location"] == f"/runs/{kept.code}/"
    assert kept.inputs.get().dry_mg == before.now_dry_mg
    assert kept.inputs.get().weighing is None
    assert [box.kind for box in Lot.objects.get(code="L005").containers.all()] == ["can"]
    assert kept.wastes.get().kind == "strips"
    lot = Lot.objects.get(code="L005")
    assert (lot.now_mass_mg, lot.now_form, lot.place) == (9_200_000, "roving", "card")


def test_the_loss_is_said_beside_what_is_usual(floor):
    answer = floor.post("/runs/new/", run())
    page = text_of(floor.get(answer["Location"]))
    assert "was lost.</strong> That is inside of what is usual" in page


def test_a_large_loss_is_named_outside_of_what_is_usual(floor):
    answer = floor.post("/runs/new/", run(out_1_gross="6"))
    assert "That is more than usual" in text_of(floor.get(answer["Location"]))


def test_more_out_than_in_is_asked_about_and_kept_with_its_reason(floor):
    sent = run(out_1_gross="10.9")
    asked = floor.post("/runs/new/", sent)
    assert asked.status_code == 422
    assert "Card cannot make fibre" in text_of(asked)
    assert 'value="10.9"' in text_of(asked)
    assert not Run.objects.exists()
    answer = floor.post("/runs/new/", {**sent, "confirmation": "the rest of another can was in it"})
    assert Run.objects.get().confirmation == "the rest of another can was in it"
    assert "More dry fibre came out than went in" in text_of(floor.get(answer["Location"]))


def test_part_of_a_lot_goes_in_and_what_comes_out_gets_a_number(floor):
    floor.post("/runs/new/", run(in_L005_gross="4", out_1_gross="3.7"))
    lot, out = Lot.objects.get(code="L005"), Lot.objects.latest("pk")
    assert lot.now_mass_mg == 6_000_000
    assert out.code != "L005"
    assert out.now_mass_mg == 3_700_000


def test_two_containers_come_out_of_one_run(floor):
    more = floor.post("/runs/new/", run(act="", more_out="yes", n_out="1"))
    assert more.status_code == 200
    assert 'name="out_2_gross"' in text_of(more)
    floor.post("/runs/new/", run(n_out="2", out_1_gross="5", out_2_gross="4.2"))
    assert Run.objects.get().outputs.count() == 2


def test_a_run_begins_now_and_is_weighed_out_later(floor):
    begun = floor.post("/runs/new/", run(act="begin", out_1_gross=""))
    code = Run.objects.get().code
    assert begun["Location"] == f"/runs/{code}/"
    assert "Weigh out" in text_of(floor.get("/runs/"))
    sent = run(out_1_gross="9.1")
    assert floor.post(f"/runs/{code}/finish/", sent)["Location"] == f"/runs/{code}/"
    assert Run.objects.get().ended_at is not None
    assert floor.post(f"/runs/{code}/finish/", sent)["Location"] == f"/runs/{code}/"
    assert Lot.objects.get(code="L005").now_mass_mg == 9_100_000


def test_weighing_out_nothing_is_answered_with_a_sentence(floor):
    floor.post("/runs/new/", run(act="begin"))
    answer = floor.post(f"/runs/{Run.objects.get().code}/finish/", run(out_1_gross=""))
    assert answer.status_code == 422
    assert "Type what the scale shows" in text_of(answer)


def test_the_same_form_sent_twice_is_one_run(floor):
    sent = run()
    assert floor.post("/runs/new/", sent)["Location"] == floor.post("/runs/new/", sent)["Location"]
    assert Run.objects.count() == 1


def test_a_lot_is_added_by_its_tag(floor):
    tag = Lot.objects.get(code="L005").containers.get().tag
    page = text_of(floor.post("/runs/new/", {"stage": "card", "act": "more", "add_lot": tag.lower()}))
    assert 'name="lot" value="L005"' in page
    unknown = floor.post("/runs/new/", {"stage": "card", "act": "more", "add_lot": "L999"})
    assert unknown.status_code == 422
    assert "There is no lot “L999”" in text_of(unknown)


def test_fibre_of_two_owners_is_refused_until_the_owners_agreement_is_recorded(client_of, small_mill):
    office = client_of(small_mill.office)
    page = text_of(office.get("/runs/new/?stage=pick&lot=L001&lot=L003"))
    assert "Fibre of two owners" in page
    assert "Record the owners’ agreement" in page
    refused = office.post("/runs/new/", run("pick", ("L001", "L003"), out_1_gross="6"))
    assert refused.status_code == 422
    assert "Fibre of two owners is not joined" in text_of(refused)
    empty = office.post("/runs/agreement/", {"stage": "pick", "lot": ["L001", "L003"], "consent": " "})
    assert empty.status_code == 422
    told = {"stage": "pick", "lot": ["L001", "L003"], "consent": "Tilly and Rupert by telephone"}
    back = office.post("/runs/agreement/", told)
    assert JoinDecision.objects.get().consent == "Tilly and Rupert by telephone"
    assert "comes together by agreement" in text_of(office.get(back["Location"]))
    done = run("pick", ("L001", "L003"), out_1_gross="3", out_owner=small_mill.moss)
    assert office.post("/runs/new/", done).status_code == 302


def test_a_held_lot_does_not_go_in(floor):
    floor.post("/lots/L005/pests/", {"tag_is_on": "yes", "seen": "moth"})
    answer = floor.post("/runs/new/", run())
    assert answer.status_code == 422
    assert "is on hold" in text_of(answer)
    assert not Run.objects.exists()


def test_washing_says_what_should_come_out_dried_and_wet(floor):
    page = text_of(floor.get("/runs/new/?stage=wash&lot=L001"))
    assert "Dried to the air, the scale should show" in page
    assert "Wet from the stage it weighs about" in page


def test_what_should_come_out_follows_the_weight_that_is_typed(floor):
    whole = text_of(floor.get("/runs/expected/", {"stage": "card", "lot": "L005"}))
    half = text_of(floor.get("/runs/expected/", {"stage": "card", "lot": "L005", "in_L005_gross": "5"}))
    assert "The scale should show" in whole
    assert whole != half


def test_the_plan_of_the_order_is_said_beside_the_tables(client_of, small_mill):
    from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, add_plan, take_order

    facts = OrderFacts(customer=small_mill.own, product="roving", lots=(OrderLotFacts(lot="L005"),))
    order = take_order(small_mill.office, facts)
    carded = {"stage": "card", "weighed": {"mean": 9000.0, "low": 8700.0, "high": 9300.0, "safe": 8700.0}}
    add_plan(
        small_mill.office,
        order,
        spec={},
        result={"batches": [{"lots": [{"lot": "L005"}], "stages": [carded]}]},
        tables_sha256="0" * 64,
        seed=1,
        code_version="test",
    )
    page = text_of(client_of(small_mill.floor).get("/runs/new/?stage=card&lot=L005"))
    assert f"plan of {order}</a>, version 1, says <strong>8.70 to 9.30 kg" in page
    picked = text_of(client_of(small_mill.floor).get("/runs/new/?stage=pick&lot=L005"))
    assert f"plan of {order}" not in picked


def test_a_viewer_records_no_run(client_of, small_mill):
    viewer = client_of(small_mill.viewer)
    answer = viewer.post("/runs/new/", run())
    assert answer.status_code == 422
    assert "may not record a run" in text_of(answer)
    assert not Run.objects.exists()


@pytest.mark.parametrize("address", ["/runs/", "/runs/new/?stage=card&lot=L005"])
def test_pages_ask_a_bounded_number_of_questions(floor, django_assert_max_num_queries, address):
    with django_assert_max_num_queries(26):
        assert floor.get(address).status_code == 200


def test_a_lot_is_weighed_as_it_stands(floor):
    sent = {"key": str(uuid.uuid4()), "gross": "9,9", "tare": "0.25", "rh": "60", "branch": "desorption"}
    floor.post("/lots/L005/weigh/", sent)
    floor.post("/lots/L005/weigh/", sent)
    assert Lot.objects.get(code="L005").now_mass_mg == 9_650_000
    assert Weighing.objects.filter(lot__code="L005").count() == 2


def test_a_correction_names_the_old_weighing_and_both_stay(floor):
    old = Weighing.objects.get(lot__code="L005")
    page = text_of(floor.get(f"/lots/L005/weigh/?corrects={old.pk}"))
    assert "10.25 kg full, 250 g empty, 10.00 kg net" in page
    sent = {"key": str(uuid.uuid4()), "corrects": str(old.pk), "gross": "10.25", "tare": "0.52", "rh": "60"}
    missing = floor.post("/lots/L005/weigh/", sent)
    assert missing.status_code == 422
    assert "Say in a few words what was wrong" in text_of(missing)
    floor.post("/lots/L005/weigh/", {**sent, "reason": "digits exchanged"})
    new = Weighing.objects.get(corrects=old)
    assert new.net_mg == 9_730_000
    assert Lot.objects.get(code="L005").now_mass_mg == 9_730_000
    assert "was wrong: corrected since" in text_of(floor.get("/lots/L005/weigh/"))


def test_a_weight_below_zero_is_answered_with_a_sentence(floor):
    answer = floor.post("/lots/L005/weigh/", {"key": str(uuid.uuid4()), "gross": "-2"})
    assert answer.status_code == 422
    assert Weighing.objects.filter(lot__code="L005").count() == 1
