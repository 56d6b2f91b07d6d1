"""Figures from what a mill has: made-up truths come back, intervals hold what they say."""

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.variation import Signals
from doffer.planning.evenness.calibrate import (
    clump_from_tufts,
    correlation_of_cans,
    hold_up_from_clean_down,
    hold_up_from_pulse,
    spread_without_floor,
)
from doffer.planning.evenness.chi_square import chi_square_quantile, sd_interval
from doffer.planning.evenness.figures import CARD_HOLD_UP, GRAB, PICK_HOLD_UP, scaled, usual_figures
from doffer.planning.evenness.learn import RATIO_SENTENCE, Measured, learn
from doffer.process.evenness import stream
from doffer.process.evenness.passage import Card, Feed, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through
from doffer.tables.loader import load_tables
from doffer.working import Status

FIGURES = usual_figures(load_tables())
RED = Signals(("black",), np.array([[0.0, 1.0]]))
FEED = Feed(
    6000,
    tuple(Part(name, share, 25, 0.25, 70, 0.2, 1.31) for name, share in (("white", 0.8), ("black", 0.2))),
    24,
)


def pulse(rng, *, tau_g=60.0, gain=0.03, read=0.002):
    middle_g = np.arange(1.0, 4 * tau_g, 2)
    share = 5 / tau_g * np.exp(-middle_g / tau_g)
    return middle_g, share * (1 + gain * rng.standard_normal(share.size)) + read * rng.standard_normal(
        share.size
    )


def test_a_red_pulse_gives_the_hold_up_back():
    found = [hold_up_from_pulse(*pulse(np.random.default_rng(seed))) for seed in range(40)]
    values = np.array([one.value for one in found])
    assert values.mean() == pytest.approx(60, rel=0.02)
    assert np.all(np.abs(values / 60 - 1) < 0.05)
    held = np.mean([one.low <= 60 <= one.high for one in found])
    assert held >= 0.85


def test_a_pulse_without_noise_is_exact_and_begins_at_its_peak():
    middle_g, share = pulse(np.random.default_rng(0), gain=0.0, read=0.0)
    rising = np.concatenate([[0.2 * share[0]], share])
    assert hold_up_from_pulse(np.append(-1.0, middle_g), rising).value == pytest.approx(60, rel=1e-6)


def test_pieces_over_less_than_two_hold_ups_are_said_to_be_few():
    middle_g, share = pulse(np.random.default_rng(0))
    assert "take more" in hold_up_from_pulse(middle_g[:30], share[:30]).note


def test_red_that_does_not_die_away_is_refused():
    with pytest.raises(InputError, match="dies away"):
        hold_up_from_pulse(np.arange(8.0), np.full(8, 0.2))
    with pytest.raises(InputError, match="pieces after the peak"):
        hold_up_from_pulse(np.arange(3.0), np.array([0.3, 0.2, 0.1]))


def test_a_clean_down_is_right_within_a_tenth():
    one = hold_up_from_clean_down(np.array([58.0]))
    assert (one.value, one.low, one.high) == pytest.approx((58, 52.2, 63.8))
    wide = hold_up_from_clean_down(np.array([40.0, 80.0]))
    assert (wide.low, wide.high) == pytest.approx((20, 100))
    with pytest.raises(InputError, match="clean-down"):
        hold_up_from_clean_down(np.array([0.0]))


def test_clumps_are_counted_by_mass():
    assert clump_from_tufts(np.array([1.0, 1, 1, 1, 6])).value == pytest.approx(4.0)
    rng = np.random.default_rng(3)
    found = [clump_from_tufts(rng.exponential(0.5, 20)) for _ in range(60)]
    assert np.mean([one.value for one in found]) == pytest.approx(1.0, abs=0.12)
    with pytest.raises(InputError, match="20 are good"):
        clump_from_tufts(np.array([1.0, 2.0]))


def test_what_all_cans_have_in_common_is_found():
    rng = np.random.default_rng(5)
    common = rng.standard_normal(400) * 0.2**0.5
    readings = common + rng.standard_normal((6, 400)) * 0.8**0.5
    found = correlation_of_cans(readings)
    assert found.value == pytest.approx(0.2, abs=0.05)
    assert found.low < 0.2 < found.high
    assert correlation_of_cans(rng.standard_normal((6, 400))).value == pytest.approx(0, abs=0.03)


@pytest.mark.parametrize(
    ("n", "low", "high"), [(5, 0.60, 2.87), (10, 0.69, 1.83), (20, 0.76, 1.46), (40, 0.82, 1.28)]
)
def test_few_samples_leave_the_true_spread_wide_open(n, low, high):
    assert sd_interval(1.0, n=n) == pytest.approx((low, high), abs=0.006)


@pytest.mark.published
def test_chi_square_is_that_of_the_printed_tables():
    # Any table of chi-square: 5 and 95 % points, from memory
    assert chi_square_quantile(0.95, n_free=10) == pytest.approx(18.307, abs=5e-4)
    assert chi_square_quantile(0.05, n_free=3) == pytest.approx(0.352, abs=5e-4)


def test_the_floor_is_taken_off_as_a_variance():
    assert spread_without_floor(sd_frac=0.05, floor_sd_frac=0.03, reading_sd_frac=0.0) == pytest.approx(0.04)
    assert spread_without_floor(sd_frac=0.02, floor_sd_frac=0.03) == 0


