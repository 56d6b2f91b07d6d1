"""From spectrum to colour, beside an independent library at one nanometre."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.fibre.colour_oracle import PATCHES, all_patches, fine_lab, patch

from doffer.errors import InputError, NotFoundError
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import (
    ILLUMINANTS,
    check_reflectance,
    lab_of_reflectance,
    lab_of_xyz,
    light,
    ratios_of_lab,
    three_bands,
    xyz_of_lab,
)
from doffer.tables.loader import load_tables

TABLES = load_tables()
WHITES = {  # of the shipped weights, from 1 nm data 360-830
    ("D65", 2): (95.0471, 100, 108.8828),
    ("D65", 10): (94.8111, 100, 107.3046),
    ("A", 2): (109.8494, 100, 35.5908),
    ("A", 10): (111.1428, 100, 35.2060),
    ("LED-B3", 2): (100.8619, 100, 67.6339),
    ("LED-B3", 10): (103.3101, 100, 67.9066),
    ("FL11", 2): (100.9001, 100, 64.2669),
    ("FL11", 10): (103.8209, 100, 65.5575),
}
TEN_NM_DE = 0.1  # what 31 points can do beside 401: mean 0.02, largest 0.09 on this chart


@pytest.mark.parametrize(("illuminant", "observer_deg"), WHITES)
def test_the_perfect_diffuser_is_the_white_of_the_light(illuminant, observer_deg):
    found = light(TABLES, illuminant, observer_deg=observer_deg)
    assert found.white_xyz == pytest.approx(WHITES[illuminant, observer_deg], abs=1e-4)
    assert lab_of_reflectance(np.ones(31), found) == pytest.approx((100, 0, 0), abs=1e-9)


@pytest.mark.parametrize("observer_deg", [2, 10])
@pytest.mark.parametrize("illuminant", ILLUMINANTS)
def test_chart_patches_have_the_colour_the_independent_library_sees(illuminant, observer_deg):
    seen_in = light(TABLES, illuminant, observer_deg=observer_deg)
    found = lab_of_reflectance(all_patches(), seen_in)
    wanted = np.stack([fine_lab(name, illuminant, observer_deg) for name in PATCHES])
    apart = de2000(wanted, found)
    assert apart.max() < TEN_NM_DE
    assert np.abs(wanted - found).max() < TEN_NM_DE


def test_a_plain_sum_at_ten_nanometres_would_not_pass_under_a_three_band_lamp():
    # the reason why weights are shipped: without folding, FL11 is off by units
    from tests.fibre.colour_oracle import CMFS, colour

    shape = colour.SpectralShape(400, 700, 10)
    lamp = np.array([colour.SDS_ILLUMINANTS["FL11"][nm] for nm in shape.wavelengths])
    weights = np.array([CMFS[10][nm] for nm in shape.wavelengths]) * lamp[:, None]
    naive = lab_of_xyz(patch("red") @ weights, weights.sum(axis=0))
    assert de2000(fine_lab("red", "FL11", 10), naive) > 5 * TEN_NM_DE


@given(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))
def test_lab_goes_to_xyz_and_back(lightness, a, b):
    white = light(TABLES).white_xyz
    lab = np.array([lightness, a, b])
    assert lab_of_xyz(xyz_of_lab(lab, white), white) == pytest.approx(lab, abs=1e-9)


def test_three_bands_give_the_colour_they_came_from():
    seen_in = light(TABLES)
    lab = np.array([46.6, -20.9, 19.2])
    assert lab_of_reflectance(ratios_of_lab(lab, seen_in), three_bands(seen_in)) == pytest.approx(lab)


@pytest.mark.parametrize(("illuminant", "observer_deg"), [("D50", 10), ("D65", 5), ("", 2)])
def test_a_light_we_do_not_have_is_named_with_those_we_have(illuminant, observer_deg):
    with pytest.raises(NotFoundError, match="Known are D65, A, LED-B3, FL11, for 2° and 10°"):
        light(TABLES, illuminant, observer_deg=observer_deg)


@pytest.mark.parametrize(
    ("spectrum", "sentence"),
    [
        (np.full(31, 1.21), "reflectance is “1.21”; it must be at most 1.2"),
        (np.full(31, -0.01), "zero or more; set the instrument to zero on its black trap"),
        (np.full(30, 0.5), "spectrum is “30 values”; it must be 31 values, from 400 to 700 nm"),
        (np.r_[np.full(30, 0.5), np.nan], "a number at every wavelength"),
        (np.r_[np.full(30, 0.5), np.inf], "a number at every wavelength"),
        (np.array(0.5), "spectrum is “1 values”"),
    ],
)
def test_what_is_no_reflectance_is_refused_in_one_sentence(spectrum, sentence):
    with pytest.raises(InputError) as caught:
        check_reflectance(spectrum)
    assert sentence in str(caught.value)
    assert str(caught.value).count(". ") == 0


def test_a_spectrum_up_to_the_limit_is_taken_as_it_is():
    given_spectrum = np.linspace(0, 1.2, 31)
    assert np.array_equal(check_reflectance(given_spectrum), given_spectrum)
