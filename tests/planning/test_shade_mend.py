"""A recipe is mended by its trial card with as few changes as will do."""

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import blend
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.planning.shade.mend import in_weight, mend_recipe
from doffer.planning.shade.target import target_from_lab
from doffer.planning.shade.ways import usual_ways
from doffer.tables.loader import load_tables

GREENS_AND_YELLOW = [(46, -22, 18), (42, -24, 14), (49, -20, 21), (39, -23, 10), (74, 4, 58)]
GRAMS = np.array([960.0, 830, 700, 570, 510])
ON_HAND = np.array([960.0, 830, 700, 570, 1720])


@pytest.fixture(scope="module")
def lots():
    seen_in = light(load_tables(), "D65", observer_deg=10)
    return recover_reflectance(np.array(GREENS_AND_YELLOW, dtype=float), seen_in).reflectance


def aim_of(lots, grams):
    tables = load_tables()
    seen_in = light(tables, "D65", observer_deg=10)
    ways = usual_ways(tables)
    return target_from_lab(
        lab_of_reflectance(blend(lots, grams / grams.sum(), ways.mixing), seen_in), seen_in
    ), ways


@pytest.mark.parametrize("yellow_g", [250.0, 800.0])
def test_what_only_one_lot_can_mend_changes_that_lot_alone(lots, yellow_g):
    aim, ways = aim_of(lots, np.array([*GRAMS[:4], yellow_g]))
    mended = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways)
    assert mended.dry_mass_g[:4] == tuple(GRAMS[:4])
    assert mended.dry_mass_g[4] == pytest.approx(yellow_g, abs=20)
    assert mended.de < 0.2


def test_of_changes_that_are_as_good_the_one_that_moves_least_fibre_is_taken(lots):
    """A blend that came out darker and greener is mended by a little yellow, not by leaving a green out."""
    tables = load_tables()
    ways = usual_ways(tables)
    seen_in = light(tables, "D65", observer_deg=10)
    predicted = lab_of_reflectance(blend(lots, GRAMS / GRAMS.sum(), ways.mixing), seen_in)
    aim = target_from_lab(predicted + np.array([1.9, 0.4, 2.0]), seen_in)
    mended = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways)
    assert mended.dry_mass_g[:4] == tuple(GRAMS[:4])
    assert 510 < mended.dry_mass_g[4] < 1000


def test_no_lot_gives_more_than_there_is(lots):
    aim, ways = aim_of(lots, np.array([1900.0, 830, 700, 570, 510]))
    mended = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways)
    assert all(np.array(mended.dry_mass_g) <= ON_HAND + 1e-9)


def test_a_recipe_that_is_on_shade_stays_as_it_is(lots):
    aim, ways = aim_of(lots, GRAMS)
    assert mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways).dry_mass_g == tuple(GRAMS)


def test_two_lots_change_only_when_one_is_not_enough(lots):
    aim, ways = aim_of(lots, np.array([960.0, 830, 100, 570, 900]))
    mended = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways)
    changed = [place for place in range(5) if mended.dry_mass_g[place] != GRAMS[place]]
    assert len(changed) <= 2
    assert mended.de < 0.7


def test_weights_that_cannot_be_are_refused(lots):
    aim, ways = aim_of(lots, GRAMS)
    with pytest.raises(InputError, match="one for each lot"):
        mend_recipe(lots, GRAMS[:3], ON_HAND, target=aim, ways=ways)


def test_a_change_that_must_keep_the_weight_takes_only_blends_of_which_there_is_enough(lots):
    """Leaving yellow out would be nearest, but the greens are used up: so heavy a blend needs it."""
    aim, ways = aim_of(lots, np.array([*GRAMS[:4], 100.0]))
    free = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways)
    kept = mend_recipe(lots, GRAMS, ON_HAND, target=aim, ways=ways, least_total_g=GRAMS.sum())
    assert sum(in_weight(free.dry_mass_g, ON_HAND, total_g=GRAMS.sum())) < GRAMS.sum() - 300
    grams = in_weight(kept.dry_mass_g, ON_HAND, total_g=GRAMS.sum())
    assert sum(grams) == pytest.approx(GRAMS.sum())
    assert all(np.array(grams) <= ON_HAND + 0.02)
    assert kept.de > free.de


def test_a_blend_in_another_weight_has_the_same_shares():
    assert in_weight((100.0, 300.0), np.array([500.0, 900.0]), total_g=1000.0) == (250.0, 750.0)
    assert in_weight((100.0, 300.0), np.array([500.0, 600.0]), total_g=1000.0) == (200.0, 600.0)
    assert in_weight((0.0, 300.0), np.array([0.0, 600.0]), total_g=500.0) == (0.0, 500.0)