def made_up(route, truth, *, n, rng):
    """A measurement of a route by machines whose figures are multiples of the usual ones."""
    variation = through(scaled(route, truth), RED)
    sd = float(between_variance(variation, masses_g=np.array([1.0]))[0, 0]) ** 0.5
    return Measured(route, RED, 1.0, sd * np.sqrt(rng.chisquare(n - 1) / (n - 1)), n)


def route(*steps):
    return Passage(FEED, steps, 3000)


PLAIN = (route(Pick(20)), route(Card(60)))
TOSSED = (route(Pick(20), Toss(10), Pick(20)), route(Pick(20), Toss(10), Pick(20), Toss(10), Pick(20)))


def test_guesses_give_way_to_measurements():
    truth = {PICK_HOLD_UP: 1.6, CARD_HOLD_UP: 0.8, GRAB: 0.6}
    rng = np.random.default_rng(1)
    learned = learn(FIGURES, [made_up(one, truth, n=400, rng=rng) for one in (*PLAIN, *TOSSED)])
    now = {one.key: one for one in learned.figures}
    for key, before in ((PICK_HOLD_UP, 20), (CARD_HOLD_UP, 60), (GRAB, 10)):
        assert now[key].value == pytest.approx(before * truth[key], rel=0.2)
        assert now[key].low < before * truth[key] < now[key].high
    assert now[PICK_HOLD_UP].status is Status.OWN
    width = {one.key: np.log(one.high / one.low) for one in FIGURES if one.low > 0}
    assert np.log(now[PICK_HOLD_UP].high / now[PICK_HOLD_UP].low) < 0.3 * width[PICK_HOLD_UP]
    assert now["clump_fed"] in FIGURES


def streamed(route, truth, *, seeds):
    """The spread of 1 g pieces of lots that were mixed cell by cell by machines with the true figures."""
    variances = []
    for seed in seeds:
        shares = stream.run(scaled(route, truth), cell_g=0.25, seed=seed)[-1][:, 1]
        pieces = shares[: len(shares) // 4 * 4].reshape(-1, 4).mean(axis=1, dtype=np.float64)
        variances.append(pieces.var())
    return Measured(route, RED, 1.0, float(np.mean(variances)) ** 0.5, 100)


def test_figures_come_back_from_a_simulated_stream():
    truth = {PICK_HOLD_UP: 1.6, CARD_HOLD_UP: 0.75, GRAB: 1.7}
    learned = learn(FIGURES, [streamed(one, truth, seeds=range(4)) for one in (*PLAIN, *TOSSED)])
    now = {one.key: one for one in learned.figures}
    for key, before in ((PICK_HOLD_UP, 20), (CARD_HOLD_UP, 60), (GRAB, 10)):
        assert now[key].low < before * truth[key] < now[key].high
        assert abs(np.log(now[key].value / (before * truth[key]))) < 0.6 * abs(np.log(truth[key]))


def test_tossed_lots_tell_only_the_ratio():
    rng = np.random.default_rng(2)
    truth = {PICK_HOLD_UP: 1.5, GRAB: 0.75}
    learned = learn(FIGURES, [made_up(one, truth, n=400, rng=rng) for one in TOSSED[1:]])
    assert learned.sentence == RATIO_SENTENCE
    ratio = learned.grab_to_hold_up
    pick = next(one for one in learned.figures if one.key == PICK_HOLD_UP)
    assert ratio.low < 0.25 < ratio.high
    assert np.log(ratio.high / ratio.low) < 0.6 * np.log(pick.high / pick.low)
    assert pick.status is Status.PRACTICE
    plain = learn(FIGURES, [made_up(one, truth, n=400, rng=rng) for one in (*PLAIN, *TOSSED)])
    assert plain.sentence == ""


def test_a_figure_that_was_not_tried_stays_a_guess():
    learned = learn(FIGURES, [made_up(PLAIN[0], {}, n=400, rng=np.random.default_rng(0))])
    before = {one.key: one for one in FIGURES}
    now = {one.key: one for one in learned.figures}
    assert now[CARD_HOLD_UP] == before[CARD_HOLD_UP]
    assert now[PICK_HOLD_UP].status is Status.OWN


def test_the_ends_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(7)
    pick = next(one for one in FIGURES if one.key == PICK_HOLD_UP)
    pick = dataclasses.replace(pick, value=20, low=20 / 3.2, high=20 * 3.2)
    held = []
    for _ in range(120):
        truth = float(np.exp(np.log(3.2) / 1.96 * rng.standard_normal()))
        after = learn([pick], [made_up(PLAIN[0], {PICK_HOLD_UP: truth}, n=20, rng=rng)]).figures[0]
        held.append(after.low <= 20 * truth <= after.high)
    assert 0.89 <= np.mean(held) <= 1.0


def test_more_pieces_narrow_the_range():
    widths = []
    for n in (5, 20, 200):
        after = learn(FIGURES, [made_up(PLAIN[0], {}, n=n, rng=np.random.default_rng(4))]).figures[0]
        widths.append(after.high / after.low)
    assert widths == sorted(widths, reverse=True)


def test_a_spread_of_nothing_is_refused():
    with pytest.raises(InputError, match="above zero"):
        learn(FIGURES, [Measured(PLAIN[0], RED, 1.0, 0.0, 20)])
