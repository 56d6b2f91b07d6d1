"""A card that no shares of its lots can make was mis-weighed or mis-read."""

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.fibre.colour.difference import Formula, de2000, de_cmc
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.planning.shade.reach import reach_of
from doffer.planning.shade.ways import usual_ways
from doffer.tables.loader import load_tables

TABLES = load_tables()
SEEN_IN = light(TABLES, "D65", observer_deg=10)
WAYS = usual_ways(TABLES)
COLOURS = [(46, -22, 18), (49, -20, 21), (42, -24, 14), (39, -23, 10), (74, 4, 58)]


def spectra(labs):
    return recover_reflectance(np.array(labs, dtype=float), SEEN_IN).reflectance


@pytest.mark.parametrize("n_lots", [1, 2, 3, 4, 5])
def test_every_blend_of_the_lots_is_within_reach(n_lots):
    lots = spectra(COLOURS[:n_lots])
    shares = np.array([0.37, 0.11, 0.23, 0.17, 0.12])[:n_lots]
    for m in (0.12, 0.2):
        made = lab_of_reflectance(blend(lots, shares / shares.sum(), stearns_noechel(m)), SEEN_IN)
        assert reach_of(lots, made, SEEN_IN, ways=WAYS).de < 0.35


def test_a_card_darker_than_both_lots_is_out_of_reach():
    found = reach_of(spectra(COLOURS[:2]), np.array([43.0, -22, 17]), SEEN_IN, ways=WAYS)
    assert found.beyond == "darker"
    assert found.de > 2
    assert "darker" in found.words


def test_a_card_of_another_hue_is_out_of_reach_although_no_lighter():
    found = reach_of(spectra(COLOURS[:2]), np.array([47.5, -5, 19]), SEEN_IN, ways=WAYS)
    assert found.beyond == ""
    assert found.de > 5
    assert "less strong" in found.words


def test_more_lots_than_a_recipe_holds_are_refused():
    with pytest.raises(InputError, match="one to 5"):
        reach_of(np.full((6, 31), 0.5), np.array([50.0, 0, 0]), SEEN_IN, ways=WAYS)


def test_the_distance_is_reckoned_as_the_tolerance_is():
    lots, card = spectra(COLOURS[:1]), np.array([43.0, -22, 17])
    alone = lab_of_reflectance(lots[0], SEEN_IN)
    by_cmc = reach_of(lots, card, SEEN_IN, ways=WAYS, formula=Formula.CMC).de
    assert by_cmc == pytest.approx(float(de_cmc(card, alone)), abs=1e-6)
    assert reach_of(lots, card, SEEN_IN, ways=WAYS).de == pytest.approx(float(de2000(card, alone)), abs=1e-6)
    assert by_cmc < 0.75 * float(de2000(card, alone))  # CMC forgives lightness
