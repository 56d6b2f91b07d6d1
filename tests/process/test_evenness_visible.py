"""What is seen of a strand: contrast, spread of shade, stripes."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.variation import Variation, share_signals, with_colour
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through
from doffer.process.evenness.visible import (
    contrast_weights,
    dominant_wave_g,
    piece_mass_g,
    seen_sd_de,
    shade_spread,
    stripe_length_mm,
    visible_stripes,
    wavelength_mm,
    waves_in_a_degree,
)
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()
PARTS = (Part("dark", 0.2, 25, 0.25, 70, 0.4, 1.31), Part("silver", 0.8, 25, 0.25, 70, 0.4, 1.31))
FEED = Feed(6000, PARTS, 24)
DARK_IN_SILVER = np.array([[-80.0, 0], [10, 0], [20, 0]])
ROVING_TEX = 3000


def strand(*steps, slope=DARK_IN_SILVER, tex: float = ROVING_TEX, feed: Feed = FEED) -> Variation:
    return through(Passage(feed, steps, tex), with_colour(share_signals(feed.parts), slope))


def one_wave(*, wave_g: float, sd_de: float, axis: int = 0) -> Variation:
    """A strand with a single wave in one axis of colour."""
    signals = with_colour(share_signals(PARTS), DARK_IN_SILVER)
    lines = np.zeros((5, 1))
    lines[2 + axis, 0] = sd_de**2
    cycles = np.array([0.0, 1.0])
    return Variation(
        signals.names, signals.weights, FEED.shares, cycles, np.zeros((5, 2)), np.array([1 / wave_g]), lines
    )


def test_lightness_is_seen_at_every_stripe_and_hue_only_in_long_ones():
    lightness, red_green, blue_yellow = contrast_weights(TABLES, np.array([0.0, 0.7, 3.5, 7.0, 30, 60]))
    assert lightness[:4] == pytest.approx([1, 1, 1, 1])
    assert lightness[-1] < lightness[-2] < 0.5
    for hue in (red_green, blue_yellow):
        assert hue[0] == pytest.approx(1)
        assert np.all(np.diff(hue) < 0)
    assert np.all(blue_yellow[1:4] < red_green[1:4])


def test_nearer_by_half_a_stripe_looks_twice_as_coarse():
    waves = np.array([1.0, 10])
    assert waves_in_a_degree(waves, distance_mm=400) == pytest.approx(
        2 * waves_in_a_degree(waves, distance_mm=200)
    )


def test_grams_and_millimetres_meet_in_the_count():
    assert piece_mass_g(length_mm=10, strand_tex=ROVING_TEX) == pytest.approx(0.03)
    assert wavelength_mm(wave_g=0.03, strand_tex=ROVING_TEX) == pytest.approx(10)


def test_the_spread_of_shade_goes_over_all_axes_and_tells_pairs_and_floor():
    between, floor = np.array([[9.0, 1], [0, 0], [16, 3]]), np.array([[1.0, 1], [1, 1], [2, 2]])
    spread = shade_spread(TABLES, between, floor=floor)
    assert spread.sd_de == pytest.approx([5, 2])
    assert spread.pair95_de == pytest.approx([13.85, 5.54])
    assert spread.floor_de == pytest.approx([2, 2])


def test_pairs_of_pieces_lie_within_what_is_said():
    rng = np.random.default_rng(4)
    pairs = np.abs(rng.normal(0, 2, 100_000) - rng.normal(0, 2, 100_000))
    said = shade_spread(TABLES, np.array([[4.0], [0], [0]]), floor=np.zeros((3, 1))).pair95_de[0]
    assert np.mean(pairs < said) == pytest.approx(0.95, abs=0.003)


def test_colour_varies_as_the_share_does_times_the_slope():
    variation = strand(Pick(20), Toss(10), Card(60))
    between = between_variance(variation, masses_g=np.array([0.03]))
    assert between[2:, 0] == pytest.approx(between[0, 0] * DARK_IN_SILVER[:, 0] ** 2)


def test_stripes_fade_with_every_stage_and_are_at_last_not_seen():
    steps = (Pick(20), Toss(10), Pick(20), Toss(10), Card(60), Draw(6, 6), Draw(6, 6), Draw(6, 6))
    told = [visible_stripes(strand(*steps[:n]), TABLES, strand_tex=ROVING_TEX) for n in range(len(steps) + 1)]
    spreads = [each.sd_de for each in told]
    assert all(later < earlier * 1.005 for earlier, later in pairwise(spreads))
    assert told[0].is_visible
    assert told[0].sd_de == pytest.approx(0.4 * np.linalg.norm(DARK_IN_SILVER[:, 0]), rel=0.01)
    assert not told[-1].is_visible
    assert told[-1].pair95_de == pytest.approx(2.77 * told[-1].sd_de)


def test_a_strip_can_pass_the_loose_limit_and_fail_the_strict_one():
    between_limits = visible_stripes(one_wave(wave_g=1, sd_de=0.7), TABLES, strand_tex=ROVING_TEX)
    assert not between_limits.is_visible
    assert between_limits.is_told_apart
    calm = visible_stripes(one_wave(wave_g=1, sd_de=0.35), TABLES, strand_tex=ROVING_TEX)
    assert not calm.is_told_apart
    own = TABLES.override([Override("evenness_figures", "visible_sd", "value", "0.5")])
    assert visible_stripes(one_wave(wave_g=1, sd_de=0.7), own, strand_tex=ROVING_TEX).is_visible


def test_stripes_of_hue_are_lost_in_the_distance_and_those_of_lightness_are_not():
    blue = one_wave(wave_g=0.045, sd_de=2, axis=2)
    light = one_wave(wave_g=0.045, sd_de=2, axis=0)
    at = {"strand_tex": ROVING_TEX}
    assert seen_sd_de(blue, TABLES, distance_mm=4000, **at) < 0.8 * seen_sd_de(
        blue, TABLES, distance_mm=250, **at
    )
    assert seen_sd_de(light, TABLES, distance_mm=1000, **at) == pytest.approx(
        seen_sd_de(light, TABLES, distance_mm=250, **at)
    )


def test_a_band_of_hue_is_weighted_wave_by_wave():
    cycles = np.linspace(10, 30, 2001)  # stripes of 11 to 33 mm
    density = np.zeros((5, 2001))
    density[4] = 0.2
    lone = one_wave(wave_g=1, sd_de=0)
    band = dataclasses.replace(lone, cycles_per_g=cycles, density_g=density)
    waves = [one_wave(wave_g=1 / nu, sd_de=1, axis=2) for nu in np.linspace(10, 30, 201)]
    far = {"strand_tex": ROVING_TEX, "distance_mm": 4000}
    by_hand = 0.2 * 20 * np.mean([seen_sd_de(wave, TABLES, **far) ** 2 for wave in waves])
    assert seen_sd_de(band, TABLES, **far) ** 2 == pytest.approx(by_hand, rel=0.01)


def test_the_length_of_stripes_is_that_of_the_layers_and_then_of_the_card():
    fed = strand()
    assert dominant_wave_g(fed, piece_g=0.03)[0] == pytest.approx(250)
    assert stripe_length_mm(fed, TABLES, strand_tex=ROVING_TEX) == pytest.approx(250 / 0.003)
    tossed = strand(
        Pick(20), Toss(10), Card(60), feed=dataclasses.replace(FEED, lot_dry_mass_g=1e5, layers=400)
    )
    assert dominant_wave_g(tossed, piece_g=0.03)[0] == pytest.approx(2 * np.pi * 60, rel=0.3)
    assert np.isinf(dominant_wave_g(one_wave(wave_g=1, sd_de=1), piece_g=0.03)[0])


def test_no_colour_and_no_distance_are_said():
    plain = through(Passage(FEED, (Card(60),), ROVING_TEX), share_signals(PARTS))
    with pytest.raises(InputError, match="lightness"):
        visible_stripes(plain, TABLES, strand_tex=ROVING_TEX)
    with pytest.raises(InputError, match="above zero tex, above zero mm"):
        visible_stripes(strand(), TABLES, strand_tex=ROVING_TEX, distance_mm=0)
    with pytest.raises(InputError, match="three rows each"):
        shade_spread(TABLES, np.zeros((2, 1)), floor=np.zeros((2, 1)))
    with pytest.raises(InputError, match="zero or more"):
        contrast_weights(TABLES, np.array([-1.0]))
    with pytest.raises(InputError, match="above zero mm"):
        waves_in_a_degree(np.array([0.0]), distance_mm=400)
    with pytest.raises(InputError, match="above zero tex"):
        wavelength_mm(wave_g=1, strand_tex=0)
