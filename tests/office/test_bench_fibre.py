"""The bench keeps to one fibre unless somebody wants more, and offers no dyed part as the rest of its lot."""

from __future__ import annotations

import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.mill.booking import Reading
from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
from doffer.mill.commands.readings import record_readings

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
FERN = (46.6, -20.9, 19.2)


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


@pytest.fixture
def nylon(dye_house):
    """Nylon that is exactly of the shade: the nearest there is, and no wool."""
    bag = Bag(
        customer=dye_house.own,
        facts=FibreFacts(fibre="polyamide", colour_name="fern nylon"),
        reading=Reading(gross_g=3000, branch="measured", measured_regain_frac=0.05),
        form="scoured",
        place="dye",
    )
    lot = weigh_in_bag(dye_house.floor, bag, confirmation="parcels differ").lot
    check_for_pests(dye_house.floor, lot, seen="clear")
    record_readings(dye_house.floor, seen=dyed.seen(FERN), lot=lot)
    return lot


def answer(desk, **asked):
    page = words(desk.get("/bench/", asked))
    return page, page.split("Blends for", 1)[-1]


def test_a_wool_shade_is_not_found_with_nylon_unless_every_fibre_is_wanted(desk, dye_house, nylon):
    page, found = answer(desk, want="find", shade=dye_house.shade)
    assert "Put this on the bench" in found
    assert nylon not in page
    page, found = answer(desk, want="find", shade=dye_house.shade, fibre="every")
    assert f"{nylon} fern nylon · ours, polyamide (nylon)" in found


def test_what_is_added_to_a_wool_lot_is_wool(desk, dye_house, nylon):
    asked = {"want": "correct", "shade": dye_house.shade, "lot": dye_house.lots["G4"]}
    assert nylon not in words(desk.get("/bench/", asked))
    assert nylon in words(desk.get("/bench/", {**asked, "fibre": "every"}))


def test_to_choose_by_hand_every_fibre_lies_there(desk, dye_house, nylon):
    assert nylon in words(desk.get("/bench/", {"shade": dye_house.shade}))


def test_every_fibre_said_once_stays_said_and_is_never_said_by_the_form_alone(desk, dye_house):
    body = desk.get("/bench/", {"shade": dye_house.shade}).content.decode()
    assert '<option value="" selected>Every fibre' in body
    body = desk.get("/bench/", {"want": "find", "fibre": "every"}).content.decode()
    assert '<option value="every" selected>Every fibre' in body
    body = desk.get("/bench/", {"want": "find"}).content.decode()
    assert '<option value="wool" selected>' in body
