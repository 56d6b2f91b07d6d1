"""No record stands under a guessed name: the first form that records asks who is at the screen."""

import re
import uuid
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from doffer.mill.models import Change, Hold, Lot, Photo
from doffer.people.models import Person

pytestmark = pytest.mark.django_db(transaction=True)
QUESTION = "<h1>Who is at this screen?</h1>"


@pytest.fixture
def stranger(small_mill) -> Client:
    """A browser in which nobody was chosen yet."""
    return Client()


def waiting(answer) -> dict[str, str]:
    """What the asking page would send on."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', answer.content.decode())
    return {name: unescape(value) for name, value in found if name != "csrfmiddlewaretoken"}


def hold_form() -> dict[str, str]:
    return {"kind": "quarantine", "reason": 'moths: "many"', "key": str(uuid.uuid4())}


def test_a_record_waits_until_somebody_is_chosen_and_then_stands_in_that_name(stranger, small_mill):
    asked = stranger.post("/lots/L001/hold/", hold_form())
    assert asked.status_code == 422
    assert QUESTION in asked.content.decode()
    assert not Hold.objects.exists()
    assert not Change.objects.filter(topic="hold").exists()
    sent = waiting(asked)
    assert sent["reason"] == 'moths: "many"'
    done = stranger.post("/lots/L001/hold/", {**sent, "who_is_at_this_screen": small_mill.floor.code})
    assert done.url == "/lots/L001/"
    assert [hold.opened_by for hold in Hold.objects.all()] == [small_mill.floor]


def test_it_is_asked_once_in_a_browser(stranger, small_mill):
    asked = stranger.post("/lots/L001/hold/", hold_form())
    stranger.post("/lots/L001/hold/", {**waiting(asked), "who_is_at_this_screen": small_mill.floor.code})
    stranger.post("/lots/L002/hold/", hold_form())
    assert Hold.objects.count() == 2
    assert QUESTION in Client().post("/lots/L002/hold/", hold_form()).content.decode()


def test_everybody_who_works_here_has_a_button(stranger, small_mill):
    text = stranger.post("/lots/L001/hold/", hold_form()).content.decode()
    buttons = re.findall(r'name="who_is_at_this_screen" value="(\w+)"', text)
    assert buttons == list(Person.objects.values_list("code", flat=True))


def test_a_name_that_nobody_has_is_asked_again(stranger, small_mill):
    answer = stranger.post("/lots/L001/hold/", {**hold_form(), "who_is_at_this_screen": "P99"})
    assert QUESTION in answer.content.decode()
    assert "who_is_at_this_screen" not in waiting(answer)
    assert not Hold.objects.exists()


def test_a_mill_of_one_is_not_asked(stranger, small_mill):
    Person.objects.exclude(pk=small_mill.owner.pk).update(archived_at="2026-03-02T09:00Z")
    assert stranger.post("/lots/L001/hold/", hold_form()).status_code == 302
    assert Hold.objects.get().opened_by == small_mill.owner


@pytest.mark.parametrize(
    "path", ["/", "/lots/", "/lots/L001/", "/orders/", "/orders/new/", "/runs/new/", "/records/settings/"]
)
def test_every_place_is_read_without_choosing(stranger, path):
    answer = stranger.get(path)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "Who is here?" in text
    assert "You: " not in text


def test_forms_are_shown_to_whoever_may_be_there(stranger):
    assert "Put L001 on hold" in stranger.get("/lots/L001/").content.decode()


def test_what_only_works_something_out_is_not_asked_about(stranger):
    typed = {"fibre": "huacaya", "mass": "2,7 kg", "piece": "100 g", "form": "skirted", "product": "roving"}
    assert QUESTION not in stranger.post("/orders/new/answer/", typed).content.decode()
    assert QUESTION not in stranger.post("/orders/new/", {**typed, "act": "work"}).content.decode()
    assert QUESTION in stranger.post("/orders/new/", {**typed, "act": "take"}).content.decode()


def test_a_file_is_chosen_once_more_after_the_name(stranger, small_mill):
    picture = SimpleUploadedFile("bag.png", b"not looked at", content_type="image/png")
    asked = stranger.post(
        "/lots/L001/photos/", {"photo": picture}, headers={"referer": "http://testserver/lots/L001/door/"}
    )
    assert "choose the file once more" in asked.content.decode()
    assert waiting(asked)["next"] == "/lots/L001/door/"
    assert not Photo.objects.exists()


def test_a_form_of_another_page_chooses_nobody(small_mill):
    strict = Client(enforce_csrf_checks=True)
    answer = strict.post("/lots/L001/hold/", {**hold_form(), "who_is_at_this_screen": small_mill.floor.code})
    assert answer.status_code == 403
    assert "person" not in strict.session
    assert Lot.objects.filter(code="L001").exists()
