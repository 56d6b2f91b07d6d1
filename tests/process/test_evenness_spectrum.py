"""The closed forms of evenness: laws that hold for every blend, and what each step does."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.variation import Signals, Variation, share_signals, with_colour
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import (
    apply,
    apply_all,
    between_variance,
    box_gain,
    doubled_variance_frac,
    filtered,
    lag_gain,
    laid,
    through,
    usual_grid,
)

NEAR = settings(max_examples=20, deadline=None)
shares = st.lists(st.floats(0.05, 1), min_size=2, max_size=5).map(lambda raw: np.array(raw) / sum(raw))
hold_ups = st.floats(0.1, 500)
linear_steps = st.one_of(
    st.builds(Pick, hold_up_g=hold_ups, sandwich_g=st.floats(0, 300)),
    st.builds(Card, hold_up_g=hold_ups),
    st.builds(Draw, ends=st.integers(1, 12), draft=st.just(4.0), correlation=st.floats(0, 1)),
    st.builds(Toss, increment_g=st.floats(0.5, 100)),
)


def blend(fracs, *, lot_g=6000.0, layers=24, **more) -> Feed:
    parts = tuple(Part(f"lot {n}", float(frac), 25, 0.25, 70, 0.4, 1.31) for n, frac in enumerate(fracs))
    return Feed(lot_g, parts, layers, **more)


def sd_points(variation: Variation, *, piece_g: float = 1.0) -> float:
    return 100 * float(between_variance(variation, masses_g=np.array([piece_g]))[0, 0]) ** 0.5


def after(feed: Feed, *steps) -> Variation:
    return through(Passage(feed, steps, 3000), share_signals(feed.parts))


@NEAR
@given(shares, st.integers(1, 200), st.sampled_from(Laying))
def test_what_is_laid_varies_as_unmixed_parts_do(fracs, layers, laying):
    feed = blend(fracs, layers=layers, laying=laying)
    signals = with_colour(share_signals(feed.parts), np.arange(3.0 * len(fracs)).reshape(3, -1) - 4)
    unmixed = [w**2 @ fracs - (w @ fracs) ** 2 for w in signals.weights]
    assert laid(feed, signals).variance == pytest.approx(unmixed, rel=1e-9)


@NEAR
@given(shares, st.lists(linear_steps, max_size=5))
def test_no_step_touches_the_mean(fracs, steps):
    feed = blend(fracs)
    signals = share_signals(feed.parts)
    assert after(feed, *steps).means == pytest.approx(fracs, abs=1e-12)
    assert laid(feed, signals).means == pytest.approx(fracs, abs=1e-12)


@given(hold_ups, st.integers(1, 5))
def test_what_never_ends_passes_every_mixer_whole(grams, tanks):
    assert lag_gain(np.zeros(1), hold_up_g=grams, tanks=tanks)[0] == 1
    assert box_gain(np.array([0.0, 1e-6]), length_g=grams)[0] == 1


@NEAR
@given(shares, st.sampled_from(Laying), st.lists(linear_steps, min_size=1, max_size=5))
def test_mixing_never_adds_to_the_variance(fracs, laying, steps):
    feed = blend(fracs, laying=laying, weighing_sd_g=2)
    before = laid(feed, share_signals(feed.parts))
    for step in steps:
        now = apply(step, before)
        assert np.all(now.variance <= before.variance * (1 + 1e-9))
        before = now


@NEAR
@given(shares, st.floats(0.5, 300))
def test_tossing_loses_order_and_no_variance(fracs, grab_g):
    feed = blend(fracs)
    carded = apply(Card(60), laid(feed, share_signals(feed.parts)))
    assert apply(Toss(grab_g), carded).variance == pytest.approx(carded.variance, rel=1e-9)


@NEAR
@given(shares, st.lists(st.integers(2, 8), min_size=1, max_size=3))
def test_doublings_of_independent_ends_divide_the_variance(fracs, ends):
    feed = blend(fracs, laying=Laying.HANDFULS)
    before = laid(feed, share_signals(feed.parts))
    drawn = apply_all([Draw(n, n) for n in ends], before)
    assert drawn.variance == pytest.approx(before.variance / np.prod(ends), rel=1e-12)


@NEAR
@given(st.floats(0.05, 0.95), st.floats(1, 100))
def test_both_parts_of_two_vary_alike(frac, clump_g):
    feed = blend([frac, 1 - frac])
    turned = blend([1 - frac, frac])
    steps = (Pick(20, 30, clump_g), Toss(10), Card(60), Draw(4, 4))
    mine = between_variance(after(feed, *steps), masses_g=np.array([0.0, 10, 1000]))
    theirs = between_variance(after(turned, *steps), masses_g=np.array([0.0, 10, 1000]))
    assert mine[0] == pytest.approx(mine[1], rel=1e-9)
    assert mine[0] == pytest.approx(theirs[0], rel=1e-9)


def test_a_machine_that_holds_nothing_changes_nothing():
    before = laid(blend([0.2, 0.8], weighing_sd_g=1), share_signals(blend([0.2, 0.8]).parts))
    for step in (Pick(0), Card(0), Draw(1, 4)):
        now = apply(step, before)
        assert np.array_equal(now.density_g, before.density_g)
        assert np.array_equal(now.line_variance, before.line_variance)
    nearly = apply(Card(1e-9), before)
    assert nearly.variance == pytest.approx(before.variance, rel=1e-6)


def test_a_machine_that_holds_everything_leaves_one_blend():
    feed = blend([0.3, 0.7])
    assert sd_points(after(feed, Card(1e7))) < 0.001
    assert sd_points(after(feed, Card(60))) > 1


def test_smaller_sets_of_layers_are_evener():
    spreads = [
        sd_points(after(blend([0.2, 0.8], layers=layers), Card(60))) for layers in (6, 12, 24, 60, 120)
    ]
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[0] == pytest.approx(31.96, abs=0.01)
    assert spreads[-1] == pytest.approx(3.82, abs=0.01)


def test_where_half_a_layer_lies_does_not_change_the_waves():
    feed = blend([0.2, 0.8])
    whole = dataclasses.replace(feed, has_half_layer_ends=False)
    assert np.array_equal(
        laid(feed, share_signals(feed.parts)).line_variance,
        laid(whole, share_signals(feed.parts)).line_variance,
    )


def test_two_parts_make_the_lines_of_a_square_wave():
    lines = laid(blend([0.2, 0.8]), share_signals(blend([0.2, 0.8]).parts))
    j = np.arange(1, 20)
    assert lines.line_cycles_per_g[:19] == pytest.approx(j / 250)
    assert lines.line_variance[0, :19] == pytest.approx(2 * (np.sin(np.pi * j * 0.2) / (np.pi * j)) ** 2)


def test_where_lots_lie_between_each_other_counts_for_a_colour():
    in_order, middle_last = (Signals(("L*",), np.array([row])) for row in ([10.0, 50, 90], [10.0, 90, 50]))
    feed = blend([0.25, 0.5, 0.25])
    first = [laid(feed, signals).line_variance[0, 0] for signals in (in_order, middle_last)]
    assert first[0] == pytest.approx(2 * (40 / np.pi) ** 2)  # 80 sin^2(pi/4) / pi: dark lies next to light
    assert first[1] == pytest.approx(2 * (60**2 + 20**2) / np.pi**2)


def test_the_lines_of_layers_agree_with_a_sampled_belt():
    fracs, n = np.array([0.15, 0.35, 0.5]), 4000
    weights = np.array([[10.0, -3.0, 25.0]])
    edges = np.cumsum(fracs)[:-1]
    belt = weights[0][np.searchsorted(edges, (np.arange(n) + 0.5) / n, side="right")]
    powers = 2 * np.abs(np.fft.rfft(belt) / n) ** 2
    lines = laid(blend(fracs), Signals(("L*",), weights)).line_variance[0]
    assert lines[:20] == pytest.approx(powers[1:21], rel=2e-3, abs=1e-3)


def test_handfuls_of_unlike_weight_drift_as_random_pieces_do():
    fracs, rng = np.array([0.2, 0.8]), np.random.default_rng(7)
    feed = blend(fracs, lot_g=100_000, layers=1000, laying=Laying.HANDFULS)
    masses_g = np.tile([20, 80], 1000)
    found = []
    for _ in range(40):
        order = rng.permutation(2000)
        stream = np.repeat((order % 2 == 0).astype(float), masses_g[order])
        found.append(stream.reshape(50, 2000).mean(axis=1).var())
    simulated = np.mean(found) / (1 - 1 / 50)
    said = between_variance(laid(feed, share_signals(feed.parts)), masses_g=np.array([2000.0]))[0, 0]
    assert said == pytest.approx(simulated, rel=0.08)


def test_pure_handfuls_in_any_order_are_far_worse_than_layers_in_turn():
    feed = blend([0.2] * 5, layers=60)
    tossed = dataclasses.replace(feed, laying=Laying.HANDFULS)
    assert sd_points(after(tossed, Pick(20), Card(60))) == pytest.approx(13.8, abs=0.1)
    assert sd_points(after(feed, Pick(20), Card(60))) == pytest.approx(4.4, abs=0.05)


def test_a_sandwich_of_one_whole_set_leaves_nothing():
    feed = blend([0.2, 0.8], layers=60)
    assert sd_points(after(feed, Pick(20, 100), Card(60))) < 1e-9
    assert sd_points(after(feed, Pick(20, 90), Card(60))) == pytest.approx(0.48, abs=0.005)


def test_layers_may_be_weighed_sloppily():
    feed = blend([0.2, 0.8], layers=120)
    sloppy = dataclasses.replace(feed, weighing_sd_g=1)
    assert sd_points(after(sloppy, Card(60))) - sd_points(after(feed, Card(60))) == pytest.approx(
        0.11, abs=0.01
    )


def test_clumps_put_back_what_the_picker_evened_out_and_no_more():
    feed = blend([0.2, 0.8])
    laid_down = laid(feed, share_signals(feed.parts))
    assert apply(Pick(20, 0, 0.3), laid_down).variance == pytest.approx(laid_down.variance, rel=1e-9)
    assert apply(Pick(0, 0, 2.0), laid_down).variance == pytest.approx(laid_down.variance, rel=1e-9)
    noise = apply(Pick(1e9, 0, 0.3), laid_down)
    assert between_variance(noise, masses_g=np.array([30.0]))[0, 0] == pytest.approx(
        0.16 * 0.3 / 30, rel=0.01
    )


def test_cans_cut_in_step_with_the_layers_double_nothing():
    feed = blend([0.2, 0.8])
    apart = after(feed, Pick(20), Card(60), Draw(4, 4), Draw(6, 6))
    step = after(feed, Pick(20), Card(60), Draw(4, 4, cans=Cans.IN_STEP), Draw(6, 6, cans=Cans.IN_STEP))
    assert sd_points(step) / sd_points(apart) == pytest.approx(24**0.5, rel=0.01)


def test_drawing_makes_waves_as_much_longer_as_ends_are_fed():
    carded = apply(Card(60), laid(blend([0.2, 0.8]), share_signals(blend([0.2, 0.8]).parts)))
    drawn = apply(Draw(6, 4), carded)
    assert 1 / drawn.line_cycles_per_g[0] == pytest.approx(6 * 250)


def test_what_all_ends_have_in_common_no_doubling_takes_away():
    before = laid(blend([0.2, 0.8], laying=Laying.HANDFULS), share_signals(blend([0.2, 0.8]).parts))
    twice = apply_all([Draw(6, 6, 0.2), Draw(6, 6, 0.2)], before)
    assert twice.variance == pytest.approx(
        before.variance * doubled_variance_frac(doublings=36, correlation=0.2)
    )
    afresh = apply(Draw(6, 6, 0.2), apply(Draw(6, 6, 0.2), before))
    assert twice.variance[0] > 1.5 * afresh.variance[0]
    endless = apply_all([Draw(50, 6, 0.2)] * 4, before)
    assert endless.variance == pytest.approx(before.variance * 0.2, rel=1e-5)
    assert 3 * doubled_variance_frac(doublings=36, correlation=0.2) ** 0.5 == pytest.approx(1.41, abs=0.005)


def test_a_card_between_drawings_begins_a_new_row_of_them():
    before = laid(blend([0.2, 0.8], laying=Laying.HANDFULS), share_signals(blend([0.2, 0.8]).parts))
    drawn = apply_all([Draw(6, 6, 0.2), Card(0), Draw(6, 6, 0.2)], before)
    assert drawn.variance == pytest.approx(before.variance * (0.2 + 0.8 / 6) ** 2)


def test_a_lot_has_no_wave_longer_than_itself():
    feed = blend([0.2, 0.8])
    steps = (Pick(20), Toss(10), Card(60), Draw(4, 4), Draw(6, 6))
    endless = apply_all(steps, laid(feed, share_signals(feed.parts)))
    lot = after(feed, *steps)
    assert lot.line_cycles_per_g.min() == pytest.approx(1 / (24 * 250))
    assert sd_points(lot) < sd_points(endless)
    assert sd_points(lot) == pytest.approx(1.24, abs=0.005)
    huge = blend([0.2, 0.8], lot_g=1e6, layers=4000)
    assert sd_points(after(huge, *steps)) == pytest.approx(sd_points(endless), rel=0.01)


def test_the_waves_of_a_lot_are_counted_one_by_one():
    feed = blend([0.2, 0.8])
    steps = (Pick(20), Toss(10), Card(60), Draw(4, 4), Draw(6, 6))
    endless = apply_all(steps, laid(feed, share_signals(feed.parts)))
    j = np.arange(1, 20_000)
    density = np.interp(j / 6000, endless.cycles_per_g, endless.density_g[0])
    by_hand = (density / 6000).sum() + endless.line_variance[0].sum()
    assert after(feed, *steps).variance[0] == pytest.approx(by_hand, rel=2e-4)


def test_longer_pieces_are_alike_where_nothing_repeats_itself():
    feed = blend([0.2, 0.8], laying=Laying.HANDFULS, lot_g=1e5, layers=400)
    carded = apply(Card(60), laid(feed, share_signals(feed.parts)))
    curve = between_variance(carded, masses_g=np.geomspace(0.1, 1e5, 40))[0]
    assert np.all(np.diff(curve) <= curve[:-1] * 1e-9)
    layers = laid(blend([0.2, 0.8]), share_signals(feed.parts))
    lobes = between_variance(layers, masses_g=np.array([250.0, 375.0]))[0]
    assert lobes[0] < lobes[1] / 100


def test_gains_agree_with_numbers_summed_finely():
    cycles = usual_grid().cycles_per_g
    assert np.trapezoid(box_gain(cycles, length_g=10), cycles) == pytest.approx(1 / 20, rel=2e-3)
    assert box_gain(np.linspace(0, 1, 5001), length_g=1)[[0, 2500, 5000]] == pytest.approx(
        [1, 0.4053, 0], abs=1e-4
    )
    assert lag_gain(np.array([0.0, 1 / (2 * np.pi * 60)]), hold_up_g=60) == pytest.approx([1, 0.5])
    assert lag_gain(np.array([1 / 30]), hold_up_g=60, tanks=3) < lag_gain(np.array([1 / 30]), hold_up_g=60)


def test_lobes_finer_than_the_grid_are_told_by_their_mean():
    cycles = usual_grid().cycles_per_g[-200:]
    mean = box_gain(cycles, length_g=1000) * 2 * (np.pi * cycles * 1000) ** 2
    assert mean == pytest.approx(np.ones(200), rel=1e-9)


def test_any_mixer_can_be_put_in_by_its_gain():
    before = laid(blend([0.2, 0.8]), share_signals(blend([0.2, 0.8]).parts))
    lagged = filtered(before, lambda nu: lag_gain(nu, hold_up_g=60))
    assert lagged.line_variance == pytest.approx(apply(Card(60), before).line_variance)


def test_one_lot_alone_has_nothing_to_vary():
    assert after(blend([1.0]), Pick(20, 0, 0.3), Toss(10), Card(60), Draw(4, 4)).variance == pytest.approx(
        [0]
    )


def test_what_cannot_be_is_said():
    variation = laid(blend([0.2, 0.8]), share_signals(blend([0.2, 0.8]).parts))
    with pytest.raises(InputError, match="mass of a piece"):
        between_variance(variation, masses_g=np.array([-1.0]))
    with pytest.raises(InputError, match="one or more, correlation from 0 to 1"):
        doubled_variance_frac(doublings=0, correlation=0.2)
    with pytest.raises(InputError, match="one of lot 0, lot 1"):
        variation.of("lot 9")
    with pytest.raises(InputError, match="one column for each part"):
        with_colour(share_signals(blend([0.2, 0.8]).parts), np.zeros((3, 3)))
