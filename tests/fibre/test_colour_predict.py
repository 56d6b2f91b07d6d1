"""Predictions with their band, models side by side, and very many blends at once."""

from __future__ import annotations

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.batch import CHUNK, blend_labs
from doffer.fibre.colour.blend import (
    OF_SPECTRA,
    BlendModel,
    Mixing,
    blend,
    default_mixing,
    stearns_noechel,
    two_constant_reflectance,
    two_constants,
)
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import (
    compare_models,
    default_ln_m_sd,
    mixing_ends,
    predict_band,
    published_error,
    usual_mixings,
)
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.tables.loader import load_tables

TABLES = load_tables()
D65 = light(TABLES)
DARK, LIGHT = np.full(31, 0.05), np.full(31, 0.60)
LOTS, HALVES = np.stack([DARK, LIGHT]), np.array([0.5, 0.5])


@pytest.mark.parametrize("model", OF_SPECTRA)
def test_many_blends_at_once_are_the_blends_one_by_one(model):
    rng = np.random.default_rng(5)
    lots = rng.uniform(0.003, 0.95, (30, 31))
    sets = np.array([rng.choice(30, 4, replace=False) for _ in range(CHUNK + 100)])
    shares = rng.dirichlet(np.ones(4), len(sets))
    mixing = default_mixing(TABLES, model)
    found = blend_labs(lots, sets, shares, seen_in=D65, mixing=mixing)
    wanted = lab_of_reflectance(blend(lots[sets], shares, mixing), D65)
    assert np.abs(found - wanted).max() < 0.01


def test_black_blends_are_right_too():
    black = np.full((2, 31), 0.002)
    found = blend_labs(black, np.array([[0, 1]]), HALVES[None], seen_in=D65, mixing=stearns_noechel(0.15))
    assert found[0] == pytest.approx(lab_of_reflectance(black[0], D65), abs=1e-3)


def test_sets_without_their_shares_are_refused():
    with pytest.raises(InputError, match="like the sets"):
        blend_labs(LOTS, np.array([[0, 1]]), np.ones((1, 3)), seen_in=D65, mixing=stearns_noechel(0.15))


def test_the_band_runs_from_a_small_to_a_large_m():
    mixing = stearns_noechel(0.15)
    band = predict_band(LOTS, HALVES, D65, mixing=mixing, ln_m_sd=0.2)
    low, high = mixing_ends(mixing, ln_m_sd=0.2)
    assert low.constant == pytest.approx(0.15 * np.exp(-0.4))
    assert high.constant == pytest.approx(0.15 * np.exp(0.4))
    assert band.lab_high_m[0] < band.lab[0] < band.lab_low_m[0]  # the larger M, the darker
    ends = np.array([band.lab_low_m, band.lab_high_m])
    assert band.moved_de == pytest.approx(de2000(np.array(band.lab), ends).max())
    assert (band.de, band.de_low, band.de_high) == (None, None, None)


def test_a_band_beside_a_standard_tells_the_least_and_the_most():
    standard = lab_of_reflectance(blend(LOTS, HALVES, stearns_noechel(0.15)), D65)
    band = predict_band(LOTS, HALVES, D65, mixing=stearns_noechel(0.15), ln_m_sd=0.4, standard_lab=standard)
    assert band.de == pytest.approx(0, abs=1e-9)
    assert band.de_low == band.de
    assert band.de_high == pytest.approx(band.moved_de)
    assert band.moved_de > 4  # dark with light: everything hangs on M


def test_a_constant_that_is_known_exactly_has_no_band():
    band = predict_band(LOTS, HALVES, D65, mixing=stearns_noechel(0.15), ln_m_sd=0)
    assert band.moved_de == pytest.approx(0, abs=1e-9)


def test_m_hardly_matters_between_near_shades():
    near = np.stack([np.full(31, 0.20), np.full(31, 0.24)])
    band = predict_band(near, HALVES, D65, mixing=stearns_noechel(0.15), ln_m_sd=0.4)
    assert band.moved_de < 0.2


def test_models_are_compared_with_the_first_and_with_the_standard():
    standard = np.array([45.0, 0, 0])
    found = compare_models(
        LOTS, HALVES, D65, mixings=usual_mixings(TABLES, stearns_noechel(0.15)), standard_lab=standard
    )
    assert [one.model for one in found] == ["stearns_noechel", "friele", "kubelka_munk", "plain_average"]
    assert found[0].de_to_first == 0
    for one in found:
        assert one.de_to_standard == pytest.approx(float(de2000(standard, np.array(one.lab))))
    lightness = [one.lab[0] for one in found]
    assert lightness[2] < lightness[1] < lightness[0] < lightness[3]
    assert found[3].de_to_first > 15  # plain averaging is another colour altogether


def test_two_constants_join_the_comparison_when_tints_were_measured():
    white = np.full(31, 0.8)
    tinted = ((DARK, np.full(31, 0.17)), (LIGHT, np.full(31, 0.7)))
    pairs = [two_constants(r, tint, white, tint_share=0.4) for r, tint in tinted]
    constants = (np.stack([k for k, _ in pairs]), np.stack([s for _, s in pairs]))
    found = compare_models(LOTS, HALVES, D65, mixings=(stearns_noechel(0.15),), constants=constants)
    assert [one.model for one in found] == ["stearns_noechel", "two_constant"]
    assert found[1].de_to_standard is None
    wanted = lab_of_reflectance(two_constant_reflectance(*constants, HALVES), D65)
    assert found[1].lab == pytest.approx(wanted)
    assert found[1].de_to_first == pytest.approx(float(de2000(np.array(found[0].lab), wanted)))


def test_published_errors_say_how_wrong_a_model_was():
    found = published_error(TABLES, "stearns_noechel")
    assert (found.mean_low_de, found.mean_high_de, found.most_de) == (1.02, 1.23, 4.09)
    assert published_error(TABLES, "kubelka_munk").mean_low_de > 6
    with pytest.raises(InputError, match="published error"):
        published_error(TABLES, "plain_average")


def test_a_band_needs_a_model_whose_constant_has_a_spread():
    with pytest.raises(InputError, match="Stearns-Noechel"):
        mixing_ends(Mixing(BlendModel.KUBELKA_MUNK), ln_m_sd=0.1)
    with pytest.raises(InputError, match="zero or more"):
        mixing_ends(stearns_noechel(0.15), ln_m_sd=-0.1)
    with pytest.raises(InputError, match="one or more"):
        compare_models(LOTS, HALVES, D65, mixings=())


def test_until_it_is_fitted_the_constant_is_known_only_widely():
    assert default_ln_m_sd(TABLES) == 0.4
    low, high = mixing_ends(default_mixing(TABLES), ln_m_sd=default_ln_m_sd(TABLES))
    assert (low.constant, high.constant) == (pytest.approx(0.0674, abs=1e-4), pytest.approx(0.3338, abs=1e-4))
