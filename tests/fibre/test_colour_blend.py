"""Laws that every blend keeps, whatever the model, and the worked values of each model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from doffer.errors import InputError
from doffer.fibre.colour.blend import (
    OF_SPECTRA,
    BlendModel,
    Mixing,
    blend,
    blend_gradient,
    blend_reflectance,
    default_mixing,
    m_of_offset,
    offset_of_m,
    reflectance_of,
    stearns_noechel,
    transform,
    two_constant_reflectance,
    two_constants,
    untransform,
    untransform_slope,
    with_scattering,
)
from doffer.tables.loader import load_tables

TABLES = load_tables()
MIXINGS = tuple(default_mixing(TABLES, model) for model in OF_SPECTRA)
N_LOTS = 4
LOTS = arrays(np.float64, (N_LOTS, 31), elements=st.floats(0.005, 0.98))
PARTS = arrays(np.float64, N_LOTS, elements=st.floats(0.01, 1))
MODELS = pytest.mark.parametrize("mixing", MIXINGS, ids=lambda one: str(one.model))
FLAT_DARK, FLAT_LIGHT = 0.05, 0.60


@pytest.mark.parametrize(
    ("mixing", "wanted"),
    [
        (stearns_noechel(0.15), 0.126857),
        (stearns_noechel(0.25), 0.11197),
        (stearns_noechel(0.05), 0.17816),
        (Mixing(BlendModel.FRIELE, 0.09), 0.10732),
        (Mixing(BlendModel.KUBELKA_MUNK), 0.09035),
        (Mixing(BlendModel.PLAIN_AVERAGE), 0.325),
    ],
)
def test_a_dark_and_a_light_grey_half_and_half_give_the_worked_value(mixing, wanted):
    # worked out from the formulas of Stearns-Noechel, Friele and Kubelka-Munk by a separate program
    found = blend(np.array([[FLAT_DARK], [FLAT_LIGHT]]), np.array([0.5, 0.5]), mixing)
    assert float(found[0]) == pytest.approx(wanted, abs=6e-6)


def test_the_harmonic_form_is_the_formula_of_stearns_and_noechel():
    # F(R) = (1 - R) / (M (R - 0.01) + 0.01) averages
    m, lots, shares = 0.15, np.array([[0.05], [0.3], [0.6]]), np.array([0.2, 0.5, 0.3])
    f = shares @ ((1 - lots) / (m * (lots - 0.01) + 0.01))
    original = (1 + 0.01 * f * (m - 1)) / (1 + m * f)
    assert blend_reflectance(lots, shares, offset=offset_of_m(m)) == pytest.approx(original, abs=1e-14)


@pytest.mark.parametrize(("m", "offset"), [(0.05, 0.19), (0.11, 0.0809), (0.15, 0.05667), (0.60, 0.00667)])
def test_m_and_offset_go_back_and_forth(m, offset):
    assert offset_of_m(m) == pytest.approx(offset, abs=1e-4)
    assert m_of_offset(offset_of_m(m)) == pytest.approx(m)


@MODELS
@given(lots=LOTS)
def test_a_lot_alone_is_itself(mixing, lots):
    for place in range(N_LOTS):
        alone = blend(lots, np.eye(N_LOTS)[place], mixing)
        assert alone == pytest.approx(lots[place], abs=1e-7)


@MODELS
@given(lots=LOTS, parts=PARTS)
def test_a_blend_lies_between_its_lots_and_is_never_lighter_than_their_mean(mixing, lots, parts):
    shares = parts / parts.sum()
    found = blend(lots, shares, mixing)
    assert np.all(found >= lots.min(axis=0) - 1e-7)
    assert np.all(found <= lots.max(axis=0) + 1e-7)
    if mixing.model is not BlendModel.FRIELE:  # Friele's curve turns the other way below about 2 %
        assert np.all(found <= shares @ lots + 1e-7)


@MODELS
@given(lots=LOTS, parts=PARTS, order=st.permutations(range(N_LOTS)))
def test_the_order_of_the_lots_does_not_matter(mixing, lots, parts, order):
    shares = parts / parts.sum()
    assert blend(lots[order], shares[order], mixing) == pytest.approx(blend(lots, shares, mixing), abs=1e-9)


@MODELS
@given(lots=LOTS, parts=PARTS)
def test_splitting_a_lot_in_two_changes_nothing(mixing, lots, parts):
    shares = parts / parts.sum()
    split = blend(
        np.concatenate([lots, lots[:1]]), np.r_[shares[0] * 0.3, shares[1:], shares[0] * 0.7], mixing
    )
    assert split == pytest.approx(blend(lots, shares, mixing), abs=1e-9)


@MODELS
@given(lots=LOTS, parts=PARTS)
def test_a_blend_of_blends_is_the_blend_of_all(mixing, lots, parts):
    shares = parts / parts.sum()
    first, second = shares[:2].sum(), shares[2:].sum()
    halves = np.stack(
        [
            blend(lots[:2], shares[:2] / first, mixing),
            blend(lots[2:], shares[2:] / second, mixing),
        ]
    )
    again = blend(halves, np.array([first, second]), mixing)
    assert again == pytest.approx(blend(lots, shares, mixing), abs=1e-6)


@given(lots=LOTS, parts=PARTS)
def test_a_vanishing_m_averages_plainly(lots, parts):
    shares = parts / parts.sum()
    assert blend(lots, shares, stearns_noechel(1e-7)) == pytest.approx(shares @ lots, abs=1e-4)


@MODELS
@given(lots=LOTS)
def test_what_averages_turns_back_into_reflectance(mixing, lots):
    assert untransform(transform(lots, mixing), mixing) == pytest.approx(lots, abs=1e-7)


@MODELS
def test_slopes_are_what_small_steps_show(mixing):
    r = np.linspace(0.03, 0.9, 31)
    f = transform(r, mixing)
    step = 1e-6 * np.abs(f)
    by_steps = (untransform(f + step, mixing) - untransform(f - step, mixing)) / (2 * step)
    assert untransform_slope(f, mixing) == pytest.approx(by_steps, rel=1e-4)


@MODELS
def test_the_gradient_is_what_a_small_change_of_a_share_does(mixing):
    rng = np.random.default_rng(1)
    lots, shares = rng.uniform(0.05, 0.8, (3, 31)), np.array([0.5, 0.3, 0.2])
    step = 1e-6
    for place, slope in enumerate(blend_gradient(lots, shares, mixing)):
        moved = shares + step * (np.eye(3)[place] - shares)
        by_step = (blend(lots, moved, mixing) - blend(lots, shares, mixing)) / step
        assert slope == pytest.approx(by_step, abs=1e-4)


def test_two_constants_find_the_scattering_the_tint_was_made_with():
    white, dyed, scattering, share = np.array([0.8]), np.array([0.1]), 0.6, 0.4
    k_white, k_dyed = ((1 - r) ** 2 / (2 * r) for r in (white, dyed))
    k_tint = ((1 - share) * k_white + share * k_dyed * scattering) / ((1 - share) + share * scattering)
    tint = 1 + k_tint - np.sqrt(k_tint**2 + 2 * k_tint)
    assert float(tint[0]) == pytest.approx(0.243517, abs=1e-6)
    k, s = two_constants(dyed, tint, white, tint_share=share)
    assert float(s[0]) == pytest.approx(scattering)
    constants = (np.stack([k_white, k]), np.stack([np.ones(1), s]))
    again = two_constant_reflectance(*constants, np.array([1 - share, share]))
    assert again == pytest.approx(tint)


def test_where_dye_and_white_absorb_alike_the_scattering_is_that_of_white():
    white = np.array([0.8])
    _, s = two_constants(white, white, white, tint_share=0.4)
    assert float(s[0]) == 1


def test_a_tint_that_does_not_lie_between_tells_no_scattering():
    white, dyed, tint = np.array([0.8]), np.array([0.6]), np.array([0.5])
    _, s = two_constants(dyed, tint, white, tint_share=0.4)
    assert float(s[0]) == 1


@pytest.mark.parametrize("shares", [[0.5, 0.6], [1.5, -0.5], [0.2, 0.2]])
def test_shares_that_are_no_shares_are_refused(shares):
    with pytest.raises(InputError, match=r"zero or more each, 1 \(100 %\) together"):
        blend(np.full((2, 31), 0.5), np.array(shares), MIXINGS[0])


@pytest.mark.parametrize("m", [0, 1, -0.1, 1.5])
def test_a_constant_outside_the_model_is_refused(m):
    with pytest.raises(InputError, match="between 0 and 1"):
        stearns_noechel(m)


def test_constants_of_the_other_models_are_looked_at_too():
    with pytest.raises(InputError, match="Friele"):
        Mixing(BlendModel.FRIELE, 0)
    with pytest.raises(InputError, match="above zero"):
        m_of_offset(0)
    with pytest.raises(InputError, match="between 0 and 1"):
        two_constants(np.ones(1), np.ones(1), np.ones(1), tint_share=1)


def test_two_constants_are_an_average_of_absorption_and_of_scattering():
    rng = np.random.default_rng(4)
    absorption, scattering = rng.uniform(0.05, 3, (3, 31)), rng.uniform(0.4, 1.6, (3, 31))
    lots, shares = with_scattering(absorption, scattering), np.array([0.2, 0.5, 0.3])
    two = Mixing(BlendModel.TWO_CONSTANT)
    assert blend(lots, shares, two) == pytest.approx(two_constant_reflectance(absorption, scattering, shares))
    alike = with_scattering(absorption, np.ones((3, 31)))
    one = blend(reflectance_of(absorption), shares, Mixing(BlendModel.KUBELKA_MUNK))
    assert blend(alike, shares, two) == pytest.approx(one)
    assert np.abs(blend(lots, shares, two) - one).max() > 0.02
    with pytest.raises(InputError, match="one that needs no tints, to search by"):
        untransform_slope(transform(lots, two), two)
