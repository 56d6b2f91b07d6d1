"""Best shares for many sets of lots at once: Gauss-Newton on the simplex in the harmonic form, batched.

With ``q = sum w g`` and ``R = 1/q - c`` the colour is a smooth function of the shares; a few steps on the
local CIEDE2000 metric and a projection back onto the allowed shares find the best blend of every set
together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.planning.shade.target import Target

N_STEPS = 4
RIDGE = 1e-6
METRIC_STEP = 0.05  # Lab units: small enough for a local metric, large enough for float64
PROJECTION_STEPS = 40

Ints = NDArray[np.intp]


def metric(target: Target) -> Floats:
    """Square root of the local CIEDE2000 metric at the target, weighted by light, shape (m, 3, 3): ``dE ~ |M dLab|``."""
    roots = []
    for lab, weight in zip(target.labs, target.light_weights, strict=True):
        hessian = np.zeros((3, 3))
        for i in range(3):
            for j in range(3):
                at = [
                    float(de2000(lab, lab + METRIC_STEP * (si * np.eye(3)[i] + sj * np.eye(3)[j]))) ** 2
                    for si, sj in ((1, 1), (1, -1), (-1, 1), (-1, -1))
                ]
                hessian[i, j] = (at[0] - at[1] - at[2] + at[3]) / (8 * METRIC_STEP**2)
        values, vectors = np.linalg.eigh((hessian + hessian.T) / 2)
        roots.append(np.sqrt(weight) * (vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
    return np.stack(roots)


def labs_of(shares: Floats, inverse: Floats, sets: Ints, offset: float, target: Target) -> Floats:
    """Lab under every light of many blends, shape (B, m, 3)."""
    q = np.einsum("bk,bkn->bn", shares, inverse[sets])
    return _labs(1 / q - offset, target)


def best_shares(
    sets: Ints,
    start: Floats,
    inverse: Floats,
    *,
    offset: float,
    target: Target,
    low: Floats,
    high: Floats,
) -> Floats:
    """Best shares of every set, shape (B, k), between `low` and `high` (B, k), each row summing to 1.

    Parameters
    ----------
    sets : ndarray of int, shape (B, k)
        Lots of each set.
    start : ndarray, shape (B, k)
        Shares to begin with.
    inverse : ndarray, shape (N, 31)
        g = 1 / (R + c) of all lots.
    """
    root = metric(target)
    g = inverse[sets]
    w = onto_simplex(start, low, high)
    k = sets.shape[1]
    for _ in range(N_STEPS):
        q = np.einsum("bk,bkn->bn", w, g)
        reflectance = 1 / q - offset
        gap, slopes = _residual(reflectance, target, root)
        rows = np.einsum("bkn,bnr->bkr", -g / (q**2)[:, None, :], slopes)
        normal = rows @ rows.transpose(0, 2, 1)
        pull = np.einsum("bkr,br->bk", rows, gap)
        stuck = ((w <= low) & (pull < pull.mean(1, keepdims=True))) | (
            (w >= high) & (pull > pull.mean(1, keepdims=True))
        )
        size = np.trace(normal, axis1=1, axis2=2)[:, None] / k
        normal[:, range(k), range(k)] += RIDGE * size + np.where(stuck, STUCK * size, 0.0)
        system = np.zeros((len(sets), k + 1, k + 1))
        system[:, :k, :k] = normal
        system[:, :k, k] = system[:, k, :k] = 1.0
        right = np.concatenate([pull, np.zeros((len(sets), 1))], axis=1)
        move = np.linalg.solve(system, right[..., None])[:, :k, 0]
        w = onto_simplex(w + move, low, high)
    return w


STUCK = 1e6  # a share at its bound that would be pushed beyond it does not move


def onto_simplex(shares: Floats, low: Floats, high: Floats) -> Floats:
    """Nearest shares with ``low <= w <= high`` and each row summing to 1 (one shift per row, by bisection)."""
    least = (low - shares).min(axis=1)
    most = (high - shares).max(axis=1)
    for _ in range(PROJECTION_STEPS):
        middle = (least + most) / 2
        too_much = np.clip(shares + middle[:, None], low, high).sum(axis=1) > 1
        most = np.where(too_much, middle, most)
        least = np.where(too_much, least, middle)
    return np.clip(shares + ((least + most) / 2)[:, None], low, high)


def _labs(reflectance: Floats, target: Target) -> Floats:
    """Lab under every light, shape (B, m, 3)."""
    out = []
    for one in target.lights:
        ratio = (reflectance @ one.weights) / one.white_xyz
        f = np.cbrt(np.maximum(ratio, LEAST_RATIO))
        out.append(
            np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)
        )
    return np.stack(out, axis=1)


LEAST_RATIO = (6 / 29) ** 3  # fibre is never darker than the straight part of the Lab curve


def _residual(reflectance: Floats, target: Target, root: Floats) -> tuple[Floats, Floats]:
    """What is missing to the target in the metric, shape (B, 3m), and its slopes by band, shape (B, 31, 3m)."""
    gaps, slopes = [], []
    for place, one in enumerate(target.lights):
        ratio = np.maximum((reflectance @ one.weights) / one.white_xyz, LEAST_RATIO)
        f = np.cbrt(ratio)
        lab = np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)
        gaps.append((target.labs[place] - lab) @ root[place])
        f_slope = 1 / (3 * f**2 * one.white_xyz)
        by_xyz = f_slope[:, :, None] * (_LAB_OF_F @ root[place])
        slopes.append(np.einsum("nx,bxr->bnr", one.weights, by_xyz))
    return np.concatenate(gaps, axis=1), np.concatenate(slopes, axis=2)


_LAB_OF_F = np.array(
    [[0.0, 500.0, 0.0], [116.0, -500.0, 200.0], [0.0, 0.0, -200.0]]
)  # d(L, a, b) / d(f_x, f_y, f_z)
