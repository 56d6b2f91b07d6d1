"""Counting fibres: sections, limits, samples of a blend."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre import fineness
from doffer.fibre.variation import Signals, share_signals, unmixed_variance
from doffer.process.evenness.fibres import (
    Limit,
    added_cv_frac,
    blend_irregularity_index,
    blend_limit_cv_frac,
    expected_blend_irregularity,
    fibre_tex,
    fibres_in_section,
    intensity_and_scale,
    irregularity_index,
    lacey_index,
    length_factor,
    limit_cv_frac,
    section_spread,
    share_sampling_variance,
    signal_sampling_variance,
)
from doffer.process.evenness.passage import Card, Draw, Feed, Laying, Part, Passage
from doffer.process.evenness.spectrum import apply, laid, through


def part(name: str, share: float, um: float, *, cv: float = 0.0, mm: float = 70, mm_cv: float = 0.0) -> Part:
    return Part(name, share, um, cv, mm, mm_cv, 1.31)


FINE, COARSE = part("fine", 0.3, 22), part("coarse", 0.7, 27)


def test_a_section_counts_as_fineness_does():
    said = fibres_in_section((part("a", 0.3, 22, cv=0.2), part("b", 0.7, 27, cv=0.3)), strand_tex=76.1)
    counted = fineness.fibres_across(
        count_tex=76.1,
        mass_shares=np.array([0.3, 0.7]),
        diameter_um=np.array([22.0, 27]),
        diameter_sd_um=np.array([4.4, 8.1]),
        density_g_cm3=np.array([1.31, 1.31]),
    )
    assert said == pytest.approx(counted, rel=1e-12)


def test_the_section_spread_is_that_of_normal_diameters():
    diameters = np.random.default_rng(3).normal(25, 25 * 0.25, 400_000)
    areas = diameters**2
    assert section_spread(0.25) == pytest.approx((areas**2).mean() / areas.mean() ** 2, rel=0.005)


def test_coarser_and_less_even_fibre_limits_a_strand_more():
    assert limit_cv_frac(fibres=144, diameter_cv_frac=0.25, form=Limit.USUAL) == pytest.approx(
        0.0932, abs=5e-5
    )
    assert limit_cv_frac(fibres=144, diameter_cv_frac=0.35) > limit_cv_frac(fibres=144, diameter_cv_frac=0.25)
    assert limit_cv_frac(fibres=36, diameter_cv_frac=0.25) == pytest.approx(
        2 * limit_cv_frac(fibres=144, diameter_cv_frac=0.25)
    )
    one = part("a", 1.0, 25, cv=0.25)
    n = fibres_in_section((one,), strand_tex=100)
    assert blend_limit_cv_frac((one,), strand_tex=100) == pytest.approx(
        limit_cv_frac(fibres=n, diameter_cv_frac=0.25)
    )


def test_equal_fibres_are_sampled_as_coins_are():
    parts = (part("a", 0.2, 25), part("b", 0.8, 25))
    n = fibres_in_section(parts, strand_tex=100)
    assert share_sampling_variance(parts, strand_tex=100) == pytest.approx([0.16 / n, 0.16 / n])


def test_unlike_fibres_are_sampled_as_drawn_ones_are():
    rng = np.random.default_rng(11)
    numbers = rng.poisson(
        [
            100 * 0.3 / fibre_tex(diameter_um=22, density_g_cm3=1.31),
            100 * 0.7 / fibre_tex(diameter_um=27, density_g_cm3=1.31),
        ],
        (40_000, 2),
    )
    masses = numbers * [fibre_tex(diameter_um=um, density_g_cm3=1.31) for um in (22, 27)]
    drawn = (masses[:, 0] / masses.sum(axis=1)).var()
    assert share_sampling_variance((FINE, COARSE), strand_tex=100)[0] == pytest.approx(drawn, rel=0.03)
    assert blend_limit_cv_frac((FINE, COARSE), strand_tex=100) == pytest.approx(
        masses.sum(axis=1).std() / masses.sum(axis=1).mean(), rel=0.02
    )


def test_a_signal_is_sampled_as_its_shares_are():
    parts = (FINE, COARSE)
    slope = Signals(("L*",), np.array([[46.0, 0.0]]))
    shares = signal_sampling_variance(parts, share_signals(parts), strand_tex=100)
    assert shares == pytest.approx(share_sampling_variance(parts, strand_tex=100))
    assert signal_sampling_variance(parts, slope, strand_tex=100)[0] == pytest.approx(46**2 * shares[0])


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 5000), st.floats(5, 200), st.floats(0, 0.6))
def test_a_longer_piece_is_evener_and_never_below_zero(length_mm, fibre_mm, cv):
    here = length_factor(length_mm, fibre_mm=fibre_mm, fibre_cv_frac=cv)
    longer = length_factor(length_mm * 1.5, fibre_mm=fibre_mm, fibre_cv_frac=cv)
    assert 0 < longer < here <= 1
    assert length_factor(length_mm * 2, fibre_mm=fibre_mm * 2, fibre_cv_frac=cv) == pytest.approx(here)


def test_a_piece_of_strand_is_evener_than_a_section():
    parts = (part("a", 0.3, 22, mm=70), part("b", 0.7, 27, mm=70))
    section = signal_sampling_variance(parts, share_signals(parts), strand_tex=100)
    piece = signal_sampling_variance(parts, share_signals(parts), strand_tex=100, length_mm=140)
    assert piece == pytest.approx(section * 5 / 12)


def test_the_index_is_zero_where_every_section_is_alike_and_one_where_it_is_chance():
    fibres = np.full(4000, 150.0)
    assert blend_irregularity_index(fibres=fibres, fibres_of_part=np.full(4000, 45.0)) == 0
    chance = np.random.default_rng(5).binomial(150, 0.3, 4000).astype(float)
    assert blend_irregularity_index(fibres=fibres, fibres_of_part=chance) == pytest.approx(1, abs=0.03)
    rng = np.random.default_rng(5)
    striped = rng.binomial(150, np.clip(rng.normal(0.3, 0.05, 4000), 0, 1)).astype(float)
    said = expected_blend_irregularity(fibres=150, macro_variance=0.05**2, share_frac=0.3)
    assert blend_irregularity_index(fibres=fibres, fibres_of_part=striped) == pytest.approx(said, rel=0.03)


def test_unevenness_adds_in_squares():
    assert irregularity_index(cv_frac=0.14, limit_cv_frac=0.07) == pytest.approx(2)
    assert added_cv_frac(before_cv_frac=0.03, after_cv_frac=0.05) == pytest.approx(0.04)
    assert added_cv_frac(before_cv_frac=0.05, after_cv_frac=0.03) == 0
    assert lacey_index(variance=0.04, unmixed_variance=0.16, random_variance=0.001) == pytest.approx(
        0.12 / 0.159
    )


def test_intensity_falls_in_the_card_and_the_scale_is_its_hold_up():
    parts = (part("a", 0.2, 25), part("b", 0.8, 25))
    feed = Feed(1e6, parts, 100_000, laying=Laying.HANDFULS)
    start = laid(feed, share_signals(parts))
    assert intensity_and_scale(start).intensity == pytest.approx([1, 1])
    carded = intensity_and_scale(apply(Card(60), start))
    assert carded.scale_g == pytest.approx([60, 60], rel=0.06)  # of a first-order lag of fine handfuls
    assert carded.intensity[0] < 0.1
    lot = through(Passage(feed, (Card(60), Draw(4, 4)), 3000), share_signals(parts))
    assert intensity_and_scale(lot).scale_g == pytest.approx([240, 240], rel=0.06)
    small = through(
        Passage(Feed(20_000, parts, 2000, laying=Laying.HANDFULS), (Card(60), Draw(4, 4)), 3000),
        share_signals(parts),
    )
    assert intensity_and_scale(small).scale_g == pytest.approx([240, 240], rel=0.1)
    assert lot.variance / unmixed_variance(lot.weights, lot.shares) == pytest.approx(
        intensity_and_scale(lot).intensity
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fibre_tex(diameter_um=0, density_g_cm3=1.31), "a diameter and a density above zero"),
        (lambda: fibres_in_section((FINE, COARSE), strand_tex=0), "above zero tex"),
        (lambda: limit_cv_frac(fibres=0, diameter_cv_frac=0.2), "above zero, with a spread"),
        (lambda: length_factor(-1, fibre_mm=70), "of fibres longer than zero"),
        (lambda: irregularity_index(cv_frac=0.1, limit_cv_frac=0), "over a limit above zero"),
        (lambda: lacey_index(variance=0.1, unmixed_variance=0, random_variance=0), "more in unmixed parts"),
        (
            lambda: blend_irregularity_index(fibres=np.ones(2), fibres_of_part=np.full(2, 3.0)),
            "from zero to all fibres",
        ),
        (
            lambda: blend_irregularity_index(fibres=np.ones(2), fibres_of_part=np.zeros(2)),
            "some of the part and some of the rest",
        ),
        (
            lambda: expected_blend_irregularity(fibres=0, macro_variance=0, share_frac=0.5),
            "a share between 0 and 1",
        ),
        (
            lambda: signal_sampling_variance((FINE, COARSE), Signals(("a",), np.eye(1)), strand_tex=100),
            "2 weights each",
        ),
    ],
)
def test_what_cannot_be_counted_is_said(call, words):
    with pytest.raises(InputError, match=words):
        call()
