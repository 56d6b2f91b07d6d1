"""On its pages the dye kitchen asks before fibre is dyed twice, and takes a dyeing back."""

import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.test_kitchen import card, desk, kitchen, send, two_loads  # noqa: F401

from doffer.mill.commands.kitchen import begin_dyeing
from doffer.mill.queries.kitchen import dyeings

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house


def test_a_second_person_is_asked_before_a_lot_is_dyed_twice(desk, kitchen):  # noqa: F811
    address = f"/kitchen/{kitchen.shade}/begin/"
    assert send(desk, address, lot="L005", mass="2.6", kettle="K120").status_code == 302
    text = card(desk, kitchen, "lot=L005")
    assert "2.60 kg of L005 was dyed Fern on" in text
    refused = send(desk, address, lot="L005")
    assert refused.status_code == 422
    assert "Write who decided that it is dyed all the same, and why." in words(refused)
    assert len(dyeings().rows) == 1
    decided = {"lot": "L005", "decision": "Wrenna: a darker fern"}
    taken = words(send(desk, address, mass="2.6", kettle="K120", **decided))
    assert "2.60 kg of it is dyed Fern in kettle 120 L now. Take that out first" in taken
    assert send(desk, address, **decided).status_code == 302
    assert dyeings().rows[0].note == "decided: Wrenna: a darker fern"


def test_what_is_left_undyed_is_what_the_card_is_for(desk, kitchen):  # noqa: F811
    begin_dyeing(kitchen.floor, lot="L005", shade=kitchen.shade, loads=(("K60", 600.0),), is_now=False)
    text = card(desk, kitchen, "lot=L005")
    assert "2.05 kg of fibre, what is not dyed of it yet" in text  # 2645 g at agreed regain less 600 g
    assert "600 g of L005 was dyed Fern on" in text
    assert "Who decided" not in text
    assert send(desk, f"/kitchen/{kitchen.shade}/begin/", lot="L005", water="100").status_code == 302
    assert dyeings().rows[0].fibre_g == pytest.approx(2045, abs=1)


def test_a_dyeing_that_was_not_done_is_taken_back_on_its_page(desk, kitchen):  # noqa: F811
    done = two_loads(kitchen)
    page = f"/kitchen/dyeings/{done.id}/"
    assert "This was not done" in words(desk.get(page))
    empty = send(desk, f"{page}undo/", reason=" ")
    assert empty.status_code == 422
    assert "a few words that the next person understands" in words(empty)
    assert send(desk, f"{page}undo/", reason="begun twice").status_code == 302
    text = words(desk.get(page))
    assert "Taken back: it was not done begun twice" in text
    for gone in ("At the kettle now", "Keep the reading", "This was not done", "Close it as a run"):
        assert gone not in text
    assert "taken back, not done : begun twice" in words(desk.get("/kitchen/dyeings/"))
    assert "taken back, not done" in words(desk.get("/kitchen/"))
