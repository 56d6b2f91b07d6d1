"""Whose fibre and which ticks an answer of the bench may use; the terminal says the same."""

import re

import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.mill.booking import Reading
from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.readings import record_readings

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
WANTS = ("correct", "together", "leftovers")


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def found(client, want, lots, **more):
    page = client.get("/bench/", {"want": want, "lot": lots, **more})
    section = re.search(r'(?s)<section class="panel answer".*?</section>', page.content.decode())[0]
    return page, re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", section)), section


@pytest.mark.parametrize("want", WANTS)
def test_somebody_elses_lot_enters_no_answer_beside_ours(desk, dye_house, want):
    _, text, _ = found(desk, want, [dye_house.lots["G1"], dye_house.theirs])
    assert f"{dye_house.theirs} is fibre of Moss Edge Farm" in text
    assert "without their yes" in text
    assert not re.search("Put (this|these) on the bench", text)
    assert "Put them on the bench together" in text


@pytest.mark.parametrize("want", WANTS)
def test_a_lot_of_somebody_else_alone_is_asked_with_their_fibre_by_one_link(desk, dye_house, want):
    _, text, section = found(desk, want, [dye_house.theirs])
    assert f"{dye_house.theirs} is fibre of Moss Edge Farm" in text
    assert "“0”" not in text
    address = re.search(r'href="([^"]+)">Ask with fibre of Moss Edge Farm alone', section)[1]
    again = words(desk.get(address.replace("&amp;", "&")))
    assert "without their yes. Ask" not in again
    assert f"whose={dye_house.moss}" in address


def test_an_agreement_lets_its_lots_into_the_answer(desk, dye_house):
    lots = [dye_house.lots["G1"], dye_house.theirs]
    number = decide_join(dye_house.office, lots=tuple(lots), consent="Tilly by phone, 2 March")
    _, text, _ = found(desk, "together", lots)
    assert f"Ask by agreement {number}" in text
    _, text, _ = found(desk, "together", lots, whose=f"a{number}")
    assert "All 2 together are" in text


def test_adding_nothing_is_refused_beside_its_field(desk, dye_house):
    page, text, _ = found(desk, "correct", [dye_house.lots["G4"]], added="0")
    assert "Adding nothing mends nothing" in text
    assert "Put this on the bench" not in text
    assert 'value="0"' in page.content.decode()


def test_a_lot_cannot_be_must_and_not_at_once(desk, dye_house):
    lot = dye_house.lots["G1"]
    _, text, _ = found(desk, "find", [], must=lot, never=lot)
    assert f"{lot} is ticked as “must” and as “not”" in text
    assert "Put this on the bench" not in text


def test_a_lot_that_must_be_in_it_and_may_not_go_in_is_said(desk, dye_house):
    for must, why in (
        ("L005", "L005 cannot go in: not read dry by an instrument"),
        ("L999", "L999 is not on the bench"),
        (dye_house.theirs, f"{dye_house.theirs} must be in it and is fibre of Moss Edge Farm"),
    ):
        _, text, _ = found(desk, "find", [], must=must)
        assert why in text
        assert "Put this on the bench" not in text


def test_a_ticked_lot_that_cannot_go_in_is_not_passed_over(desk, dye_house):
    _, text, _ = found(desk, "correct", [dye_house.lots["G4"], "L005"])
    assert "L005 cannot go in" in text
    assert "Put this on the bench" not in text


def test_an_answer_of_two_fibres_names_them(desk, dye_house):
    bag = Bag(
        customer=dye_house.own,
        facts=FibreFacts(fibre="alpaca", colour_name="straw"),
        reading=Reading(gross_g=3000, branch="measured", measured_regain_frac=0.15),
        form="scoured",
        place="dye",
    )
    straw = weigh_in_bag(dye_house.floor, bag, confirmation="parcels differ").lot
    check_for_pests(dye_house.floor, straw, seen="clear")
    record_readings(dye_house.floor, seen=dyed.seen((72, 6, 55)), lot=straw)
    _, text, _ = found(desk, "find", [], must=straw)
    assert re.search(r"It is of (wool and alpaca|alpaca and wool), so its label changes", text, re.IGNORECASE)
    _, text, _ = found(desk, "find", [])
    plain = [part for part in text.split("Put this on the bench") if straw not in part]
    assert plain
    assert not any("its label changes" in part for part in plain)


def test_no_more_is_said_to_be_right_than_may_be_added(desk, dye_house):
    _, text, _ = found(desk, "correct", [dye_house.lots[name] for name in ("G1", "G2", "G3", "G4")])
    said = re.search(r"From ([\d.]+) to ([\d.]+) (k?g) it stays", text)
    assert float(said[2]) > 0.68  # kilograms, with half of the lot allowed
    lots = {"G1": 960, "G2": 830, "G3": 700, "G4": 570}
    most_g = 0.17 * sum(lots.values()) * 1.15
    _, text, _ = found(desk, "correct", [dye_house.lots[name] for name in lots], added="17")
    said = re.search(r"From ([\d.]+) to ([\d.]+) (k?g) it stays", text)
    assert float(said[2]) * (1000 if said[3] == "kg" else 1) <= most_g + 5


def test_one_lot_alone_is_said_to_be_alone(desk, dye_house):
    _, text, _ = found(desk, "together", [dye_house.lots["G1"]])
    assert f"{dye_house.lots['G1']} alone is" in text
    assert f"{dye_house.lots['G1']} makes it alone" in text
