"""A full mix is made of the fibre of its card, for the shade that counts, and of no more than there is."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.mill.conftest import FERN, seen
from tests.mill.test_kitchen import kitchen  # noqa: F401

from doffer.errors import RefusedError
from doffer.mill import clock
from doffer.mill.booking import Reading
from doffer.mill.commands.dyeing_undone import take_back_dyeing
from doffer.mill.commands.kitchen import begin_dyeing
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.run_facts import RunFacts, RunIn
from doffer.mill.commands.run_questions import RunQuestionError
from doffer.mill.commands.run_stage import begin_run
from doffer.mill.commands.shades import TargetFacts, archive_shade, restate_shade
from doffer.mill.commands.trial_card import learn_from_card, measure_trial, release_recipe
from doffer.mill.queries.recipes import one_recipe, run_note, sample_blends

pytestmark = pytest.mark.django_db
CARD = (46.8, -20.6, 19.0)


def wish(house, dry_g):
    parts = tuple(PartFacts(house.lots[name], 0.5) for name in ("G1", "G3"))
    return RecipeFacts(parts=parts, dry_mass_g=dry_g, shade=house.shade)


@pytest.fixture
def house(kitchen):  # noqa: F811
    """A kitchen with a recipe of 1 kg, half of G1 and half of G3, whose card is on shade."""
    kitchen.code = propose_recipe(kitchen.owner, wish(kitchen, 1000)).code
    measure_trial(kitchen.floor, kitchen.code, seen=seen(*[CARD] * 4))
    return kitchen


def dye(house, name, grams=None, **more):
    """One hour later a lot goes into a kettle, or some grams of it."""
    with clock.frozen(clock.now() + timedelta(hours=1)):
        lot = house.lots[name]
        return begin_dyeing(house.floor, lot=lot, shade=house.shade, fibre_g=grams, is_now=False, **more)


def test_no_more_is_written_down_than_a_lot_has_of_its_colour(house):
    dye(house, "G1", 600.0)  # of 1104 g, which are 960 g oven-dry
    with pytest.raises(
        RefusedError, match=r"holds 438 g oven-dry, 522 g more of it was dyed apart, the blend takes 500 g"
    ):
        propose_recipe(house.owner, wish(house, 1000))
    assert propose_recipe(house.owner, wish(house, 800)).code


def test_a_part_dyed_apart_stops_a_mix_that_takes_more_than_the_rest_whatever_the_note(house):
    done = dye(house, "G1", 600.0)
    told = r"holds 438 g oven-dry, 522 g more of it was dyed apart, and this mix takes 500 g"
    with pytest.raises(RefusedError, match=told):
        release_recipe(house.owner, house.code, note="never mind")
    assert one_recipe(house.code).row.state == "measured"
    take_back_dyeing(house.floor, done.id, reason="that was another lot")
    assert release_recipe(house.owner, house.code) == "released"


def test_a_part_dyed_apart_that_leaves_enough_stops_nothing(house):
    dye(house, "G1", 400.0)
    assert release_recipe(house.owner, house.code) == "released"


def test_a_lot_dyed_after_the_recipe_was_written_needs_a_new_card(house):
    done = dye(house, "G1")
    with pytest.raises(RefusedError, match=r"all of L006 was dyed Fern after M\S+ was written.*card that"):
        release_recipe(house.owner, house.code, note="never mind")
    take_back_dyeing(house.floor, done.id, reason="it was not dyed")
    assert release_recipe(house.owner, house.code) == "released"


def test_a_lot_dyed_before_the_recipe_was_written_is_what_the_card_is_of(kitchen):  # noqa: F811
    done = dye(kitchen, "G1")
    with clock.frozen(clock.now() + timedelta(hours=2)):
        for load, _ in done.loads:
            record_readings(kitchen.floor, seen=seen((46, -22, 18)), load=load)
        code = propose_recipe(kitchen.owner, wish(kitchen, 1000)).code
        measure_trial(kitchen.floor, code, seen=seen(*[CARD] * 4))
        assert release_recipe(kitchen.owner, code) == "released"


def test_a_lot_read_again_as_another_colour_is_asked_about(house):
    with clock.frozen(clock.now() + timedelta(hours=1)):
        record_readings(house.floor, seen=seen((46.1, -22, 18)), lot=house.lots["G1"])
        assert one_recipe(house.code).against.asks == ()
        record_readings(house.floor, seen=seen((40, -10, 10)), lot=house.lots["G1"])
        with pytest.raises(RefusedError, match=r"L006 was read again and is \d+\.\d from what M\S+ counts"):
            release_recipe(house.owner, house.code)
        assert release_recipe(house.owner, house.code, note="Wrenna: the tile was dirty") == "released"


def test_a_standard_that_was_restated_is_asked_about_with_its_distance(house):
    target = TargetFacts(labs={"D65": (48, -24, 23)}, geometry="45/0")
    restate_shade(house.owner, house.shade, reason="greener", target=target)
    with pytest.raises(
        RefusedError,
        match=r"Fern was restated since: its standard 2 counts now, and the card is 2\.5 from it, where 1\.2",
    ):
        release_recipe(house.owner, house.code)
    assert release_recipe(house.owner, house.code, note="Wrenna: still for the old kits") == "released"


def test_a_shade_out_of_the_book_is_asked_about(house):
    archive_shade(house.owner, house.shade)
    with pytest.raises(RefusedError, match="Fern was taken out of the shade book"):
        release_recipe(house.owner, house.code)
    assert release_recipe(house.owner, house.code, note="Wrenna: the last kits") == "released"


def impossible(house):
    """Two dark greens whose card is Fern all the same, four times."""
    parts = tuple(PartFacts(house.lots[name], 0.5) for name in ("G2", "G4"))
    facts = RecipeFacts(parts=parts, dry_mass_g=500, shade=house.shade)
    code = propose_recipe(house.owner, facts).code
    return code, measure_trial(house.floor, code, seen=seen(*[FERN] * 4))


def test_a_card_that_its_lots_cannot_make_is_released_only_by_a_word(kitchen):  # noqa: F811
    code, told = impossible(kitchen)
    assert (told.verdict, told.sample) == ("pass", None)
    with pytest.raises(
        RefusedError,
        match=r"no blend of its lots comes nearer than \d\.\d to its trial card.*weigh or read again",
    ):
        release_recipe(kitchen.owner, code)
    assert release_recipe(kitchen.owner, code, note="Wrenna: weighed and read again") == "released"


def test_a_card_that_somebody_took_for_right_asks_no_more(kitchen):  # noqa: F811
    code, _ = impossible(kitchen)
    learn_from_card(kitchen.owner, code, note="weighed again, read twice")
    assert sample_blends(fibre="wool").rows[0].recipe == code
    assert release_recipe(kitchen.owner, code) == "released"


def going_in(house, grams):
    reading = Reading(gross_g=grams, branch="measured", measured_regain_frac=0.15)
    return [RunIn(lot=house.lots["G1"], reading=reading)]


def test_a_run_by_a_recipe_whose_lot_was_dyed_since_does_not_start(house):
    release_recipe(house.owner, house.code)
    dye(house, "G1", decision="Wrenna: darker")
    facts = RunFacts(stage="pick", note=run_note(house.code, 1))
    with pytest.raises(RefusedError, match=r"all of L006 was dyed Fern.*Take the release of M\S+ back"):
        begin_run(house.floor, facts, going_in(house, 500.0), confirmation="never mind")
    assert begin_run(house.floor, RunFacts(stage="pick"), going_in(house, 500.0))


def test_more_into_the_picker_than_has_the_colour_of_the_lot_is_asked_about(house):
    dye(house, "G1", 600.0)
    with pytest.raises(
        RunQuestionError, match=r"600 g of L006 was dyed apart: 504 g has its colour, and 900 g"
    ):
        begin_run(house.floor, RunFacts(stage="pick"), going_in(house, 900.0))
    assert begin_run(house.floor, RunFacts(stage="pick"), going_in(house, 500.0))
