"""Spectra behind typed Lab values: possible, of that colour, and only as good as stated for blending."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.fibre.colour_oracle import unusual_spectra

from doffer.errors import InputError
from doffer.fibre.colour.blend import blend, stearns_noechel
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.recover import recover_from_lights, recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.tables.loader import load_tables

TABLES = load_tables()
D65, D65_2, A_2 = light(TABLES), light(TABLES, observer_deg=2), light(TABLES, "A", observer_deg=2)
REAL = unusual_spectra()
N_BLENDS = 1000


def blend_errors(recovered: np.ndarray) -> np.ndarray:
    """CIEDE2000 between blends of true and of recovered spectra."""
    rng = np.random.default_rng(0)
    sets = np.array([rng.choice(len(REAL), 3, replace=False) for _ in range(N_BLENDS)])
    shares = rng.dirichlet(np.ones(3), N_BLENDS)
    mixing = stearns_noechel(0.15)
    true, found = (lab_of_reflectance(blend(r[sets], shares, mixing), D65_2) for r in (REAL, recovered))
    return de2000(true, found)


@given(st.floats(15, 85), st.floats(-25, 25), st.floats(-25, 25))
def test_a_recovered_spectrum_has_the_colour_it_was_asked_for(lightness, a, b):
    lab = np.array([lightness, a, b])
    found = recover_reflectance(lab, D65)
    assert found.is_exact[0]
    assert found.residual_de[0] < 1e-6
    assert lab_of_reflectance(found.reflectance[0], D65) == pytest.approx(lab, abs=1e-6)
    assert found.reflectance.min() > 0
    assert found.reflectance.max() < 1


def test_greys_come_back_flat():
    found = recover_reflectance(lab_of_reflectance(np.full(31, 0.3), D65), D65)
    assert found.reflectance[0] == pytest.approx(np.full(31, 0.3), abs=1e-6)


def test_many_at_once_are_the_same_as_one_by_one():
    labs = lab_of_reflectance(REAL[:10], D65)
    together = recover_reflectance(labs, D65).reflectance
    assert together == pytest.approx(np.stack([recover_reflectance(lab, D65).reflectance[0] for lab in labs]))


def test_blends_of_recovered_spectra_are_off_by_about_one():
    errors = blend_errors(recover_reflectance(lab_of_reflectance(REAL, D65_2), D65_2).reflectance)
    assert 0.7 < errors.mean() < 1.2
    assert np.quantile(errors, 0.95) < 4


def readings(sd: float) -> np.ndarray:
    labs = np.stack([lab_of_reflectance(REAL, one) for one in (D65_2, A_2)], axis=1)
    return labs + np.random.default_rng(1).normal(0, sd, labs.shape) if sd else labs


def test_a_second_light_makes_blends_several_times_better():
    errors = blend_errors(recover_from_lights(readings(0), (D65_2, A_2), sd=0.05).reflectance)
    assert errors.mean() < 0.25


def test_noise_in_the_second_light_is_not_taken_for_truth():
    # exact fitting of two noisy readings would be off by 0.6; soft fitting stays at half of that
    errors = blend_errors(recover_from_lights(readings(0.1), (D65_2, A_2), sd=0.1).reflectance)
    assert errors.mean() < 0.4


def test_a_colour_that_no_surface_has_keeps_hue_and_lightness_and_says_so():
    found = recover_reflectance(np.array([50.0, 150.0, 0.0]), D65)
    assert not found.is_exact[0]
    lab = lab_of_reflectance(found.reflectance[0], D65)
    assert lab[0] == pytest.approx(50, abs=1e-3)
    assert 60 < lab[1] < 150
    assert lab[2] == pytest.approx(0, abs=1e-3)
    assert found.residual_de[0] == pytest.approx(150 - lab[1], abs=1e-3)


@pytest.mark.parametrize("lab", [[101, 0, 0], [-1, 0, 0]])
def test_a_lightness_that_cannot_be_is_refused(lab):
    with pytest.raises(InputError, match=rf"lightness L is “{lab[0]:.1f}”; it must be from 0 to 100"):
        recover_reflectance(np.array(lab, dtype=float), D65)


@pytest.mark.parametrize("lab", [[50, np.nan, 0], [50, 0]])
def test_a_gap_in_a_lab_is_refused(lab):
    with pytest.raises(InputError, match="three numbers: L, a and b"):
        recover_reflectance(np.array(lab, dtype=float), D65)


def test_readings_must_go_with_their_lights():
    with pytest.raises(InputError, match="2 lights"):
        recover_from_lights(np.zeros((1, 1, 3)), (D65_2, A_2), sd=0.1)
