"""The inner loops of the simulated stream compiled, where the extra `fast` is installed.

Same results as `kernels` to 1e-5; what each does is said there. Import it through `kernels.loops_for`.
Loops over the parts are made for one number of parts, so that they are unrolled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, cast

import numpy as np
from numba import njit

from doffer.fibre.arrays import SINGLE, Floats, Ints
from doffer.process.evenness import kernels

BLOCK = 256  # cells worked at a time, so that sums stay in the fastest cache


def compiled(loop: Callable[..., Any]) -> Callable[..., Any]:
    """The loop as machine code, kept on disk for the next start."""
    return cast("Callable[..., Any]", njit(nogil=True, cache=True, fastmath={"contract"})(loop))


@compiled
def _lag_2(f: Floats, out: Floats, state: Floats, keep: float, gain: float) -> None:
    a, b = state[0], state[1]
    for i in range(f.shape[0]):
        x, y = np.float64(f[i, 0]), np.float64(f[i, 1])
        out[i, 0], out[i, 1] = (1 - gain) * x + gain * a, (1 - gain) * y + gain * b
        a, b = keep * a + (1 - keep) * x, keep * b + (1 - keep) * y
    state[0], state[1] = a, b


@compiled
def _lag_4(f: Floats, out: Floats, state: Floats, keep: float, gain: float) -> None:
    a, b, c, d = state[0], state[1], state[2], state[3]
    for i in range(f.shape[0]):
        x, y = np.float64(f[i, 0]), np.float64(f[i, 1])
        out[i, 0], out[i, 1] = (1 - gain) * x + gain * a, (1 - gain) * y + gain * b
        a, b = keep * a + (1 - keep) * x, keep * b + (1 - keep) * y
        x, y = np.float64(f[i, 2]), np.float64(f[i, 3])
        out[i, 2], out[i, 3] = (1 - gain) * x + gain * c, (1 - gain) * y + gain * d
        c, d = keep * c + (1 - keep) * x, keep * d + (1 - keep) * y
    state[0], state[1], state[2], state[3] = a, b, c, d


@compiled
def _lag_any(f: Floats, out: Floats, state: Floats, keep: float, gain: float) -> None:
    for j in range(f.shape[1]):
        a = state[j]
        for i in range(f.shape[0]):
            x = np.float64(f[i, j])
            out[i, j] = (1 - gain) * x + gain * a
            a = keep * a + (1 - keep) * x
        state[j] = a


LAGS = {2: _lag_2, 4: _lag_4}


def lag(
    f: Floats, *, hold_up_ratio: float, start: Floats, out: Floats | None = None
) -> tuple[Floats, Floats]:
    """See `kernels.lag`."""
    out = np.empty_like(f) if out is None else out
    state = start.astype(np.float64)
    keep = math.exp(-1 / hold_up_ratio)
    gain = -hold_up_ratio * math.expm1(-1 / hold_up_ratio)
    LAGS.get(f.shape[1], _lag_any)(f, out, state, keep, gain)
    return out, state


def doubled(f: Floats, *, starts: Ints, out: Floats | None = None) -> Floats:
    """See `kernels.doubled`."""
    out = np.empty_like(f) if out is None else out
    made_for(f.shape[1])[0](f, out, starts)
    rest = len(f) % len(starts)
    if rest:
        out[-rest:] = f[-rest:].mean(axis=0)
    return out


def speckled(
    f: Floats, *, clump_ratio: float, seed: int, shares: Floats, out: Floats | None = None
) -> Floats:
    """See `kernels.speckled`."""
    out = np.empty_like(f) if out is None else out
    _, choose, put = made_for(f.shape[1])
    chosen, counts = np.empty(len(f), dtype=np.uint8), np.zeros(f.shape[1], dtype=np.int64)
    choose(f, chosen, counts, np.uint32(seed))
    weight = math.sqrt(clump_ratio)
    table = SINGLE(weight) * kernels.exchange(counts / len(f), shares).astype(SINGLE)
    put(f, out, chosen, SINGLE(1 - weight), table)
    return out


@lru_cache(maxsize=8)
def made_for(parts: int) -> tuple[Callable[..., Any], ...]:
    """Loops of drawing, choosing and putting for one number of parts."""
    return _doubling(parts), *_choosing(parts)


@compiled
def _add(sums: Floats, more: Floats) -> None:
    for i in range(more.size):
        sums[i] += more[i]


def _doubling(parts: int) -> Callable[..., Any]:
    @compiled
    def lay_out(sums: Floats, strand: Floats) -> None:
        share = SINGLE(1 / strand.shape[1])
        for i in range(strand.shape[0]):
            for end in range(strand.shape[1]):
                for j in range(parts):
                    strand[i, end, j] = sums[i, j] * share

    @compiled
    def double(f: Floats, out: Floats, starts: Ints) -> None:
        ends = starts.size
        length = f.shape[0] // ends
        flat = f.reshape(-1)
        sums = np.empty(BLOCK * parts, SINGLE)
        for begin in range(0, length, BLOCK):
            size = min(BLOCK, length - begin)
            sums[:] = 0
            for can in range(ends):
                place = (begin + starts[can]) % length
                before = min(size, length - place)
                first = (can * length + place) * parts
                _add(sums, flat[first : first + before * parts])
                first = can * length * parts
                _add(sums[before * parts :], flat[first : first + (size - before) * parts])
            strand = out[begin * ends : (begin + size) * ends].reshape(size, ends, parts)
            lay_out(sums[: size * parts].reshape(size, parts), strand)

    return double


@compiled
def _chances(into: Floats, first: int, seed: int) -> None:
    """See `kernels.chances`; whole numbers are held to 32 bits at every turn."""
    for i in range(into.size):
        word = np.uint32(np.uint32(np.uint32(first + i) * np.uint32(kernels.SPREAD)) + np.uint32(seed))
        word = np.uint32(np.uint32(word ^ (word >> np.uint32(16))) * np.uint32(kernels.MIX_FIRST))
        word = np.uint32(np.uint32(word ^ (word >> np.uint32(15))) * np.uint32(kernels.MIX_SECOND))
        word = np.uint32(word ^ (word >> np.uint32(16)))
        into[i] = SINGLE(np.int32(word >> np.uint32(kernels.SPARE_BITS))) * SINGLE(kernels.CHANCE_STEP)


@compiled
def _count(chosen: Ints, counts: Ints) -> None:
    first = chosen.size
    for part in range(1, counts.size):
        found = 0
        for i in range(chosen.size):
            found += chosen[i] == part
        counts[part] += found
        first -= found
    counts[0] += first


def _choosing(parts: int) -> tuple[Callable[..., Any], ...]:
    @compiled
    def choose(f: Floats, chosen: Ints, counts: Ints, seed: int) -> None:
        lefts = np.empty(BLOCK, SINGLE)
        for begin in range(0, f.shape[0], BLOCK):
            rows, into = f[begin : begin + BLOCK], chosen[begin : begin + BLOCK]
            _chances(lefts, begin, seed)
            for i in range(into.size):
                left = lefts[i]
                at = 0
                for j in range(parts - 1):
                    left -= rows[i, j]
                    at += left >= 0
                into[i] = at
            _count(into, counts)

    @compiled
    def put(f: Floats, out: Floats, chosen: Ints, stay: float, table: Floats) -> None:
        for i in range(f.shape[0]):
            row = chosen[i]
            for j in range(parts):
                out[i, j] = stay * f[i, j] + table[row, j]

    return choose, put


LOOPS = kernels.Loops(lag, doubled, speckled)
