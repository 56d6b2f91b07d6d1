"""Fit the mixing constant to the mill's own sample blends, with an honest error, and read shares back from a blend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import mix, offset_of_m
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import Light, lab_of_reflectance

LEAST_M, MOST_M, N_GRID = 0.02, 0.90, 160  # M of published fibre lies between 0.05 and 0.4


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted constant.

    `se_ln_m` is the jackknife standard error of ln M (a factor: M times exp(+-2 se) is about 95 %);
    `residual_de` is left after the fit, `left_out_de` for each blend when it was not used in the fit; both
    CIEDE2000, shape (n,).
    """

    m: float
    se_ln_m: float
    residual_de: Floats
    left_out_de: Floats

    @property
    def low_m(self) -> float:
        """Lower end of about 95 %."""
        return float(self.m * np.exp(-2 * self.se_ln_m))

    @property
    def high_m(self) -> float:
        """Upper end of about 95 %, below 1."""
        return float(min(MOST_M, self.m * np.exp(2 * self.se_ln_m)))


def fit_m(shares: Floats, lots: Floats, blends: Floats, seen_in: Light) -> Fit:
    """Fit Stearns and Noechel's M to measured blends.

    Minimises the sum of CIEDE2000 squared over ln M on a grid with a parabola through its lowest point; the
    error is a jackknife over blends, since the curvature alone promises 1.2 to 2 times too much.

    Parameters
    ----------
    shares : ndarray, shape (n, k)
        Shares by oven-dry mass of each blend.
    lots : ndarray, shape (n, k, 31)
        Reflectance of its lots, same pad, same day.
    blends : ndarray, shape (n, 31)
        Measured reflectance after the mill's usual card passes.
    seen_in : Light
        Light and observer of the difference.

    Raises
    ------
    InputError
        Fewer than two blends: take 4 to 8 samples, darkest with lightest, half and half.
    """
    n_blends = len(blends)
    if n_blends < 2:
        raise InputError(
            "sample blends", n_blends, "2 or more; best are 4 to 8, darkest with lightest, half and half"
        )
    ln_m = np.linspace(np.log(LEAST_M), np.log(MOST_M), N_GRID)
    squares = np.stack([_de(shares, lots, blends, seen_in, float(np.exp(x))) ** 2 for x in ln_m])
    best = _lowest(ln_m, squares.sum(axis=1))
    left = np.array([_lowest(ln_m, np.delete(squares, i, axis=1).sum(axis=1)) for i in range(n_blends)])
    variance = (n_blends - 1) / n_blends * float(((left - left.mean()) ** 2).sum())
    left_out = np.array(
        [_de(shares, lots, blends, seen_in, float(np.exp(left[i])))[i] for i in range(n_blends)]
    )
    m = float(np.exp(best))
    return Fit(m, float(np.sqrt(variance)), _de(shares, lots, blends, seen_in, m), left_out)


def _de(shares: Floats, lots: Floats, blends: Floats, seen_in: Light, m: float) -> Floats:
    """CIEDE2000 between predicted and measured blends, shape (n,)."""
    offset = offset_of_m(m)
    predicted = mix(shares, 1 / (lots + offset), offset)
    return de2000(lab_of_reflectance(blends, seen_in), lab_of_reflectance(predicted, seen_in))


def _lowest(x: Floats, y: Floats) -> float:
    """Place of the minimum: the vertex of a parabola through the lowest point and its neighbours."""
    at = int(np.argmin(y))
    if at in (0, len(x) - 1):
        return float(x[at])
    before, lowest, after = y[at - 1], y[at], y[at + 1]
    bend = before - 2 * lowest + after
    return float(x[at] + (0.5 * (before - after) / bend * (x[1] - x[0]) if bend > 0 else 0.0))


def estimate_shares(blend: Floats, lots: Floats, *, offset: float) -> Floats:
    """Shares of known lots in a measured blend, shape (k,): least squares in ``g = 1 / (R + c)`` on the simplex.

    Lots whose share would be negative are left out one after another.
    """
    g, q = 1 / (lots + offset), 1 / (blend + offset)
    left = list(range(len(lots)))
    while True:
        base, rest = g[left[0]], g[left[1:]] - g[left[0]]
        tail = np.linalg.lstsq(rest.T, q - base, rcond=None)[0] if len(left) > 1 else np.zeros(0)
        found = np.concatenate([[1 - tail.sum()], tail])
        if found.min() >= 0 or len(left) == 1:
            break
        del left[int(np.argmin(found))]
    shares = np.zeros(len(lots))
    shares[left] = found
    return shares
