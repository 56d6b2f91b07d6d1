"""Fit the mixing constant to the mill's own sample blends, with an honest error; read shares from a blend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import LEAST_M, MOST_M, Mixing, blend, check_shares, stearns_noechel, transform
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import Light, lab_of_reflectance

N_GRID = 160
LEAST_BLENDS = 2
NORMAL_95 = 1.959964  # 97.5 % point of the normal distribution


@dataclass(frozen=True, eq=False, slots=True)
class Observation:
    """A sample blend that was made and measured: shares (k,), its lots (k, 31), what came out (31,)."""

    shares: Floats
    lots: Floats
    blend: Floats


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """A fitted constant.

    `ln_m_se` is the jackknife standard error of ln M; `residual_de` is left after the fit, `left_out_de` for
    each blend when it was not used in the fit; CIEDE2000, shape (n,). `is_settled` is False where the best M
    lies at an end of what is tried: the samples do not fix it, and the error then covers everything.
    """

    m: float
    ln_m_se: float
    residual_de: Floats
    left_out_de: Floats
    is_settled: bool = True

    @property
    def mixing(self) -> Mixing:
        """The fitted model."""
        return stearns_noechel(self.m)

    @property
    def ln_m_sd(self) -> float:
        """Half of what lies between M and the end of its 95 % interval, in ln M, for bands of two deviations.

        With few samples the error itself is uncertain, so the interval is that of Student's t with n - 1
        degrees of freedom (Cornish-Fisher expansion; within 4 % from 4 samples).
        """
        return _student_95(len(self.residual_de) - 1) * self.ln_m_se / 2

    @property
    def m_low(self) -> float:
        """Lower end of about 95 %."""
        return float(max(LEAST_M, self.m * np.exp(-2 * self.ln_m_sd)))

    @property
    def m_high(self) -> float:
        """Upper end of about 95 %, below 1."""
        return float(min(MOST_M, self.m * np.exp(2 * self.ln_m_sd)))


def _student_95(n_free: int) -> float:
    """97.5 % point of Student's t: ``z + (z^3 + z)/4n + (5z^5 + 16z^3 + 3z)/96n^2``."""
    z = NORMAL_95
    return z + (z**3 + z) / (4 * n_free) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * n_free**2)


def fit_m(observations: Sequence[Observation], seen_in: Light) -> Fit:
    """Fit Stearns and Noechel's M to measured blends, each of as many lots as it had.

    Minimises the sum of CIEDE2000 squared over ln M on a grid with a parabola through its lowest point; the
    error is a jackknife over blends, ``se^2 = (n-1)/n sum (m_-i - mean)^2``, since the curvature alone
    promises 1.2 to 2 times too much. Best are 4 to 8 samples of 20 to 50 g, darkest with lightest, half and
    half, after the mill's usual card passes.

    Raises
    ------
    InputError
        Fewer than two blends, or shares that do not add up.
    """
    if len(observations) < LEAST_BLENDS:
        allowed = "2 or more; best are 4 to 8, darkest with lightest, half and half"
        raise InputError("number of sample blends", len(observations), allowed)
    for one in observations:
        check_shares(one.shares)
    ln_m = np.linspace(np.log(LEAST_M), np.log(MOST_M), N_GRID)
    squares = np.stack([_de(one, seen_in, np.exp(ln_m)) ** 2 for one in observations], axis=1)
    best = _lowest(ln_m, squares.sum(axis=1))
    n_blends = len(observations)
    left = np.array([_lowest(ln_m, np.delete(squares, i, axis=1).sum(axis=1)) for i in range(n_blends)])
    variance = (n_blends - 1) / n_blends * float(((left - left.mean()) ** 2).sum())
    is_settled = bool(ln_m[0] < best < ln_m[-1]) and 2 * np.sqrt(variance) < ln_m[-1] - ln_m[0]
    m = np.exp(np.array([best]))
    return Fit(
        m=float(m[0]),
        ln_m_se=float(np.sqrt(variance) if is_settled else ln_m[-1] - ln_m[0]),
        residual_de=np.array([_de(one, seen_in, m)[0] for one in observations]),
        left_out_de=np.array(
            [_de(one, seen_in, np.exp(left[i : i + 1]))[0] for i, one in enumerate(observations)]
        ),
        is_settled=bool(is_settled),
    )


def _de(one: Observation, seen_in: Light, m: Floats) -> Floats:
    """CIEDE2000 between a measured blend and its prediction for each M, shape of m."""
    predicted = np.stack([blend(one.lots, one.shares, stearns_noechel(float(x))) for x in m])
    return de2000(lab_of_reflectance(one.blend, seen_in), lab_of_reflectance(predicted, seen_in))


def _lowest(x: Floats, y: Floats) -> float:
    """Place of the minimum: the vertex of a parabola through the lowest point and its neighbours."""
    at = int(np.argmin(y))
    if at in (0, len(x) - 1):
        return float(x[at])
    before, lowest, after = y[at - 1], y[at], y[at + 1]
    bend = before - 2 * lowest + after
    return float(x[at] + (0.5 * (before - after) / bend * (x[1] - x[0]) if bend > 0 else 0.0))


def estimate_shares(measured: Floats, lots: Floats, mixing: Mixing) -> Floats:
    """Shares of known lots in a measured blend, shape (k,): least squares in what averages, on the simplex.

    Lots whose share would be negative are left out one after another.

    Parameters
    ----------
    measured : ndarray, shape (31,)
        Reflectance of the blend.
    lots : ndarray, shape (k, 31)
        Reflectance of the lots that may be in it.
    """
    f, wanted = transform(lots, mixing), transform(measured, mixing)
    left = list(range(len(lots)))
    while True:
        rest = f[left[1:]] - f[left[0]]
        tail = np.linalg.lstsq(rest.T, wanted - f[left[0]], rcond=None)[0] if len(left) > 1 else np.zeros(0)
        found = np.concatenate([[1 - tail.sum()], tail])
        if found.min() >= 0 or len(left) == 1:
            break
        del left[int(np.argmin(found))]
    shares = np.zeros(len(lots))
    shares[left] = found
    return shares
