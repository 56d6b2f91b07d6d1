"""The roller card worker by worker: what a change of speed does to its mixing.

A single lag of the measured hold-up is enough for a forecast (`Card`); the network serves the question "what
if the swift runs faster". A fibre taken by a worker comes back to the swift and is offered again, so its
round trips are geometric.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.fibre.arrays import Floats

SECONDS_PER_MIN = 60.0
SECONDS_PER_H = 3600.0
GRAMS_PER_KG = 1000.0


@dataclass(frozen=True, slots=True)
class Worker:
    """A worker with its stripper.

    Parameters
    ----------
    collecting_frac : float
        Share of the fibre on the swift it takes, p [frac], from 0 to below 1.
    loop_s : float
        Time from its nip over the stripper back to the swift [s], >= 0.
    """

    collecting_frac: float
    loop_s: float

    @property
    def delay_factor(self) -> float:
        """Mean round trips of a fibre: ``p / (1 - p)``. Source: Martindale, Monfort 1962, from memory."""
        return self.collecting_frac / (1 - self.collecting_frac)


@dataclass(frozen=True, slots=True)
class CardNetwork:
    """A swift, its workers, and the doffer.

    Parameters
    ----------
    workers : tuple of Worker
        In the order the swift meets them.
    swift_rpm : float
        Turns of the swift, > 0.
    transfer_frac : float
        Share of what the swift brings that the doffer takes at one turn, K [frac], above 0 to 1.
    """

    workers: tuple[Worker, ...]
    swift_rpm: float
    transfer_frac: float

    def __post_init__(self) -> None:
        if not (self.swift_rpm > 0 and 0 < self.transfer_frac <= 1):
            raise InputError(
                "swift and doffer",
                (self.swift_rpm, self.transfer_frac),
                "a speed above zero and a transfer above 0, up to 1",
            )
        if any(not 0 <= worker.collecting_frac < 1 or worker.loop_s < 0 for worker in self.workers):
            raise InputError("workers", self.workers, "a share from 0 to below 1 and a time of zero or more")

    @property
    def turn_s(self) -> float:
        """Time of one turn of the swift [s]."""
        return SECONDS_PER_MIN / self.swift_rpm


def doffer_transfer_frac(*, rate_g_per_min: float, presented_g: float, swift_rpm: float) -> float:
    """Share the doffer takes at one turn: ``K = Q / (G n)`` [frac], G grams presented per turn.

    Source: worked question at textiletriangle (GATE 2006, question 65), read in extract.

    >>> round(doffer_transfer_frac(rate_g_per_min=180, presented_g=3.3, swift_rpm=404), 3)
    0.135
    """
    if not (rate_g_per_min > 0 and presented_g > 0 and swift_rpm > 0):
        raise InputError("doffer", (rate_g_per_min, presented_g, swift_rpm), "above zero, all three")
    return rate_g_per_min / (presented_g * swift_rpm)


def mean_delay_s(network: CardNetwork) -> float:
    """Mean time of a fibre in the card [s]: ``(T + sum_w t_w p_w / (1 - p_w)) / K``. Computed."""
    return _turn_mean_s(network) / network.transfer_frac


def delay_sd_s(network: CardNetwork) -> float:
    """Standard deviation of that time [s]: ``sqrt(v / K + m^2 (1 - K) / K^2)``.

    m and v are the mean and variance of one turn, ``v = sum_w t_w^2 p_w / (1 - p_w)^2``. Computed.
    """
    kept = network.transfer_frac
    turn_variance = sum(
        worker.loop_s**2 * worker.collecting_frac / (1 - worker.collecting_frac) ** 2
        for worker in network.workers
    )
    return float(np.sqrt(turn_variance / kept + _turn_mean_s(network) ** 2 * (1 - kept) / kept**2))


def _turn_mean_s(network: CardNetwork) -> float:
    return network.turn_s + sum(worker.loop_s * worker.delay_factor for worker in network.workers)


def hold_up_g(network: CardNetwork, *, rate_kg_per_h: float) -> float:
    """Fibre in the card at a rate [g]: rate times mean time. Little's law."""
    if not rate_kg_per_h > 0:
        raise InputError("rate", rate_kg_per_h, "above zero kg an hour")
    return rate_kg_per_h * GRAMS_PER_KG / SECONDS_PER_H * mean_delay_s(network)


def transfer(network: CardNetwork, cycles_per_s: Floats) -> NDArray[np.complex128]:
    """Transfer function of the card H, complex, at frequencies [1/s].

    ``E = exp(-s T) prod_w (1 - p_w) / (1 - p_w exp(-s t_w))``, ``H = K E / (1 - (1 - K) E)``. Computed from
    geometric round trips; after Monfort 1962, from memory.
    """
    s = 2j * np.pi * cycles_per_s
    turn = np.exp(-s * network.turn_s)
    for worker in network.workers:
        taken = worker.collecting_frac
        turn = turn * (1 - taken) / (1 - taken * np.exp(-s * worker.loop_s))
    kept = network.transfer_frac
    return np.asarray(kept * turn / (1 - (1 - kept) * turn))


def network_gain(network: CardNetwork, *, rate_kg_per_h: float) -> Callable[[Floats], Floats]:
    """``|H(nu)|^2`` over cycles per gram at a rate, for `spectrum.filtered`."""
    if not rate_kg_per_h > 0:
        raise InputError("rate", rate_kg_per_h, "above zero kg an hour")
    flow_g_per_s = rate_kg_per_h * GRAMS_PER_KG / SECONDS_PER_H

    def gain(cycles_per_g: Floats) -> Floats:
        return np.asarray(np.abs(transfer(network, cycles_per_g * flow_g_per_s)) ** 2)

    return gain
