"""The card worker by worker, against fibres sent through it one by one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.process.evenness.card_network import (
    CardNetwork,
    Worker,
    delay_sd_s,
    doffer_transfer_frac,
    hold_up_g,
    mean_delay_s,
    network_gain,
    transfer,
)
from doffer.process.evenness.spectrum import lag_gain

CARD = CardNetwork(tuple(Worker(p, 3.0) for p in (0.25, 0.30, 0.35, 0.40)), swift_rpm=100, transfer_frac=0.12)


def sent_through(network: CardNetwork, n: int) -> np.ndarray:
    """Times of n fibres: turns until the doffer takes them, round trips at every worker."""
    rng = np.random.default_rng(2)
    turns = rng.geometric(network.transfer_frac, n)
    delays = turns * network.turn_s
    for worker in network.workers:
        trips = rng.negative_binomial(turns, 1 - worker.collecting_frac)
        delays = delays + trips * worker.loop_s
    return delays


def test_fibres_sent_through_take_the_time_that_is_said():
    delays = sent_through(CARD, 40_000)
    assert mean_delay_s(CARD) == pytest.approx(delays.mean(), rel=0.02)
    assert delay_sd_s(CARD) == pytest.approx(delays.std(), rel=0.02)


def test_waves_come_out_as_the_delays_of_fibres_say():
    delays = sent_through(CARD, 40_000)
    for cycles_per_s in (0.002, 0.01, 0.03):
        counted = np.exp(-2j * np.pi * cycles_per_s * delays).mean()
        assert abs(transfer(CARD, np.array([cycles_per_s]))[0] - counted) < 0.02


def test_a_single_lag_of_the_same_hold_up_is_near_enough():
    gain = network_gain(CARD, rate_kg_per_h=2.5)
    lag = lag_gain(1 / np.array([60.0, 250]), hold_up_g=hold_up_g(CARD, rate_kg_per_h=2.5))
    assert np.sqrt(gain(1 / np.array([60.0, 250]))) == pytest.approx(np.sqrt(lag), abs=0.01)
    assert gain(np.zeros(1)) == pytest.approx([1])


def test_a_faster_card_holds_more_grams_and_a_greedier_doffer_fewer():
    assert hold_up_g(CARD, rate_kg_per_h=5) == pytest.approx(2 * hold_up_g(CARD, rate_kg_per_h=2.5))
    greedy = dataclasses.replace(CARD, transfer_frac=0.24)
    assert hold_up_g(greedy, rate_kg_per_h=2.5) == pytest.approx(hold_up_g(CARD, rate_kg_per_h=2.5) / 2)
    assert Worker(0.4, 3).delay_factor == pytest.approx(2 / 3)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: CardNetwork((), swift_rpm=0, transfer_frac=0.1), "a speed above zero"),
        (lambda: CardNetwork((Worker(1.0, 3),), swift_rpm=100, transfer_frac=0.1), "from 0 to below 1"),
        (lambda: hold_up_g(CARD, rate_kg_per_h=0), "above zero kg an hour"),
        (lambda: network_gain(CARD, rate_kg_per_h=-1), "above zero kg an hour"),
        (
            lambda: doffer_transfer_frac(rate_g_per_min=1, presented_g=0, swift_rpm=1),
            "above zero, all three",
        ),
    ],
)
def test_a_card_that_cannot_be_is_said(call, words):
    with pytest.raises(InputError, match=words):
        call()
