"""Breaking of fibre by passes: computed values, mass kept, and what a few lengths can prove."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.evenness.breakage import (
    BreakRate,
    broken_share,
    fit_breakage,
    length_after,
    length_working,
    normal_lengths,
    scaled_rate,
)
from doffer.working import Status

STAPLE = normal_lengths(mean_mm=85, sd_mm=20)
# By an independent step-by-step solution (400 steps, 1 mm): rate, mean mm, broken %, mass < 30 mm %
COMPUTED = [
    (0.05, 82.0, 3.6, 0.5),
    (0.1, 79.3, 7.0, 0.9),
    (0.2, 74.6, 13.4, 1.7),
    (0.4, 67.0, 24.5, 3.3),
    (0.6, 61.3, 33.8, 4.8),
    (0.8, 56.9, 41.7, 6.3),
]


@pytest.mark.parametrize(("rate_k", "mean_mm", "broken_pct", "short_pct"), COMPUTED)
def test_lengths_after_one_pass_are_those_of_the_stepwise_solution(rate_k, mean_mm, broken_pct, short_pct):
    after = length_after(STAPLE, rate_k=rate_k)
    assert after.mean_mm == pytest.approx(mean_mm, abs=0.06)
    assert 100 * broken_share(STAPLE, rate_k=rate_k) == pytest.approx(broken_pct, abs=0.06)
    assert 100 * after.mass_share_below(length_mm=30) == pytest.approx(short_pct, abs=0.06)


@settings(max_examples=20, deadline=None)
@given(rate_k=st.floats(0, 2), mean_mm=st.floats(30, 120))
def test_breaking_keeps_the_mass_and_makes_more_fibres(rate_k, mean_mm):
    before = normal_lengths(mean_mm=mean_mm, sd_mm=0.25 * mean_mm)
    after = length_after(before, rate_k=rate_k)
    assert after.mass == pytest.approx(before.mass, rel=1e-9)
    assert after.number.sum() >= before.number.sum() * (1 - 1e-9)
    assert after.number.min() >= 0


def test_two_passes_are_one_pass_twice():
    twice = length_after(length_after(STAPLE, rate_k=0.2), rate_k=0.2)
    assert length_after(STAPLE, rate_k=0.2, passes=2).mean_mm == pytest.approx(twice.mean_mm, abs=1e-6)


def test_the_rate_is_found_from_lengths_before_and_after():
    rate = fit_breakage(STAPLE, after_mean_mm=78, before_sd_mm=20, n_before=200, n_after=200)
    assert rate.k == pytest.approx(0.126, abs=0.0005)
    assert rate.is_proven
    assert rate.low < rate.k < rate.high
    assert length_after(STAPLE, rate_k=rate.k, passes=2).mean_mm == pytest.approx(72.4, abs=0.05)
    assert length_after(STAPLE, rate_k=rate.k, passes=3).mean_mm == pytest.approx(67.8, abs=0.05)


def test_a_difference_within_the_measuring_error_is_not_proven():
    rate = fit_breakage(STAPLE, after_mean_mm=82, before_sd_mm=20, n_before=200, n_after=200)
    assert (rate.is_proven, rate.low) == (False, 0.0)
    assert "not proven" in rate.note


def test_fibre_that_grew_is_refused():
    with pytest.raises(InputError, match="no longer than before"):
        fit_breakage(STAPLE, after_mean_mm=95, before_sd_mm=20, n_before=200, n_after=200)


def test_speed_strength_and_diameter_carry_the_rate_as_a_hypothesis():
    measured = BreakRate(0.1, 0.05, 0.2, is_proven=True, status=Status.OWN)
    faster = scaled_rate(measured, speed_ratio=1.5, strength_ratio=0.5, diameter_ratio=0.8)
    assert faster.k == pytest.approx(0.1 * 2.25 * 2 / 0.64)
    assert faster.status is Status.PRACTICE
    assert "hypothesis" in faster.note


def test_the_working_says_that_it_is_a_hypothesis():
    working = length_working(STAPLE, BreakRate(0.126, 0.05, 0.2, True, Status.OWN), passes=2)
    assert working.result.value == pytest.approx(72.4, abs=0.1)
    assert "hypothesis" in working.formula
    assert "hypothesis" in working.source
