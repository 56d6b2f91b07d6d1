"""A picture of the stock in which colour is linear in the shares: what very many sets are looked at in first.

What averages in a blend model is linear in the shares already; the way from there to colour is bent, but
little so about one blend. About the best blend of the whole stock the distance of any set is then a small
quadratic form, and no band of any spectrum has to be touched.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import Floats, Ints
from doffer.fibre.colour.blend import untransform_slope
from doffer.planning.shade.simplex import TINY, least_square, onto_simplex, times
from doffer.planning.shade.solve import Field, gap_of, slope_rows

SCREEN_CHUNK = 8192
N_DENSE_STEPS = 12
N_TRADES = 400
LEAST_WON = 1e-6  # of a squared difference
NO_LONGER_BETTER = 1 - 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class Linear:
    """Colour as a linear function of the shares, about one blend: ``dE^2 ~ rest - 2 h.w + w'Gw``.

    `gram` G has shape (N, N), `pull` h shape (N,).
    """

    gram: Floats
    pull: Floats
    rest: float


def linear_about(shares: Floats, field: Field) -> Linear:
    """The field made linear about a blend of all its lots, shares of shape (N,).

    What averages is linear in the shares anyway; only the way from there to colour is bent, and little so
    near the blend.
    """
    q = (field.f @ shares)[:, None]
    gap, slope = gap_of(q, field)
    rows = slope_rows(field.f, q, untransform_slope(q, field.mixing), slope, field)
    gap = gap[:, 0]
    return Linear(np.asarray(rows.T @ rows), np.asarray(rows.T @ gap), float(gap @ gap))


def screen_sets(
    sets: Ints, start: Floats, linear: Linear, field: Field, *, n_steps: int
) -> tuple[Floats, Floats]:
    """Shares (B, k), squared distances (B,) of very many sets in the linear picture: no band is touched."""
    shares = np.empty(sets.shape, dtype=field.f.dtype)
    apart = np.empty(len(sets), dtype=field.f.dtype)
    for begin in range(0, len(sets), SCREEN_CHUNK):
        part = slice(begin, begin + SCREEN_CHUNK)
        w, square = _screen_chunk(sets[part].T, start[part].T.astype(field.f.dtype), linear, field, n_steps)
        shares[part] = w.T
        apart[part] = square
    return shares, apart


def _screen_chunk(
    sets: Ints, start: Floats, linear: Linear, field: Field, n_steps: int
) -> tuple[Floats, Floats]:
    """Shares (k, B) and squared distances (B,) of one chunk in the linear picture."""
    low, high, pull = field.low[sets], field.high[sets], linear.pull[sets]
    gram = [[linear.gram[sets[i], sets[j]] for j in range(i + 1)] for i in range(len(sets))]
    w = least_square(gram, pull, onto_simplex(start, low, high), low, high, n_steps=n_steps)
    square = linear.rest - 2 * (w * pull).sum(axis=0) + (w * times(gram, w)).sum(axis=0)
    impossible = (high.sum(axis=0) < 1) | (low.sum(axis=0) > 1)
    return w, np.where(impossible, np.inf, square)


def best_of_all(usable: Ints, field: Field, start: Floats | None = None) -> Floats:
    """Shares of all lots, shape (N,), for the nearest blend that any number of the usable lots can make.

    Bounds from above hold, the least share of a used lot does not. The way from shares to colour is bent, so
    this is the nearest about where it begins: equal shares, or `start` of shape (N,).
    """
    f, n_usable = field.f[:, usable], len(usable)
    low, high = np.zeros(n_usable), field.high[usable].astype(np.float64)
    begin = np.full(n_usable, 1 / n_usable) if start is None else start[usable]
    w = onto_simplex(begin[:, None], low[:, None], high[:, None])[:, 0]
    best, least = w, np.inf
    for _ in range(N_DENSE_STEPS):
        q = (f @ w)[:, None]
        gap, slope = gap_of(q, field)
        size = float((gap * gap).sum())
        if size > least * NO_LONGER_BETTER:
            break
        best, least = w, size
        rows = slope_rows(f, q, untransform_slope(q, field.mixing), slope, field)
        w = _traded(rows, gap[:, 0] + rows @ w, w, low, high)
    shares = np.zeros(field.f.shape[1])
    shares[usable] = best
    return shares


def _traded(rows: Floats, wanted: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
    """Shares within their bounds, shape (N,), whose mix ``rows @ w`` lies nearest to what is wanted.

    Of all pairs the one that gains most by trading share for share does, until no pair gains: slow for one
    lot, sure for all.
    """
    w = w.copy()
    size = (rows * rows).sum(axis=0)
    rest = wanted - rows @ w
    for _ in range(N_TRADES):
        gain = rest @ rows
        taker = int(np.argmax(np.where(w < high, gain, -np.inf)))
        edge = gain[taker] - gain
        bend = np.maximum(size[taker] + size - 2 * rows[:, taker] @ rows, TINY)
        room = np.minimum(high[taker] - w[taker], w - low)
        step = np.clip(edge / bend, 0, np.maximum(room, 0))
        won = step * (2 * edge - step * bend)
        giver = int(np.argmax(won))
        if won[giver] < LEAST_WON:
            break
        w[taker] += step[giver]
        w[giver] -= step[giver]
        rest -= (rows[:, taker] - rows[:, giver]) * step[giver]
    return w
