"""A corrected version keeps its weight or says why not, and a card that cannot be is not believed."""

import re

import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.test_blend_recipes import send, shown

from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.trial_card import measure_trial, release_recipe
from doffer.mill.models import SampleBlend
from doffer.mill.queries.recipes import one_recipe

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def propose(house, total_g, **shares):
    parts = tuple(PartFacts(house.lots[name], share) for name, share in shares.items())
    return propose_recipe(house.office, RecipeFacts(parts=parts, dry_mass_g=total_g, shade=house.shade)).code


def test_a_corrected_mix_keeps_its_weight_although_its_nearest_shares_would_not(desk, dye_house):
    """Of G1 and G3 there are 960 and 700 g: 1.5 kg of G3 alone cannot be had, and is not made 700 g of."""
    code = propose(dye_house, 1500, G1=0.6, G3=0.4)
    send(desk, code, "measure", tufts="45.9 -22.5 16.5", geometry="45/0")
    text = shown(desk, code)
    assert "The mix stays 1.50 kg oven-dry." in text
    assert send(desk, code, "correct", way="own").status_code == 302
    again = one_recipe(code)
    assert again.row.version == 2
    assert again.row.dry_mass_g == pytest.approx(1500, abs=0.5)
    assert all(part.left_dry_g >= -0.5 for part in again.parts)


def test_a_lot_from_stock_is_offered_where_the_lots_of_the_recipe_do_not_reach(desk, dye_house):
    code = propose(dye_house, 1200, G1=0.5, G2=0.5)
    send(desk, code, "measure", tufts="43.5 -23 15.5", geometry="45/0")
    text = shown(desk, code)
    assert "more than your tolerance of 1.2" in text
    assert "With an addition from stock:" in text
    assert re.search(rf"{dye_house.lots['yellow']} yellow \d+ g from stock", text)
    assert dye_house.theirs not in text
    assert send(desk, code, "correct", way="added").status_code == 302
    again = one_recipe(code)
    assert again.row.dry_mass_g == pytest.approx(1200, abs=0.5)
    assert dye_house.lots["yellow"] in [part.lot for part in again.parts]


def test_a_smaller_mix_says_by_how_much_and_for_want_of_what(desk, dye_house):
    """Yellow is too much; without it the greens, all in already, are that much less."""
    kg = {"G1": 960, "G2": 830, "G3": 700, "G4": 570, "yellow": 1100}
    total = sum(kg.values())
    code = propose(dye_house, total, **{name: grams / total for name, grams in kg.items()})
    send(desk, code, "measure", tufts="50.5 -18.5 24", geometry="45/0")
    text = shown(desk, code)
    found = re.search(
        r"The mix is then ([\d.]+) kg oven-dry, (\d+) g less than before : there is no more of", text
    )
    assert found, text
    assert float(found[1]) * 1000 + int(found[2]) == pytest.approx(total, abs=11)
    assert send(desk, code, "correct", way="own").status_code == 302
    assert one_recipe(code).row.dry_mass_g == pytest.approx(total - int(found[2]), abs=1)


def test_a_card_darker_than_both_lots_is_said_and_teaches_only_with_a_persons_yes(desk, dye_house):
    code = propose(dye_house, 1500, G1=0.6, G3=0.4)
    send(desk, code, "measure", tufts="43 -22 17", geometry="45/0")
    text = shown(desk, code)
    assert "This card is darker than both lots" in text
    assert "Weigh or read again" in text
    assert "learns nothing from it" in text
    assert not SampleBlend.objects.exists()
    silent = send(desk, code, "learn", right_note=" ")
    assert silent.status_code == 422
    assert "weighed again and read twice" in words(silent)
    assert send(desk, code, "learn", right_note="weighed again, read twice").status_code == 302
    assert SampleBlend.objects.get().note == "weighed again, read twice"
    assert "Somebody said that it is right" in shown(desk, code)
    assert send(desk, code, "learn", right_note="once more").status_code == 422
    assert SampleBlend.objects.count() == 1


def test_a_card_that_its_lots_can_make_teaches_at_once(desk, dye_house):
    code = propose(dye_house, 1500, G1=0.6, G3=0.4)
    send(desk, code, "measure", tufts="46.9 -21.4 19", geometry="45/0")
    assert "This card is" not in shown(desk, code)
    assert SampleBlend.objects.count() == 1


def test_a_card_of_one_lot_alone_is_not_carded_until_no_fibre_stands_out(desk, dye_house):
    code = propose(dye_house, 500, G4=1.0)
    assert "until no fibre stands out" not in shown(desk, code)
    send(desk, code, "measure", tufts="39.2 -22.8 10.2", geometry="45/0")
    text = shown(desk, code)
    assert "With an addition from stock:" in text
    assert "With the lots it has:" not in text
    assert send(desk, code, "correct", way="own").status_code == 422


def test_somebody_elses_lot_is_not_offered_and_without_stock_it_is_said(desk, dye_house):
    open_hold(dye_house.owner, kind="moth", lot=dye_house.lots["yellow"], reason="larvae")
    code = propose(dye_house, 500, G4=1.0)
    send(desk, code, "measure", tufts="39.2 -22.8 10.2", geometry="45/0")
    text = shown(desk, code)
    assert dye_house.theirs not in text
    assert "yellow" not in text, text


def test_fibre_that_another_mix_waits_for_is_not_taken_to_correct_by(desk, dye_house):
    """Of G3's 700 g another released mix waits for 300: what is corrected keeps to the other 400."""
    other = propose(dye_house, 600, G1=0.5, G3=0.5)
    measure_trial(dye_house.floor, other, seen=dyed.seen(*[dyed.FERN] * 4))
    release_recipe(dye_house.owner, other)
    code = propose(dye_house, 600, G1=0.6, G3=0.4)
    send(desk, code, "measure", tufts="44.5 -23 16.5", geometry="45/0")
    assert send(desk, code, "correct", way="own").status_code == 302
    taken = {part.lot: part.dry_mass_g for part in one_recipe(code).parts}
    assert 240 < taken[dye_house.lots["G3"]] <= 400.5
    assert taken.get(dye_house.lots["G1"], 0) <= 960 - 300 + 0.5
