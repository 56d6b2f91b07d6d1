"""Best shares for many sets of lots at once: Gauss-Newton on the simplex, batched, bands first.

What averages in the blend model (``q = sum w f``) is linear in the shares and colour is a smooth function of
q; a few steps on the local CIEDE2000 metric, each followed by a projection onto the allowed shares, find the
best blend of every set together. Arrays keep the sets last, so that every operation runs over contiguous
numbers; sets go through in chunks that stay in the processor's cache, so memory does not grow with their
number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import SINGLE, Floats, Ints
from doffer.fibre.colour.blend import Mixing, transform, untransform, untransform_slope
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import RATIO_EDGE, lab_of_reflectance
from doffer.planning.shade.target import Target

CHUNK = 1024
RIDGE = SINGLE(1e-5)  # of the mean diagonal: keeps near-twin lots solvable in single precision
STUCK = SINGLE(1e4)  # a share at its bound that would be pushed beyond it does not move
METRIC_STEP = 0.05  # Lab units: small enough for a local metric, large enough for the arithmetic
HALVINGS = 50


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
    """Root of the local CIEDE2000 metric at the target, weighted, by light, (m, 3, 3): ``dE ~ |M dLab|``."""
    plus = METRIC_STEP * np.eye(3)
    ways = [(one, other) for one in (1, -1) for other in (1, -1)]
    roots = []
    for lab, weight in zip(target.labs, target.light_weights, strict=True):
        corners = np.stack([one * plus[:, None] + other * plus[None, :] for one, other in ways])
        at = de2000(lab, lab + corners) ** 2
        hessian = (at[0] - at[1] - at[2] + at[3]) / (8 * METRIC_STEP**2)
        values, vectors = np.linalg.eigh((hessian + hessian.T) / 2)
        roots.append(np.sqrt(weight) * (vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
    return np.stack(roots)


def solve_sets(sets: Ints, start: Floats, field: Field, *, n_steps: int) -> tuple[Floats, Floats]:
    """Best shares of every set, shape (B, k), and their distance in the metric, shape (B,).

    Parameters
    ----------
    sets : ndarray of int, shape (B, k)
        Lots of each set.
    start : ndarray, shape (B, k)
        Shares to begin with; brought onto the allowed ones first.
    n_steps : int
        Gauss-Newton steps.

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
        w, gap = _solve_chunk(sets[part].T, start[part].T.astype(field.f.dtype), field, n_steps)
        shares[part] = w.T
        apart[part] = gap
    return shares, apart


def _solve_chunk(sets: Ints, start: Floats, field: Field, n_steps: int) -> tuple[Floats, Floats]:
    """Shares (k, B) and distances (B,) of one chunk, sets last."""
    low, high = field.low[sets], field.high[sets]
    lots = [np.take(field.f, places, axis=1) for places in sets]
    w = onto_simplex(start, low, high)
    for _ in range(n_steps):
        q = _mixed(lots, w)
        gap, slope = _gap(q, field)
        by_f = untransform_slope(q, field.mixing)
        rows = np.stack([_slope_rows(one, q, by_f, slope, field) for one in lots])
        normal = [[(rows[i] * rows[j]).sum(axis=0) for j in range(i + 1)] for i in range(len(rows))]
        w = onto_simplex(w + _move(normal, (rows * gap).sum(axis=1), w, low, high), low, high)
    gap, _ = _gap(_mixed(lots, w), field)
    impossible = (high.sum(axis=0) < 1) | (low.sum(axis=0) > 1)
    return w, np.where(impossible, np.inf, np.sqrt((gap * gap).sum(axis=0)))


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
    gap, slope = _gap(q, field)
    rows = _slope_rows(field.f, q, untransform_slope(q, field.mixing), slope, field)
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


SCREEN_CHUNK = 8192


def _screen_chunk(
    sets: Ints, start: Floats, linear: Linear, field: Field, n_steps: int
) -> tuple[Floats, Floats]:
    """Shares (k, B) and squared distances (B,) of one chunk in the linear picture."""
    k = len(sets)
    low, high, pull = field.low[sets], field.high[sets], linear.pull[sets]
    gram = [[linear.gram[sets[i], sets[j]] for j in range(i + 1)] for i in range(k)]
    w = onto_simplex(start, low, high)
    for _ in range(n_steps):
        mixed = _gram_mixed(gram, w)
        spread, gain = (w * mixed).sum(axis=0), (w * pull).sum(axis=0)
        normal = [[gram[i][j] - mixed[i] - mixed[j] + spread for j in range(i + 1)] for i in range(k)]
        w = onto_simplex(w + _move(normal, pull - mixed - gain + spread, w, low, high), low, high)
    square = linear.rest - 2 * (w * pull).sum(axis=0) + (w * _gram_mixed(gram, w)).sum(axis=0)
    impossible = (high.sum(axis=0) < 1) | (low.sum(axis=0) > 1)
    return w, np.where(impossible, np.inf, square)


