"""The inner loops of the simulated stream: lag, box, doubling, speckle of clumps, cutting anew.

A stream is an array of shares f[n, k] in single precision: n cells of one mass in the order of the flow, k
parts. Sums and states are kept in double precision. Masses come as ratios to the mass of a cell.
"""

from __future__ import annotations

import importlib
import importlib.util
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

import numpy as np

from doffer.fibre.arrays import SINGLE, Floats, Ints

CHUNK = 1 << 14  # cells worked at a time, so that double precision stays in the processor's cache
FOLDS = 20  # a lag is summed over so many hold-ups at a time: e^20 keeps nine digits of sixteen
WORD = 1 << 32


def lag(
    f: Floats, *, hold_up_ratio: float, start: Floats, out: Floats | None = None
) -> tuple[Floats, Floats]:
    """Stream through a well-mixed tank, and what is in the tank at the end.

    The tank holds H cells of shares s; ``ds/dm = (x - s) / H``. For cells of constant x the mean that leaves
    during one cell is ``x - H (1 - e^(-1/H)) (x - s)``, and s follows by ``e^(-1/H)``: no step is too coarse.

    Parameters
    ----------
    f : ndarray, shape (n, k)
        Shares [frac] of each cell fed.
    hold_up_ratio : float
        H, hold-up in cells, above 0.
    start : ndarray, shape (k,)
        Shares in the tank before the first cell.
    """
    gain = -hold_up_ratio * math.expm1(-1 / hold_up_ratio)
    block = min(math.ceil(FOLDS * hold_up_ratio), len(f))
    rows = block * max(1, CHUNK // block)
    out, state = np.empty_like(f) if out is None else out, start.astype(np.float64)
    for begin in range(0, len(f), rows):
        fed = f[begin : begin + rows].astype(np.float64)
        before, state = _states(fed, state, hold_up_ratio=hold_up_ratio, block=block)
        before -= fed
        before *= gain
        before += fed
        out[begin : begin + rows] = before
    return out, state


def _states(fed: Floats, state: Floats, *, hold_up_ratio: float, block: int) -> tuple[Floats, Floats]:
    """Shares in the tank before each cell, shape (n, k), and after the last.

    Within a block ``s_i = e^(-i/H) (1 - e^(-1/H)) sum_j x_j e^(j/H)``; of what was before a block only the
    block before it counts, as blocks are so long.
    """
    n, k = fed.shape
    n_blocks = -(-n // block)
    padded = np.zeros((n_blocks * block, k))
    padded[:n] = fed
    places = np.arange(block) / hold_up_ratio
    sums = padded.reshape(n_blocks, block, k) * (-math.expm1(-1 / hold_up_ratio) * np.exp(places))[:, None]
    np.cumsum(sums, axis=1, out=sums)
    sums *= np.exp(-places)[:, None]
    carried = np.concatenate([state[None], sums[:-1, -1]])
    sums += carried[:, None] * np.exp(-places - 1 / hold_up_ratio)[:, None]
    after = sums.reshape(-1, k)[:n]
    return np.concatenate([state[None], after[:-1]]), after[-1].copy()


def box(f: Floats, *, window_ratio: float) -> Floats:
    """Mean over a window about each cell, w cells long, mirrored at both ends so that totals stay."""
    n = len(f)
    reach = math.ceil((window_ratio - 1) / 2)
    edge = (window_ratio - (2 * reach - 1)) / 2
    places = np.arange(-reach, n + reach) % (2 * n)
    wide = f[np.where(places < n, places, 2 * n - 1 - places)].astype(np.float64)
    sums = np.concatenate([np.zeros((1, f.shape[1])), np.cumsum(wide, axis=0)])
    inner = sums[2 * reach : 2 * reach + n] - sums[1 : n + 1]
    outer = wide[:n] + wide[2 * reach : 2 * reach + n]
    return np.asarray((inner + edge * outer) / window_ratio, dtype=SINGLE)


def recut(f: Floats, *, edges: Floats) -> Floats:
    """Mean shares between rising edges, shape (len(edges) - 1, k); edges are places in cells, 0 to n."""
    sums = np.concatenate([np.zeros((1, f.shape[1])), np.cumsum(f, axis=0, dtype=np.float64)])
    whole = np.minimum(edges.astype(np.intp), len(f) - 1)
    at_edges = sums[whole] + (edges - whole)[:, None] * f[whole]
    return np.asarray(np.diff(at_edges, axis=0) / np.diff(edges)[:, None], dtype=SINGLE)


def doubled(f: Floats, *, starts: Ints, out: Floats | None = None) -> Floats:
    """Mean of N cans fed together, each begun at its own start; what equal cans leave over comes last.

    Every mean lasts N cells, as N cells of strand take one cell of each can.

    Parameters
    ----------
    f : ndarray, shape (n, k)
        Stream that was cut into N cans of n // N cells.
    starts : ndarray of int, shape (N,)
        Cell at which each can is begun; its beginning follows its end.
    """
    ends = len(starts)
    length = len(f) // ends
    cans = f[: ends * length].reshape(ends, length, -1)
    means = np.zeros_like(cans[0])
    for can, start in zip(cans, starts.tolist(), strict=True):
        means[: length - start] += can[start:]
        means[length - start :] += can[:start]
    means *= SINGLE(1 / ends)
    out = np.empty_like(f) if out is None else out
    out[: ends * length].reshape(length, ends, -1)[:] = means[:, None]
    if ends * length < len(f):
        out[ends * length :] = f[ends * length :].mean(axis=0)
    return out


def chances(first: int, count: int, *, seed: int) -> Floats:
    """Evenly spread numbers from 0 to below 1 by their place in a sequence, shape (count,).

    A counter mixed by two rounds of multiply and shift on 32 bits; the constants, known as lowbias32, are
    from memory: mean, variance and independence are tested.
    """
    words = np.arange(first, first + count, dtype=np.uint64).astype(np.uint32)
    words *= np.uint32(SPREAD)
    words += np.uint32(seed)
    for shift, factor in ((16, MIX_FIRST), (15, MIX_SECOND)):
        words ^= words >> np.uint32(shift)
        words *= np.uint32(factor)
    words ^= words >> np.uint32(16)
    return np.asarray((words >> np.uint32(SPARE_BITS)).astype(SINGLE) * SINGLE(CHANCE_STEP))


SPREAD, MIX_FIRST, MIX_SECOND = 0x9E3779B9, 0x7FEB352D, 0x846CA68B
SPARE_BITS = 8  # a number in single precision has 24
CHANCE_STEP = 2.0**-24


def speckled(
    f: Floats, *, clump_ratio: float, seed: int, shares: Floats, out: Floats | None = None
) -> Floats:
    """Shares after counting clumps smaller than a cell: ``f (1 - w) + w e``, ``w = sqrt(m / cell)``.

    e is 1 for one part drawn by its share and 0 for the others: mean, variance ``f (1 - f) m / cell`` and
    covariance are those of counted clumps, and no share leaves 0 to 1. What was drawn too often gives to
    what was drawn too seldom, so the totals stay.
    """
    n, k = f.shape
    out = np.empty_like(f) if out is None else out
    weight = math.sqrt(clump_ratio)
    chosen = np.zeros(n, dtype=np.uint8)
    for begin in range(0, n, CHUNK):
        part = f[begin : begin + CHUNK]
        left = chances(begin, len(part), seed=seed)
        for place in range(k - 1):
            left -= part[:, place]
            chosen[begin : begin + CHUNK] += left >= 0
    drawn = np.bincount(chosen, minlength=k) / n
    table = SINGLE(weight) * exchange(drawn, shares).astype(SINGLE)
    for begin in range(0, n, CHUNK):
        into = out[begin : begin + CHUNK]
        np.multiply(f[begin : begin + CHUNK], SINGLE(1 - weight), out=into)
        into += np.take(table, chosen[begin : begin + CHUNK], axis=0)
    return out


def exchange(found: Floats, wanted: Floats) -> Floats:
    """What each part becomes so that shares found turn into shares wanted, shape (k, k), rows sum to 1.

    A part in excess gives the same fraction of it everywhere to those that lack.
    """
    found, wanted = found / found.sum(), wanted / wanted.sum()
    excess, lack = np.maximum(found - wanted, 0), np.maximum(wanted - found, 0)
    given = np.divide(excess, found, out=np.zeros_like(found), where=found > 0)
    if not excess.any() or not lack.any():
        return np.eye(len(found))
    return np.asarray(np.diag(1 - given) + np.outer(given, lack / lack.sum()))


def blended(f: Floats, weights: Floats, *, out: Floats | None = None) -> Floats:
    """``f @ weights``: signals of every cell, such as the axes of a colour, shape (n, q)."""
    out = np.empty((len(f), weights.shape[1]), dtype=SINGLE) if out is None else out
    by = weights.astype(SINGLE)
    for begin in range(0, len(f), FEW):
        np.matmul(f[begin : begin + FEW], by, out=out[begin : begin + FEW])
    return out


FEW = 4096  # cells multiplied at a time: too few for threads, which would cost more than they do


def mean_shares(f: Floats) -> Floats:
    """Mean of every part in double precision, shape (k,)."""
    n, k = f.shape
    whole = n // SIDE_BY_SIDE * SIDE_BY_SIDE
    wide = f[:whole].reshape(-1, SIDE_BY_SIDE * k).sum(axis=0, dtype=np.float64)
    total = wide.reshape(SIDE_BY_SIDE, k).sum(axis=0) + f[whole:].sum(axis=0, dtype=np.float64)
    return np.asarray(total / n)


SIDE_BY_SIDE = 64  # cells summed side by side: long rows are summed much faster than short ones


@dataclass(frozen=True)
class Loops:
    """The loops that there are twice: plain, and compiled."""

    lag: Callable[..., tuple[Floats, Floats]]
    doubled: Callable[..., Floats]
    speckled: Callable[..., Floats]


PLAIN = Loops(lag, doubled, speckled)


def loops_for(n_cells: int) -> Loops:
    """Compiled loops for much work where the extra `fast` is installed, or else the plain ones.

    Loading them takes longer than a picture does. They agree to 1e-5.

    Parameters
    ----------
    n_cells : int
        Cells of all runs together.
    """
    if n_cells < WORTH_LOADING or importlib.util.find_spec("numba") is None:
        return PLAIN
    try:
        return cast("Loops", importlib.import_module("doffer.process.evenness.compiled").LOOPS)
    except RuntimeError:  # numba has no folder it may keep machine code in
        return PLAIN


WORTH_LOADING = 1_000_000
