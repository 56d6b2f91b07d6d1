"""Very many blends at once: predicted Lab of sets of lots, in chunks that stay in the processor's cache."""

from __future__ import annotations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats, Ints, single
from doffer.fibre.colour.blend import Mixing, transform, untransform
from doffer.fibre.colour.spectrum import LINE_OFFSET, LINE_SLOPE, RATIO_EDGE, Light

CHUNK = 1024  # blends at a time: 31 bands x 1024 in single precision fit a second-level cache


def blend_labs(lots: Floats, sets: Ints, shares: Floats, *, seen_in: Light, mixing: Mixing) -> Floats:
    """Lab of many blends, shape (B, 3), single precision inside (within 0.01 of `blend`).

    Parameters
    ----------
    lots : ndarray, shape (N, n)
        Reflectance of all lots, 0..1.
    sets : ndarray of int, shape (B, k)
        Places of the lots of each blend.
    shares : ndarray, shape (B, k)
        Their shares by oven-dry mass, each row summing to 1; not checked, for searches that try very many.

    Raises
    ------
    InputError
        Sets and shares of different shapes.
    """
    if sets.shape != shares.shape:
        raise InputError("shares of the sets", shares.shape, f"shaped {sets.shape} like the sets")
    f = single(transform(lots, mixing).T)
    weights = single((seen_in.weights / seen_in.white_xyz).T)
    out = np.empty((len(sets), 3), dtype=np.float64)
    for begin in range(0, len(sets), CHUNK):
        part = slice(begin, begin + CHUNK)
        mixed = _mixed(f, sets[part].T, single(shares[part].T))
        out[part] = _labs(weights @ untransform(mixed, mixing))
    return out


def _mixed(f: Floats, sets: Ints, shares: Floats) -> Floats:
    """``sum w f`` of every set, shape (n, B)."""
    mixed = np.take(f, sets[0], axis=1)
    mixed *= shares[0]
    for lots, share in zip(sets[1:], shares[1:], strict=True):
        mixed += np.take(f, lots, axis=1) * share
    return np.asarray(mixed)


def _labs(ratio: Floats) -> Floats:
    """Lab, shape (B, 3), from XYZ over white, shape (3, B)."""
    root = np.cbrt(ratio)
    dark = ratio <= RATIO_EDGE
    if dark.any():
        root[dark] = LINE_SLOPE * ratio[dark] + LINE_OFFSET
    x, y, z = root
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=1)
