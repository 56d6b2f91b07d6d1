"""Variation: how the composition of a heap or strand varies along the flow, as a spectrum.

The axis is cumulative oven-dry mass. A *signal* is a weighted sum of the shares, ``s = sum w_k f_k``: the
share of one lot (weights 1 and 0), or one axis of colour (weights = the slope of Lab by share). Mixing acts
on every signal alike, so one set of operators serves label and eye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats


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
