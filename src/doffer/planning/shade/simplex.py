"""Shares on the simplex: bring them within their bounds, and move very many small sets at once."""

from __future__ import annotations

import numpy as np

from doffer.fibre.arrays import SINGLE, Floats

HALVINGS = 50
STUCK = SINGLE(1e4)  # a share at its bound that would be pushed beyond it does not move
RIDGE = SINGLE(1e-5)  # of the mean diagonal: keeps near-twin lots solvable in single precision
TINY = SINGLE(1e-12)
LEAST_PIVOT = SINGLE(1e-6)  # of its diagonal: rounding must not make a pivot vanish
N_SHIFTS = 4
SUM_WITHIN = 1e-6


def newton_move(normal: list[list[Floats]], pull: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
    """Gauss-Newton move of the shares, shape (k, B); shares held at a bound stay there.

    `normal` is the lower triangle of the normal matrix, `pull` its right side, along "one share rises, all
    shrink in proportion".
    """
    k = len(normal)
    size = np.maximum(sum(normal[i][i] for i in range(k)) / k, TINY)
    stuck = ((w <= low) & (pull < 0)) | ((w >= high) & (pull > 0))
    for i in range(k):
        normal[i][i] = normal[i][i] + size * np.where(stuck[i], STUCK, RIDGE)
    t = _cholesky_solve(normal, pull)
    return np.asarray(t - w * t.sum(axis=0))


def _cholesky_solve(normal: list[list[Floats]], right: Floats) -> Floats:
    """Solve small symmetric systems, all sets at once: lower triangle of (B,) arrays, right side (k, B)."""
    k = len(normal)
    lower: list[list[Floats]] = [[] for _ in range(k)]
    for i in range(k):
        for j in range(i + 1):
            left = normal[i][j] - sum(lower[i][p] * lower[j][p] for p in range(j))
            pivot = np.sqrt(np.maximum(left, LEAST_PIVOT * normal[i][i])) if i == j else left / lower[j][j]
            lower[i].append(pivot)
    x = [right[i] for i in range(k)]
    for i in range(k):
        x[i] = (x[i] - sum(lower[i][p] * x[p] for p in range(i))) / lower[i][i]
    for i in reversed(range(k)):
        x[i] = (x[i] - sum(lower[p][i] * x[p] for p in range(i + 1, k))) / lower[i][i]
    return np.stack(x)


def onto_simplex(shares: Floats, low: Floats, high: Floats) -> Floats:
    """Nearest shares with ``low <= w <= high``, each column summing to 1, shapes (k, B): one shift a column.

    A few Newton steps on the shift settle nearly every column; what they leave is halved until it is done.
    """
    shift = np.zeros(shares.shape[1], dtype=shares.dtype)
    for _ in range(N_SHIFTS):
        moved = shares + shift
        w = np.clip(moved, low, high)
        n_free = np.maximum(((moved > low) & (moved < high)).sum(axis=0, dtype=shares.dtype), 1)
        shift += (1 - w.sum(axis=0)) / n_free
    w = np.clip(shares + shift, low, high)
    left = np.flatnonzero(np.abs(w.sum(axis=0) - 1) > SUM_WITHIN)
    if left.size:
        w[:, left] = _halved(shares[:, left], low[:, left], high[:, left])
    return np.asarray(w)


def _halved(shares: Floats, low: Floats, high: Floats) -> Floats:
    """The same by bisection, for columns where Newton's steps go to and fro."""
    least, most = (low - shares).min(axis=0), (high - shares).max(axis=0)
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        too_much = np.clip(shares + middle, low, high).sum(axis=0) > 1
        most = np.where(too_much, middle, most)
        least = np.where(too_much, least, middle)
    return np.asarray(np.clip(shares + (least + most) / 2, low, high))
