"""Variation: how the composition of a heap or strand varies along the flow, as a spectrum.

The axis is cumulative oven-dry mass. A *signal* is a weighted sum of the shares, ``s = sum w_k f_k``: the
share of one lot (weights 1 and 0), or one axis of colour (weights = the slope of Lab by share). Mixing acts
on every signal alike, so one set of operators serves label and eye.
"""

from __future__ import annotations

import dataclasses
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


def joined_variation(variations: Sequence[Variation | None], masses_g: Sequence[float]) -> Variation | None:
    """Variation of materials fed one after the other; None where that of any is not known.

    Within each its own spectrum, weighted by oven-dry mass; what the means of the parts differ by becomes one
    wave as long as the whole. Parts that follow other signals or were made of other lots cannot be joined so:
    None.
    """
    known = [variation for variation in variations if variation is not None]
    total_g = sum(masses_g)
    if not known or len(known) < len(variations) or not total_g > 0:
        return None
    first = known[0]
    if any(each.names != first.names or not np.array_equal(each.weights, first.weights) for each in known):
        return None
    fracs = np.array(masses_g) / total_g
    shares = np.asarray(fracs @ np.stack([each.shares for each in known]))
    means = np.stack([each.means for each in known])
    apart = fracs @ (means - fracs @ means) ** 2
    density = sum(frac * _on(each, first.cycles_per_g) for frac, each in zip(fracs, known, strict=True))
    lines = [frac * each.line_variance for frac, each in zip(fracs, known, strict=True)]
    return Variation(
        names=first.names,
        weights=first.weights,
        shares=shares,
        cycles_per_g=first.cycles_per_g,
        density_g=np.asarray(density),
        line_cycles_per_g=np.concatenate([*(each.line_cycles_per_g for each in known), [1 / total_g]]),
        line_variance=np.concatenate([*lines, apart[:, None]], axis=1),
    )


def _on(variation: Variation, cycles_per_g: Floats) -> Floats:
    """The continuum at other frequencies, its variance kept."""
    if np.array_equal(variation.cycles_per_g, cycles_per_g):
        return variation.density_g
    rows = np.stack(
        [np.interp(cycles_per_g, variation.cycles_per_g, row, left=0, right=0) for row in variation.density_g]
    )
    before = np.trapezoid(variation.density_g, variation.cycles_per_g, axis=1)
    now = np.trapezoid(rows, cycles_per_g, axis=1)
    return np.asarray(rows * np.divide(before, now, out=np.zeros_like(before), where=now > 0)[:, None])


def with_shares(variation: Variation, shares: Floats) -> Variation:
    """The same waves about other mean shares, as when one fibre loses more than another in a stage."""
    return dataclasses.replace(variation, shares=shares)