def _gram_mixed(gram: list[list[Floats]], w: Floats) -> Floats:
    """``G w`` of every set from the lower triangle, shape (k, B)."""
    k = len(gram)
    return np.stack([sum(gram[max(i, j)][min(i, j)] * w[j] for j in range(k)) for i in range(k)])


def best_of_all(usable: Ints, field: Field, start: Floats | None = None) -> Floats:
    """Shares of all lots, shape (N,), for the nearest blend that any number of the usable lots can make.

    Bounds from above hold, the least share of a used lot does not. The way from shares to colour is bent, so
    this is the nearest about where it begins: equal shares, or `start` of shape (N,).
    """
    f, n_usable = field.f[:, usable], len(usable)
    low, high = np.zeros((n_usable, 1)), field.high[usable][:, None].astype(np.float64)
    begin = np.full(n_usable, 1 / n_usable) if start is None else start[usable]
    w = onto_simplex(begin[:, None], low, high)
    best, least = w, np.inf
    for _ in range(N_DENSE_STEPS):
        q = f @ w
        gap, slope = _gap(q, field)
        size = float((gap * gap).sum())
        if size < least:
            best, least = w, size
        rows = _slope_rows(f, q, untransform_slope(q, field.mixing), slope, field)
        w = onto_simplex(w + _dense_move(rows, gap, w, low, high), low, high)
    shares = np.zeros(field.f.shape[1])
    shares[usable] = best[:, 0]
    return shares


def _dense_move(rows: Floats, gap: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
    """Gauss-Newton move of all shares together, shape (N, 1)."""
    pull, normal = rows.T @ gap, rows.T @ rows
    stuck = ((w <= low) & (pull < 0)) | ((w >= high) & (pull > 0))
    scale = max(float(np.trace(normal)) / len(w), float(TINY))
    normal[range(len(w)), range(len(w))] += scale * np.where(stuck[:, 0], DENSE_STUCK, DENSE_RIDGE)
    t = np.linalg.solve(normal, pull)
    return np.asarray(t - w * t.sum())


N_DENSE_STEPS = 30
DENSE_RIDGE, DENSE_STUCK = 1e-3, 1e4


def _mixed(lots: list[Floats], w: Floats) -> Floats:
    """``q = sum w f``, shape (n, B)."""
    q = lots[0] * w[0]
    for one, share in zip(lots[1:], w[1:], strict=True):
        q += one * share
    return np.asarray(q)


def _gap(q: Floats, field: Field) -> tuple[Floats, Floats]:
    """What is missing to the target in the metric and the slope of each cube root, shapes (3m, B)."""
    ratio = np.maximum(field.ratio_weights @ untransform(q, field.mixing), LEAST_RATIO)
    root = np.cbrt(ratio)
    return field.wanted[:, None] - field.pull @ root, 1 / (3 * root * root)


LEAST_RATIO = SINGLE(RATIO_EDGE)  # fibre is never darker than the straight part of the Lab curve


def _slope_rows(lot: Floats, q: Floats, by_f: Floats, slope: Floats, field: Field) -> Floats:
    """Change in the metric as a lot's share rises and all shrink in proportion, shape (3m, B)."""
    return np.asarray(field.pull @ (slope * (field.ratio_weights @ ((lot - q) * by_f))))


def _move(normal: list[list[Floats]], pull: Floats, w: Floats, low: Floats, high: Floats) -> Floats:
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


TINY = SINGLE(1e-12)
LEAST_PIVOT = SINGLE(1e-6)  # of its diagonal: rounding must not make a pivot vanish


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


N_SHIFTS = 4
SUM_WITHIN = 1e-6


def _halved(shares: Floats, low: Floats, high: Floats) -> Floats:
    """The same by bisection, for columns where Newton's steps go to and fro."""
    least, most = (low - shares).min(axis=0), (high - shares).max(axis=0)
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        too_much = np.clip(shares + middle, low, high).sum(axis=0) > 1
        most = np.where(too_much, middle, most)
        least = np.where(too_much, least, middle)
    return np.asarray(np.clip(shares + (least + most) / 2, low, high))


def labs_of(shares: Floats, lots: Ints, field: Field, target: Target) -> Floats:
    """Lab under every light, (B, m, 3), of blends of one set or many: shares (B, k), lots (k,) or (B, k)."""
    f = field.f.T
    q = shares @ f[lots] if lots.ndim == 1 else np.einsum("bk,bkn->bn", shares, f[lots])
    reflectance = untransform(q, field.mixing)
    return np.stack([lab_of_reflectance(reflectance, one) for one in target.lights], axis=1)
