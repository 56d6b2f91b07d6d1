"""Variation: how the composition of a heap or strand varies along the flow, as a spectrum.

The axis is cumulative oven-dry mass. A *signal* is a weighted sum of the shares, ``s = sum w_k f_k``: the
share of one lot (weights 1 and 0), or one axis of colour (weights = the slope of Lab by share). Mixing acts
on every signal alike, so one set of operators serves label and eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats


class Named(Protocol):
    """Anything with a name: a part of a blend."""

    @property
    def name(self) -> str:
        """What it is called."""


@dataclass(frozen=True, eq=False, slots=True)
class Signals:
    """What is followed along the flow: weighted sums of the shares.

    Parameters
    ----------
    names : tuple of str
        q signals.
    weights : ndarray, shape (q, k)
        Weight of each component in each signal.
    """

    names: tuple[str, ...]
    weights: Floats

    def __post_init__(self) -> None:
        if self.weights.ndim != 2 or len(self.weights) != len(self.names):
            raise InputError("signals", self.weights.shape, "one row of weights for each name")

    def unmixed_variance(self, shares: Floats) -> Floats:
        """Variance of each signal in pure, unmixed parts, shape (q,): ``sum p w^2 - (sum p w)^2``.

        For the share of one part this is ``p (1 - p)``. Computed.
        """
        return unmixed_variance(self.weights, shares)


def unmixed_variance(weights: Floats, shares: Floats) -> Floats:
    """``sum_k p_k (w_k - sum p w)^2`` for weights of shape (q, k) and shares of shape (k,); shape (q,)."""
    away = weights - (weights @ shares)[:, None]
    return np.asarray(away**2 @ shares)


def share_signals(parts: Sequence[Named]) -> Signals:
    """One signal for each part: its share, under its name."""
    return Signals(tuple(part.name for part in parts), np.eye(len(parts)))


COLOUR_AXES = ("lightness", "red-green", "blue-yellow")


def with_colour(signals: Signals, slope_lab: Floats) -> Signals:
    """The signals, and the three axes of colour after them.

    Parameters
    ----------
    signals : Signals
        Usually those of `share_signals`.
    slope_lab : ndarray, shape (3, k)
        Change of L*, a*, b* by the share of each part, the rest scaled down [dE per unit share].
    """
    if slope_lab.shape != (len(COLOUR_AXES), signals.weights.shape[1]):
        raise InputError(
            "slope of colour", slope_lab.shape, "three rows, L*, a* and b*, and one column for each part"
        )
    return Signals(signals.names + COLOUR_AXES, np.vstack([signals.weights, slope_lab]))


@dataclass(frozen=True, eq=False, slots=True)
class Variation:
    """Variance of signals by wavelength.

    Parameters
    ----------
    names : tuple of str
        q signals: lots, then whatever else is followed.
    weights : ndarray, shape (q, k)
        Weight of each component in each signal.
    shares : ndarray, shape (k,)
        Mean oven-dry shares [frac], summing to 1.
    cycles_per_g : ndarray, shape (f,)
        Rising frequencies nu [1/g] of the continuum.
    density_g : ndarray, shape (q, f)
        One-sided variance density S(nu) [signal^2 g]; its integral over nu is variance.
    line_cycles_per_g : ndarray, shape (h,)
        Frequencies of lines (what repeats exactly, as layers do).
    line_variance : ndarray, shape (q, h)
        Variance in each line [signal^2].
    """

    names: tuple[str, ...]
    weights: Floats
    shares: Floats
    cycles_per_g: Floats
    density_g: Floats
    line_cycles_per_g: Floats
    line_variance: Floats

    def __post_init__(self) -> None:
        q, k = len(self.names), len(self.shares)
        shapes = (self.weights.shape, self.density_g.shape, self.line_variance.shape)
        if shapes != ((q, k), (q, len(self.cycles_per_g)), (q, len(self.line_cycles_per_g))):
            raise InputError("variation", shapes, "arrays that fit the signals, components and frequencies")
        if np.any(self.density_g < 0) or np.any(self.line_variance < 0):
            raise InputError("variance", "below zero", "zero or more at every wavelength")

    @property
    def variance(self) -> Floats:
        """Variance at a point of each signal [signal^2], shape (q,): continuum and lines."""
        continuum = np.trapezoid(self.density_g, self.cycles_per_g, axis=1)
        return np.asarray(continuum + self.line_variance.sum(axis=1))

    @property
    def means(self) -> Floats:
        """Mean of each signal, shape (q,): what no mixing changes."""
        return np.asarray(self.weights @ self.shares)

    def of(self, name: str) -> int:
        """Row of a signal by its name."""
        if name not in self.names:
            raise InputError("signal", name, f"one of {', '.join(self.names)}")
        return self.names.index(name)
