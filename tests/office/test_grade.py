"""Skirt and grade: the table's weights become a run, the hands' words the lot's grade."""

import uuid

import pytest

from doffer.mill.models import Lot, Run, Weighing


@pytest.fixture
def table(client_of, small_mill):
    return client_of(small_mill.floor)


def skirted(**more: str) -> dict[str, str]:
    first = {
        "key": str(uuid.uuid4()),
        "gross": "3.60",
        "tare": "0.25",
        "reject": "520",
        "minutes": "25",
        "rh": "60",
    }
    return {**first, **more}


def text_of(response) -> str:
    return response.content.decode().replace("\u202f", " ")


def test_kept_and_thrown_out_become_a_run_and_the_grade_stands_on_the_lot(table):
    graded = skirted(staple="95", soundness="tender", vm_grade="2", second_cuts="1", want_waste_back="yes")
    answer = table.post("/lots/L001/grade/", graded)
    assert answer["Location"] == "/lots/L001/door/"
    lot = Lot.objects.get(code="L001")
    assert (lot.now_mass_mg, lot.now_form) == (3_350_000, "skirted")
    assert (lot.staple_mm, lot.soundness, lot.vm_grade, lot.second_cuts) == (95, "tender", 2, 1)
    assert lot.want_waste_back
    run = Run.objects.get(stage="skirt")
    assert run.settings == {"minutes": 25}
    assert run.wastes.get().mass_mg == 520_000


def test_a_staple_in_inches_is_understood(table):
    table.post("/lots/L001/grade/", skirted(staple="4 in"))
    assert Lot.objects.get(code="L001").staple_mm == 102


def test_more_than_came_is_asked_about_and_kept_when_it_is_right(table):
    sent = skirted(gross="4.80")
    asked = table.post("/lots/L001/grade/", sent)
    assert asked.status_code == 422
    assert "gained weight on the skirting table" in text_of(asked)
    assert 'value="4.80"' in text_of(asked)
    assert not Run.objects.exists()
    table.post("/lots/L001/grade/", {**sent, "confirmed": "yes"})
    assert Run.objects.get().confirmation != ""


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"vm_grade": "7"}, "a whole number from 0 to 4"),
        ({"minutes": "ten"}, "a whole number from 0 to 1440"),
        ({"staple": "3 m"}, "from 5 to 500 mm"),
        ({"gross": ""}, "Type what the scale shows"),
    ],
)
def test_a_bad_value_gives_its_sentence_and_keeps_what_was_typed(table, typed, sentence):
    answer = table.post("/lots/L001/grade/", skirted(note="dags and hay", **typed))
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert "dags and hay" in text_of(answer)
    assert Weighing.objects.filter(moment="skirted").count() == 0


def test_the_same_form_sent_twice_is_one_run(table):
    sent = skirted()
    table.post("/lots/L001/grade/", sent)
    table.post("/lots/L001/grade/", sent)
    assert Run.objects.count() == 1


def test_cautions_and_what_is_usual_stand_beside_the_form(table, django_assert_max_num_queries):
    with django_assert_max_num_queries(31):
        page = text_of(table.get("/lots/L001/grade/"))
    assert "Look for blades, wire and thorns" in page
    assert "6 to 25 % is usually thrown out" in page
    assert "3.01 to 3.76 kg" in page


def test_a_held_bag_does_not_go_on_the_table(table):
    table.post("/lots/L001/pests/", {"tag_is_on": "yes", "seen": "moth"})
    page = text_of(table.get("/lots/L001/grade/"))
    assert "until the hold is cleared" in page
    assert 'name="gross"' not in page
    refused = table.post("/lots/L001/grade/", skirted())
    assert refused.status_code == 422
    assert "does not go on the skirting table" in text_of(refused)
    assert not Run.objects.exists()


def test_a_viewer_grades_nothing(client_of, small_mill):
    assert client_of(small_mill.viewer).post("/lots/L001/grade/", skirted()).status_code == 422
    assert not Run.objects.exists()
