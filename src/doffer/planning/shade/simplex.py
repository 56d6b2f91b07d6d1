"""Shares on the simplex: within their bounds, and the best of very many small sets at once."""

from __future__ import annotations

import numpy as np

from doffer.fibre.arrays import SINGLE, Bools, Floats

HALVINGS = 50
STUCK = SINGLE(1e4)  # a share at its bound that would be pushed beyond it does not move
RIDGE = SINGLE(1e-5)  # of the mean diagonal: keeps near-twin lots solvable in single precision
TINY = SINGLE(1e-12)
LEAST_PIVOT = SINGLE(1e-6)  # of its diagonal: rounding must not make a pivot vanish
N_SHIFTS = 4
SUM_WITHIN = 1e-6

Gram = list[list[Floats]]  # lower triangle of symmetric matrices, one (B,) array an entry


def least_square(gram: Gram, pull: Floats, w: Floats, low: Floats, high: Floats, *, n_steps: int) -> Floats:
    """Shares within their bounds, each column summing to 1, with the least ``w'Gw - 2 h.w``, shape (k, B).

    Newton steps on the shares that are free to move, the others held at their bounds, each followed by a
    projection; where the projected step leads uphill, as far as the first bound allows instead. Among the
    free, one share rises and all of them shrink in proportion, so that the sum stays.

    Parameters
    ----------
    gram : lower triangle of arrays, shape (B,)
        G, positive semidefinite.
    pull : ndarray, shape (k, B)
        h.
    w : ndarray, shape (k, B)
        Allowed shares to begin with.
    """
    for _ in range(n_steps):
        move = _free_move(gram, pull, w, low, high)
        whole = onto_simplex(w + move, low, high)
        is_better = _square(gram, pull, whole) < _square(gram, pull, w)
        if not is_better.all():
            whole = np.where(is_better, whole, _as_far_as(w, move, low, high))
        w = _swapped(gram, pull, whole, low, high)
    return w


def _as_far_as(w: Floats, move: Floats, low: Floats, high: Floats) -> Floats:
    """The move cut short where its first share meets a bound, shape (k, B)."""
    room = np.where(move > 0, high - w, w - low)
    part = np.where(np.abs(move) > TINY, room / np.maximum(np.abs(move), TINY), 1)
    return np.asarray(w + np.clip(part.min(axis=0), 0, 1) * move)


def times(gram: Gram, w: Floats) -> Floats:
    """``G w`` of every set from the lower triangle, shape (k, B)."""
    k = len(gram)
    return np.stack([sum(gram[max(i, j)][min(i, j)] * w[j] for j in range(k)) for i in range(k)])


def _square(gram: Gram, pull: Floats, w: Floats) -> Floats:
    return np.asarray((w * (times(gram, w) - 2 * pull)).sum(axis=0))


def _free_move(gram: Gram, pull: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
    """Newton's move of the free shares, shape (k, B)."""
    k = len(gram)
    gain = pull - times(gram, w)
    is_free = (w > low) & (w < high)
    for _ in range(2):  # the first looks at what lies between its bounds, the second also at what leaves them
        mean = _mean_of(w, is_free)
        rise = gain - (mean * gain).sum(axis=0)
        is_free = ~(((w <= low) & (rise < 0)) | ((w >= high) & (rise > 0)))
    mean = _mean_of(w, is_free)
    rise = np.where(is_free, gain - (mean * gain).sum(axis=0), 0)
    mixed = times(gram, mean)
    spread = (mean * mixed).sum(axis=0)
    normal = [[gram[i][j] - mixed[i] - mixed[j] + spread for j in range(i + 1)] for i in range(k)]
    size = np.maximum(sum(normal[i][i] for i in range(k)) / k, TINY)
    for i in range(k):
        normal[i][i] = normal[i][i] + size * np.where(is_free[i], RIDGE, STUCK)
    t = np.where(is_free, _cholesky_solve(normal, rise), 0)
    return np.asarray(t - mean * t.sum(axis=0))


def _mean_of(w: Floats, is_free: Bools) -> Floats:
    """Shares of the free among themselves; of all where none is free."""
    free = np.where(is_free, w, 0)
    whole = free.sum(axis=0)
    return np.where(whole > 0, free / np.maximum(whole, TINY), w)


def _swapped(gram: Gram, pull: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
    """Every pair of shares traded to its best, one pair after the other: frees what Newton's step holds."""
    w = w.copy()
    gain = pull - times(gram, w)
    for i in range(len(gram)):
        for j in range(i):
            bend = np.maximum(gram[i][i] + gram[j][j] - 2 * gram[i][j], TINY)
            most = np.minimum(high[i] - w[i], w[j] - low[j])
            least = np.maximum(low[i] - w[i], w[j] - high[j])
            step = np.clip((gain[i] - gain[j]) / bend, np.minimum(least, 0), np.maximum(most, 0))
            w[i] += step
            w[j] -= step
            for k in range(len(gram)):
                gain[k] -= (gram[max(k, i)][min(k, i)] - gram[max(k, j)][min(k, j)]) * step
    return w


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
