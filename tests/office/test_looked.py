"""The question whether anybody has looked for moth, on the forms that would let a bag go on."""

import uuid

import pytest
from tests.office.page_words import words

from doffer.mill.models import Hold, Lot, Run

pytestmark = pytest.mark.django_db
ASKED = "Nobody has looked for moth in L001 yet."
WASH = {
    "stage": "wash",
    "lot": "L001",
    "act": "record",
    "out_1_gross": "2.4",
    "branch": "desorption",
    "number": "keep",
}
TABLE = {"gross": "3.6", "tare": "0", "reject": "400", "minutes": "10"}


@pytest.fixture
def unseen(small_mill):
    Lot.objects.filter(code="L001").update(pest="unchecked")
    return small_mill


@pytest.mark.parametrize(("address", "form"), [("/runs/new/", WASH), ("/lots/L001/grade/", TABLE)])
def test_the_form_asks_and_goes_on_once_somebody_looked(client, unseen, address, form):
    asked = client.post(address, {**form, "key": str(uuid.uuid4())})
    assert asked.status_code == 422
    assert ASKED in words(asked)
    assert "If it is right, say why" not in words(asked)
    assert not Run.objects.exists()
    done = client.post(address, {**form, "key": str(uuid.uuid4()), "looked_L001": "clear"})
    assert done.status_code == 302
    assert Lot.objects.get(code="L001").pest == "clear"
    assert Run.objects.count() == 1


@pytest.mark.parametrize(("address", "form"), [("/runs/new/", WASH), ("/lots/L001/grade/", TABLE)])
def test_larvae_are_held_and_the_bag_stays(client, unseen, address, form):
    answer = client.post(address, {**form, "key": str(uuid.uuid4()), "looked_L001": "found"})
    assert answer.status_code == 422
    assert "on hold" in words(answer)
    assert Hold.objects.get().kind == "moth"
    assert Lot.objects.get(code="L001").location == "quarantine shelf"
    assert not Run.objects.exists()


def test_a_lot_somebody_looked_into_is_not_asked_about(client, small_mill):
    assert ASKED not in words(client.post("/runs/new/", {**WASH, "key": str(uuid.uuid4())}))


def test_the_store_does_not_take_a_bag_nobody_looked_into(client, unseen):
    answer = client.post("/lots/L001/move/", {"place": "store", "location": "shelf 2"})
    assert answer.status_code == 422
    assert "Nobody has looked for moth in L001 yet" in words(answer)
    assert Lot.objects.get(code="L001").place == "door"
