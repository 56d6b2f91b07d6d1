"""What a run was set to, its end breaks and a rating, written down on its page; the next plan follows it."""

import uuid

import pytest
from tests.office.page_words import words

from doffer.mill.booking import Reading
from doffer.mill.commands.run_facts import RunFacts
from doffer.mill.commands.run_stage import RunIn, RunOut, record_run
from doffer.mill.models import RunSettings
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.yarn import best_settings, run_settings
from doffer.office.yarn import yarn_of

pytestmark = pytest.mark.django_db


def plain(answer):
    return words(answer).replace("\u202f", " ")


def run_of(mill, stage="card", machine="CAR1"):
    """A run of some of the mill's own lot; gives its number."""
    weighed = {"branch": "measured", "measured_regain_frac": 0.15}
    done = record_run(
        mill.floor,
        RunFacts(stage=stage, machine=machine, cleaned_before="yes"),
        inputs=(RunIn(lot="L005", reading=Reading(gross_g=1050, **weighed)),),
        outputs=(RunOut(reading=Reading(gross_g=1000, **weighed), is_product=True),),
        confirmation="a part of it",
    )
    return done.run


def keep(client, run, **typed):
    return client.post(f"/runs/{run}/settings/", {"key": str(uuid.uuid4()), **typed})


def test_what_a_run_was_set_to_is_written_on_its_page_and_becomes_the_best(client, small_mill):
    run = run_of(small_mill)
    page = client.get(f"/runs/{run}/")
    assert "Nobody wrote it down" in plain(page)
    assert 'name="set_feed"' in page.content.decode()
    assert 'name="set_draft"' not in page.content.decode(), "a card has no draft"
    typed = {"set_feed": "62", "set_roving": "4,2", "set_wire_settings": "0.5 0.4", "set_room_rh": "65"}
    answer = keep(client, run, **typed, rating="5")
    assert (answer.status_code, answer["Location"]) == (302, f"/runs/{run}/#settings")
    told = run_settings(run)
    assert {one.key: one.values for one in told.settings} == {
        "feed": (62,), "roving": (4200,), "wire_settings": (0.4, 0.5), "room_rh": (0.65,),
    }  # fmt: skip
    assert told.rating == 5
    assert best_settings("card", fibre="wool")[0].run == run
    said = plain(client.get(f"/runs/{run}/"))
    assert "5 of 5, by Ada" in said
    assert "4.2 g/m" in said
    assert "A good run" in said


def test_end_breaks_are_asked_where_ends_break(client, small_mill):
    run = run_of(small_mill, "spin", "SPI1")
    assert 'name="breaks"' in client.get(f"/runs/{run}/").content.decode()
    assert 'name="breaks"' not in client.get(f"/runs/{run_of(small_mill)}/").content.decode()
    assert (
        keep(client, run, set_twist="212", set_twist_way="z", breaks="2", breaks_over="0,5").status_code
        == 302
    )
    told = run_settings(run)
    assert (told.breaks, told.breaks_per_kg) == (2, 4)
    assert told.of("twist_way").word == "z"
    assert "2, 4 in a kilogram" in plain(client.get(f"/runs/{run}/"))


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"set_feed": "much"}, "plain numbers, such as 24"),
        ({"set_feed": "0"}, "Feed is “0 g”; it must be above zero."),
        ({"set_room_rh": "650"}, "it must be at most 100 %"),
        ({}, "Type one setting, the end breaks, a rating or a word about it."),
        ({"set_passes": "1.5"}, "it must be a whole number"),
        ({"rating": "9"}, "a whole number from 1 to 5"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(client, small_mill, typed, said):
    answer = keep(client, run_of(small_mill), **typed)
    assert answer.status_code == 422
    assert said in plain(answer)
    assert not RunSettings.objects.exists()


def test_a_slip_of_the_unit_is_asked_about_in_the_units_of_the_form(client, small_mill):
    run = run_of(small_mill)
    answer = keep(client, run, set_roving="42")
    assert answer.status_code == 422
    assert "Roving out is 42 g/m, where 0.5 to 12 is possible" in plain(answer)
    assert keep(client, run, set_roving="42", confirmation="a rope").status_code == 302
    assert run_settings(run).of("roving").value == 42000


def test_a_viewer_sees_what_was_told_and_no_form(client_of, small_mill):
    run = run_of(small_mill)
    client = client_of(small_mill.viewer)
    assert 'name="set_feed"' not in client.get(f"/runs/{run}/").content.decode()
    assert keep(client, run, set_feed="60").status_code == 422
    assert not RunSettings.objects.exists()


def test_the_next_plan_is_set_as_the_run_that_was_praised_on_its_page(client, demo_mill):
    def feed():
        made = yarn_of(one_order("O206"), batch_number=None, units="metric")
        (card,) = [one for one in made.cards if one.stage == "card"]
        return next(each.value for each in card.figures if each.name == "Feed")

    before = feed()
    assert keep(client, "N045", set_feed="71", set_roving="4", rating="5").status_code == 302
    assert "71" in feed()
    assert "71" not in before
