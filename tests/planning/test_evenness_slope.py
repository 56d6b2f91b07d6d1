"""The slope of colour by share: known blends, sums to zero, the same two ways, measured from two cards."""

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import BlendModel, Mixing, blend, default_mixing
from doffer.fibre.colour.spectrum import lab_of_reflectance, light, three_bands
from doffer.planning.evenness.slope import (
    measured_slope,
    slope_band,
    slope_lab,
    slope_per_share,
    spectra_of_labs,
)
from doffer.tables.loader import load_tables

TABLES = load_tables()
SEEN_IN = light(TABLES)
MIXING = default_mixing(TABLES)
COLOURS = np.array([(16.0, 0, 0), (90, 0, 8), (60, 6, 18)])
SPECTRA = spectra_of_labs(COLOURS, SEEN_IN)
SHARES = np.array([0.2, 0.5, 0.3])


def shades(shares):
    return lab_of_reflectance(blend(SPECTRA, shares, MIXING), SEEN_IN)


def test_the_slope_is_what_the_blend_does_when_a_share_is_moved():
    weights = slope_lab(SPECTRA, SHARES, SEEN_IN, mixing=MIXING)
    for lot in range(3):
        raised = SHARES * (1 - 1e-4 / (1 - SHARES[lot]))
        raised[lot] = SHARES[lot] + 1e-4
        moved = (shades(raised) - shades(SHARES)) / 1e-4
        assert weights[:, lot] / (1 - SHARES[lot]) == pytest.approx(moved, rel=2e-3, abs=0.02)


def test_weights_sum_to_nothing_over_the_blend():
    weights = slope_lab(SPECTRA, SHARES, SEEN_IN, mixing=MIXING)
    assert weights @ SHARES == pytest.approx(np.zeros(3), abs=1e-6)


def test_any_small_deviation_of_shares_is_told_by_the_weights():
    weights = slope_lab(SPECTRA, SHARES, SEEN_IN, mixing=MIXING)
    away = np.array([2e-4, -3e-4, 1e-4])
    assert weights @ away == pytest.approx(shades(SHARES + away) - shades(SHARES), rel=5e-3, abs=2e-4)


def test_of_two_lots_either_moves_the_colour_alike():
    weights = slope_lab(SPECTRA[:2], np.array([0.3, 0.7]), SEEN_IN, mixing=MIXING)
    by_share = slope_per_share(weights, np.array([0.3, 0.7]))
    assert by_share[0] == pytest.approx(by_share[1], rel=1e-6)


def test_black_and_white_half_and_half_is_steep_in_every_model():
    half = np.array([0.5, 0.5])
    # A three-band reckoning with M 0.15 (from memory) gave 45.7, plain averaging 52.2, for like colours.
    noechel = slope_per_share(slope_lab(SPECTRA[:2], half, SEEN_IN, mixing=MIXING), half)[0]
    plain = Mixing(BlendModel.PLAIN_AVERAGE)
    linear = slope_per_share(slope_lab(SPECTRA[:2], half, SEEN_IN, mixing=plain), half)[0]
    assert noechel == pytest.approx(45.7, rel=0.1)
    assert linear == pytest.approx(52.2, rel=0.1)


def test_three_bands_and_spectra_nearly_agree_for_greys():
    half = np.array([0.5, 0.5])
    bands = three_bands(SEEN_IN)
    greys = np.array([(16.0, 0, 0), (90, 0, 0)])
    lots = spectra_of_labs(greys, SEEN_IN)
    from_spectra = slope_per_share(slope_lab(lots, half, SEEN_IN, mixing=MIXING), half)[0]
    y = lab_y(greys[:, 0])
    from_bands = slope_per_share(
        slope_lab(np.repeat(y[:, None], 3, axis=1), half, bands, mixing=MIXING), half
    )[0]
    assert from_bands == pytest.approx(from_spectra, rel=0.02)


def lab_y(lightness):
    return ((lightness + 16) / 116) ** 3


def test_dark_in_light_depends_on_the_model_more_than_twofold():
    lots, shares = spectra_of_labs(np.array([(20.0, 0, 0), (72, 0, 2)]), SEEN_IN), np.array([0.1, 0.9])
    band = slope_band(lots, shares, SEEN_IN, mixing=MIXING, ln_m_sd=0.4)
    low, mid, high = (slope_per_share(one, shares)[0] for one in (band.low_m, band.weights, band.high_m))
    assert len({round(one) for one in (low, mid, high)}) == 3
    plain = slope_lab(lots, shares, SEEN_IN, mixing=Mixing(BlendModel.PLAIN_AVERAGE))
    assert mid / slope_per_share(plain, shares)[0] > 2
    assert max(low, high) > 1.05 * min(low, high)


def test_two_hand_cards_measure_the_slope():
    raised = SHARES * (1 - 0.05 / 0.8)
    raised[0] = 0.25
    slope = measured_slope(shades(SHARES), shades(raised), moved_share_frac=0.05)
    weights = slope_lab(SPECTRA, SHARES, SEEN_IN, mixing=MIXING)
    assert slope == pytest.approx(slope_per_share(weights, SHARES)[0], rel=0.1)
    with pytest.raises(InputError, match="change of share between the two cards"):
        measured_slope(shades(SHARES), shades(SHARES), moved_share_frac=0)


def test_a_share_without_its_lot_is_refused():
    with pytest.raises(InputError, match="as many as shares, 2"):
        slope_lab(SPECTRA, np.array([0.5, 0.5]), SEEN_IN, mixing=MIXING)
