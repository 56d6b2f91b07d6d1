"""Questions about runs on their form: machine of the stage, state of the fibre, units of the page."""

import re
import uuid

import pytest
from django.test import Client

from doffer.mill.booking import Reading
from doffer.mill.commands.run_facts import RunFacts, RunIn, RunOut
from doffer.mill.commands.run_stage import record_run
from doffer.mill.models import Lot, Machine, Run, Setting


@pytest.fixture
def floor(client_of, small_mill) -> Client:
    Machine.objects.update(holdup_mg=0)
    return client_of(small_mill.floor)


def text_of(response) -> str:
    return " ".join(response.content.decode().replace("\u202f", " ").split())


def sent(stage: str, lot: str, **more: str) -> dict:
    first = {"out_1_kind": "can", "rh": "60", "branch": "desorption", "number": "keep"}
    return {"key": str(uuid.uuid4()), "stage": stage, "lot": [lot], "act": "record", **first, **more}


def washed_wet(mill) -> None:
    record_run(
        mill.floor,
        RunFacts(stage="wash"),
        inputs=[RunIn(lot="L001")],
        outputs=[RunOut(reading=Reading(gross_g=8400, branch="wet"))],
    )


def test_another_stage_counts_with_its_own_machine_at_once(floor):
    picker, card = (Machine.objects.filter(stage=stage).first() for stage in ("pick", "card"))
    Machine.objects.filter(pk=picker.pk).update(holdup_mg=2_000_000)
    ask = {"stage": "card", "lot": "L005"}
    own = text_of(floor.get("/runs/expected/", {**ask, "machine": card.code}))
    assert text_of(floor.get("/runs/expected/", {**ask, "machine": picker.code})) == own
    picked = floor.get("/runs/expected/", {"stage": "pick", "lot": "L005", "machine": picker.code})
    assert text_of(picked) != own
    page = text_of(
        floor.post("/runs/new/", {"act": "stage", "stage": "card", "lot": "L005", "machine": picker.code})
    )
    assert own.split("The scale should show")[1].split("</p>")[1] in page


def test_dripping_fibre_is_proposed_for_the_extractor_and_then_for_the_rack(floor, small_mill):
    washed_wet(small_mill)
    assert "<h1>Spin out water L001</h1>" in text_of(floor.get("/runs/new/?lot=L001"))
    Lot.objects.filter(code="L001").update(place="dry")
    assert "<h1>Dry L001</h1>" in text_of(floor.get("/runs/new/?lot=L001"))


def test_what_drying_should_give_is_reckoned_from_the_fleece_and_said_so(floor, small_mill):
    washed_wet(small_mill)
    page = text_of(floor.get("/runs/new/?lot=L001&stage=dry"))
    assert "Nobody has weighed L001 dry yet" in page
    assert "Say which lot goes in" not in page


def test_a_wet_lot_goes_in_wet_whatever_came_out(floor, small_mill):
    washed_wet(small_mill)
    answer = floor.post("/runs/new/", sent("dry", "L001", in_L001_gross="8.4", out_1_gross="2.6"))
    assert answer.status_code == 302
    went_in = Run.objects.get(stage="dry").inputs.get()
    assert (went_in.weighing.branch, went_in.dry_mg) == ("wet", None)


def test_a_lot_without_fibre_is_told_on_its_form_and_refused(floor):
    Lot.objects.filter(code="L005").update(now_mass_mg=0, now_dry_mg=0)
    assert "Nothing is left of L005" in text_of(floor.get("/runs/new/?lot=L005&stage=card"))
    answer = floor.post("/runs/new/", sent("card", "L005", out_1_gross="3", confirmation="found it"))
    assert answer.status_code == 422
    assert "nothing is left of L005 to go in" in text_of(answer)
    assert not Run.objects.exists()


@pytest.mark.parametrize(("system", "dry_in"), [("metric", "8.65 kg"), ("us", "19 lb")])
def test_the_question_speaks_in_the_units_of_the_page(floor, system, dry_in):
    Setting.objects.update_or_create(key="units", defaults={"value": system})
    asked = text_of(floor.post("/runs/new/", sent("card", "L005", out_1_gross="30")))
    question = asked.split('role="alert"')[1].split("</strong>")[0]
    assert "cannot make fibre" in question
    assert dry_in in question
    assert " g dry" not in question


def test_weights_of_a_run_are_read_in_the_units_of_the_scale(floor):
    Setting.objects.update_or_create(key="units", defaults={"value": "us"})
    session = floor.session
    session["units"] = "metric"
    session.save()
    page = text_of(floor.get("/runs/new/?lot=L005&stage=card"))
    assert "lb, oz" in page.split('name="in_L005_gross"')[1][:400]
    floor.post("/runs/new/", sent("card", "L005", out_1_gross="20"))
    assert Run.objects.get().outputs.get().mass_mg == pytest.approx(20 * 453_592.37, abs=1)


def test_question_and_answer_stand_on_the_page_of_the_run(floor):
    answer = floor.post("/runs/new/", sent("card", "L005", out_1_gross="6", confirmation="the drum is full"))
    page = text_of(floor.get(answer["Location"]))
    assert "Asked: Card: " in page
    assert "Answered by Flo: The drum is full" in page


@pytest.mark.parametrize(("system", "dry_in"), [("metric", "8.65 kg"), ("us", "19 lb")])
def test_a_kept_question_speaks_in_the_units_of_the_page(floor, system, dry_in):
    gross = "30" if system == "metric" else "66"
    Setting.objects.update_or_create(key="units", defaults={"value": system})
    sent_form = sent("card", "L005", out_1_gross=gross, confirmation="the drum is full")
    page = text_of(floor.get(floor.post("/runs/new/", sent_form)["Location"]))
    kept = page.split("Asked: ")[1].split("Answered by")[0]
    assert dry_in in kept
    assert " g dry" not in kept


def test_the_answer_to_one_question_is_no_answer_to_the_next(floor):
    first = floor.post("/runs/new/", sent("card", "L005", out_1_gross="30"))
    marks = re.search(r'name="answers" value="([^"]+)"', first.content.decode())[1]
    edited = sent("card", "L005", out_1_gross="40", confirmation="the drum is full", answers=marks)
    again = floor.post("/runs/new/", edited)
    assert again.status_code == 422
    assert "34.61 kg" in text_of(again).split('role="alert"')[1].split("</strong>")[0]
    assert 'value="the drum is full"' in text_of(again)
    assert not Run.objects.exists()
    marks = re.search(r'name="answers" value="([^"]+)"', again.content.decode())[1]
    assert floor.post("/runs/new/", {**edited, "answers": marks}).status_code == 302


def test_the_answer_at_the_end_of_a_run_counts_for_its_own_question_too(floor):
    floor.post("/runs/new/", {**sent("card", "L005"), "act": "begin"})
    address = f"/runs/{Run.objects.get().code}/finish/"
    first = floor.post(address, sent("card", "L005", out_1_gross="30"))
    marks = re.search(r'name="answers" value="([^"]+)"', first.content.decode())[1]
    edited = sent("card", "L005", out_1_gross="40", confirmation="the drum is full", answers=marks)
    assert floor.post(address, edited).status_code == 422
    assert Run.objects.get().ended_at is None
    assert floor.post(address, {**edited, "out_1_gross": "30"}).status_code == 302
