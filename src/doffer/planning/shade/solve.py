"""Best shares for many sets of lots at once: Gauss-Newton on the simplex, batched, bands first.

What averages in the blend model (``q = sum w f``) is linear in the shares and colour is a smooth function of
q; a few steps on the local metric of the target's formula, each followed by a projection onto the allowed
shares, find the best blend of every set together. Arrays keep the sets last, so that every operation runs
over contiguous numbers; sets go through in chunks that stay in the processor's cache, so memory does not grow
with their number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import SINGLE, Floats, Ints
from doffer.fibre.colour.blend import Mixing, transform, untransform, untransform_slope
from doffer.fibre.colour.difference import apart
from doffer.fibre.colour.spectrum import RATIO_EDGE, lab_of_reflectance
from doffer.planning.shade.simplex import least_square, onto_simplex
from doffer.planning.shade.target import Target

CHUNK = 1024
N_INNER_STEPS = 1  # of the small problem that every step makes
METRIC_STEP = 0.05  # Lab units: small enough for a local metric, large enough for the arithmetic


@dataclass(frozen=True, eq=False, slots=True)
class Field:
    """What sets of lots are solved in, in one precision.

    `f` is what averages, shape (n, N); `ratio_weights` turn reflectance into X, Y, Z over white under every
    light, shape (3m, n); `wanted` and `pull` give the gap in the metric from cube roots, shapes (3m,) and
    (3m, 3m); `low` and `high` bound the share of each lot, shape (N,).
    """

    f: Floats
    ratio_weights: Floats
    wanted: Floats
    pull: Floats
    low: Floats
    high: Floats
    mixing: Mixing


def field_of(reflectance: Floats, low: Floats, high: Floats, *, mixing: Mixing, target: Target) -> Field:
    """A field of lots, reflectance of shape (N, n), in double precision."""
    return field_of_averages(transform(reflectance, mixing), low, high, mixing=mixing, target=target)


def field_of_averages(f: Floats, low: Floats, high: Floats, *, mixing: Mixing, target: Target) -> Field:
    """A field of what already averages, shape (N, n): for a batch that counts as one lot."""
    lights = target.lights
    pull = np.zeros((3 * len(lights), 3 * len(lights)))
    wanted = np.zeros(3 * len(lights))
    for place, root in enumerate(metric(target)):
        part = slice(3 * place, 3 * place + 3)
        pull[part, part] = root @ LAB_OF_F
        wanted[part] = root @ (target.labs[place] - LAB_AT_ZERO)
    ratio_weights = np.concatenate([(one.weights / one.white_xyz).T for one in lights])
    return Field(np.ascontiguousarray(f.T), ratio_weights, wanted, pull, low, high, mixing)


def in_single(field: Field) -> Field:
    """The same field in single precision."""
    arrays = (field.f, field.ratio_weights, field.wanted, field.pull, field.low, field.high)
    f, ratio_weights, wanted, pull, low, high = (np.ascontiguousarray(a, dtype=SINGLE) for a in arrays)
    return Field(f, ratio_weights, wanted, pull, low, high, field.mixing)


LAB_OF_F = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])  # CIE 1976
LAB_AT_ZERO = np.array([-16.0, 0.0, 0.0])


def metric(target: Target) -> Floats:
    """Root of the target formula's local metric at it, weighted, by light, (m, 3, 3): ``dE ~ |M dLab|``."""
    plus = METRIC_STEP * np.eye(3)
    ways = [(one, other) for one in (1, -1) for other in (1, -1)]
    roots = []
    for lab, weight in zip(target.labs, target.light_weights, strict=True):
        corners = np.stack([one * plus[:, None] + other * plus[None, :] for one, other in ways])
        at = apart(np.broadcast_to(lab, corners.shape), lab + corners, target.formula) ** 2
        hessian = (at[0] - at[1] - at[2] + at[3]) / (8 * METRIC_STEP**2)
        values, vectors = np.linalg.eigh((hessian + hessian.T) / 2)
        roots.append(np.sqrt(weight) * (vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
    return np.stack(roots)


def solve_sets(
    sets: Ints, start: Floats, field: Field, *, n_steps: int, favour: Floats | None = None
) -> tuple[Floats, Floats]:
    """Best shares of every set, shape (B, k), and their distance in the metric, shape (B,).

    Parameters
    ----------
    sets : ndarray of int, shape (B, k)
        Lots of each set.
    start : ndarray, shape (B, k)
        Shares to begin with; brought onto the allowed ones first.
    n_steps : int
        Gauss-Newton steps.
    favour : ndarray, shape (B, k), optional
        How much squared distance a whole share of each lot is worth: then the least of
        ``distance^2 - sum favour w`` is looked for.

    Returns
    -------
    tuple of ndarray
        Shares, each row summing to 1 between the field's bounds, and distances: infinite where the bounds do
        not allow a sum of 1.
    """
    shares = np.empty(sets.shape, dtype=field.f.dtype)
    apart = np.empty(len(sets), dtype=field.f.dtype)
    for begin in range(0, len(sets), CHUNK):
        part = slice(begin, begin + CHUNK)
        pulled = None if favour is None else favour[part].T
        w, gap = _solve_chunk(sets[part].T, start[part].T.astype(field.f.dtype), field, n_steps, pulled)
        shares[part] = w.T
        apart[part] = gap
    return shares, apart


def _solve_chunk(
    sets: Ints, start: Floats, field: Field, n_steps: int, favour: Floats | None
) -> tuple[Floats, Floats]:
    """Shares (k, B) and distances (B,) of one chunk, sets last."""
    low, high = field.low[sets], field.high[sets]
    lots = [np.take(field.f, places, axis=1) for places in sets]
    w = onto_simplex(start, low, high)
    for _ in range(n_steps):
        q = _mixed(lots, w)
        gap, slope = gap_of(q, field)
        by_f = untransform_slope(q, field.mixing)
        rows = np.stack([slope_rows(one, q, by_f, slope, field) for one in lots])
        gram = [[(rows[i] * rows[j]).sum(axis=0) for j in range(i + 1)] for i in range(len(rows))]
        # rows are about the blend as it is, which itself is none of their shares
        pull = (rows * gap).sum(axis=1)
        if favour is not None:
            pull = pull + favour / 2
        w = least_square(gram, pull, w, low, high, n_steps=N_INNER_STEPS)
    gap, _ = gap_of(_mixed(lots, w), field)
    impossible = (high.sum(axis=0) < 1) | (low.sum(axis=0) > 1)
    return w, np.where(impossible, np.inf, np.sqrt((gap * gap).sum(axis=0)))


def _mixed(lots: list[Floats], w: Floats) -> Floats:
    """``q = sum w f``, shape (n, B)."""
    q = lots[0] * w[0]
    for one, share in zip(lots[1:], w[1:], strict=True):
        q += one * share
    return np.asarray(q)


def gap_of(q: Floats, field: Field) -> tuple[Floats, Floats]:
    """What is missing to the target in the metric and the slope of each cube root, shapes (3m, B)."""
    ratio = np.maximum(field.ratio_weights @ untransform(q, field.mixing), LEAST_RATIO)
    root = np.cbrt(ratio)
    return field.wanted[:, None] - field.pull @ root, 1 / (3 * root * root)


LEAST_RATIO = SINGLE(RATIO_EDGE)  # fibre is never darker than the straight part of the Lab curve


def slope_rows(lot: Floats, q: Floats, by_f: Floats, slope: Floats, field: Field) -> Floats:
    """Change in the metric as a lot's share rises and all shrink in proportion, shape (3m, B)."""
    return np.asarray(field.pull @ (slope * (field.ratio_weights @ ((lot - q) * by_f))))


def labs_of(shares: Floats, lots: Ints, field: Field, target: Target) -> Floats:
    """Lab under every light, (B, m, 3), of blends of one set or many: shares (B, k), lots (k,) or (B, k)."""
    f = field.f.T
    q = shares @ f[lots] if lots.ndim == 1 else np.einsum("bk,bkn->bn", shares, f[lots])
    reflectance = untransform(q, field.mixing)
    return np.stack([lab_of_reflectance(reflectance, one) for one in target.lights], axis=1)
