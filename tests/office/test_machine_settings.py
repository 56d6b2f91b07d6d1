"""What a machine can be set to: guesses beside what is known, and writing one down."""

import pytest
from tests.office.page_words import words

from doffer.mill.models import MachineSetting
from doffer.mill.queries.yarn import machine_settings

pytestmark = pytest.mark.django_db
PAGE = "/records/machines/PLY/settings/"


def plain(answer):
    return words(answer).replace("\u202f", " ")


def test_the_machine_leads_to_its_settings_and_they_are_marked_as_guesses(client, demo_mill):
    assert f'href="{PAGE}"' in client.get("/records/machines/PLY/").content.decode()
    answer = client.get(PAGE)
    assert "a guess" in plain(answer)
    assert "Twist pinions" in plain(answer)
    assert 'settings/"' not in client.get("/records/machines/TUM/").content.decode()
    assert "Nothing of this machine is asked" in plain(client.get("/records/machines/TUM/settings/"))


def test_pinions_are_typed_as_a_list_with_a_dash_for_all_between(client, demo_mill, key):
    typed = {"key": key, "setting": "twist_teeth", "value": "24-30 36", "known": "measured"}
    before = MachineSetting.objects.count()
    answer = client.post(PAGE, typed)
    assert answer.status_code == 302
    assert machine_settings("PLY").all_of("twist_teeth") == (24, 25, 26, 27, 28, 29, 30, 36)
    said = plain(client.get(PAGE))
    assert "24, 25, 26, 27, 28, 29, 30 and 36 teeth" in said
    assert "counted or measured here" in said.lower()
    client.post(PAGE, typed)
    assert MachineSetting.objects.count() == before + 1, "a form sent twice is kept once"


def test_a_share_is_typed_in_percent_and_a_roving_in_grams_a_metre(client, demo_mill, key):
    client.post(PAGE, {"key": key, "setting": "efficiency", "value": "75", "known": "guess"})
    found = machine_settings("PLY").of("efficiency")
    assert (found.value, found.is_guess, found.is_own) == (0.75, True, True)
    assert "75 %" in plain(client.get(PAGE))


def test_a_word_is_chosen(client, demo_mill, key):
    page = "/records/machines/SPN/settings/"
    answer = client.post(page, {"key": key, "setting": "system", "value": "woollen", "known": "maker"})
    assert answer.status_code == 302
    assert machine_settings("SPN").of("system").word == "woollen"
    assert "from its plate or book" in plain(client.get(page)).lower()


@pytest.mark.parametrize(
    ("setting", "value", "said"),
    [
        ("twist_teeth", "", "Type what it can be set to."),
        ("twist_teeth", "24 abc", "plain numbers, such as 24"),
        ("twist_teeth", "60-24", "the lower first"),
        ("twist_teeth", "24.5", "a whole number of teeth"),
        ("spindle_rpm", "0", "above zero"),
    ],
)
def test_what_cannot_be_stands_beside_the_field_and_nothing_is_kept(
    client, demo_mill, key, setting, value, said
):
    before = MachineSetting.objects.count()
    answer = client.post(PAGE, {"key": key, "setting": setting, "value": value, "known": "measured"})
    assert answer.status_code == 422
    assert said in plain(answer)
    assert MachineSetting.objects.count() == before


def test_a_figure_out_of_the_usual_is_asked_about(client, demo_mill, key):
    typed = {"key": key, "setting": "spindle_rpm", "value": "90000", "known": "measured"}
    answer = client.post(PAGE, typed)
    assert answer.status_code == 422
    assert "If it is right, say why" in plain(answer)
    assert client.post(PAGE, {**typed, "confirmation": "a test frame"}).status_code == 302
    assert machine_settings("PLY").value("spindle_rpm") == 90000


def test_who_only_looks_sees_no_form(client_of, demo_mill):
    from doffer.people.models import Person, Role

    viewer = Person.objects.create(code="P9", name="Vera", role=Role.VIEWER)
    assert "Keep it" not in plain(client_of(viewer).get(PAGE))
