"""Does a shade wander from its standard, batch by batch, and when will it leave the tolerance.

A batch may lie near the last one every time and still walk away from the standard: so the line is drawn
against the standard.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.fibre.colour.words import difference_words
from doffer.tables.loader import Tables

N_LAB = 3
OUTLINE_POINTS = 72
FARTHEST = 60.0  # no tolerance of a dyer reaches so far from its standard
HALVINGS = 30
NODES = 200


class Standing(StrEnum):
    """Where the line of the batches stands."""

    STEADY = "steady"
    DRIFTING = "drifting"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Drift:
    """The straight line through the batches of a shade.

    `step_de` is CIEDE2000 of one batch's way along the line, `words` what the way looks like. `p_chance` is
    how often scatter alone would show as much; `leaves_in` after how many more batches the line leaves what
    passes: 0 when it is outside now, None when it does not within shade_trend_ahead
    batches (table constants). `along_de` is the line's difference to the standard, by the tolerance's
    formula, at each batch and at those still to come.
    `left_out` are the batches (counted from 0) that lie far from the others: the line is not drawn from them.
    """

    standing: Standing
    step_lab: tuple[float, float, float]
    step_de: float
    words: tuple[str, ...]
    p_chance: float
    leaves_in: int | None
    along_de: tuple[float, ...]
    left_out: tuple[int, ...] = ()


def drift_of(standard: Floats, batches: Floats, tolerance: Tolerance, tables: Tables) -> Drift | None:
    """The drift of batches in the order they were made; None where too few belong together.

    Batches far from the others (`run_of`) are left out. A straight line ``Lab_i = a + s i`` by least squares
    on each axis. It is drift when ``F = (SS_line / 3) / (SS_rest / (3 (n - 2)))`` is rarer than
    shade_trend_chance by chance (F with 3 and 3 (n - 2) degrees of freedom, scatter taken alike
    on the three axes; common practice).

    Parameters
    ----------
    standard : ndarray, shape (3,)
        L*a*b* of the standard.
    batches : ndarray, shape (n, 3)
        L*a*b* of the batches under the same light, oldest first.

    Raises
    ------
    InputError
        Shapes that do not fit together.
    """
    standard, batches = np.asarray(standard, dtype=np.float64), np.asarray(batches, dtype=np.float64)
    if standard.shape != (N_LAB,) or batches.ndim != 2 or batches.shape[1] != N_LAB:
        raise InputError("batches", batches.shape, "L, a and b of each, beside L, a and b of the standard")
    kept = run_of(standard, batches, tolerance, tables)
    if len(kept) < tables.constants["shade_trend_batches"].value:
        return None
    ahead = int(tables.constants["shade_trend_ahead"].value)
    n, chosen = len(batches), batches[list(kept)]
    centre = float(np.mean(kept))
    order = np.array(kept, dtype=np.float64) - centre
    step = order @ chosen / (order @ order)
    middle = chosen.mean(axis=0)
    p_chance = _p_chance(chosen, middle, order, step)
    line = middle + (np.arange(n + ahead) - centre)[:, None] * step
    along = _difference(standard, line, tolerance)
    is_drift = p_chance < tables.constants["shade_trend_chance"].value
    leaves_in = _leaves_in(along[n - 1 :], tolerance.pass_de) if is_drift else None
    standing = Standing.STEADY if not is_drift else Standing.OUTSIDE if leaves_in == 0 else Standing.DRIFTING
    told = n if leaves_in is None else n + leaves_in
    return Drift(
        standing=standing,
        step_lab=(float(step[0]), float(step[1]), float(step[2])),
        step_de=float(de2000(line[0], line[n - 1])) / (n - 1),
        words=difference_words(line[0], line[n - 1]),
        p_chance=p_chance,
        leaves_in=leaves_in,
        along_de=tuple(float(x) for x in along[:told]),
        left_out=left_out_of(standard, batches, tolerance, tables),
    )


def left_out_of(standard: Floats, batches: Floats, tolerance: Tolerance, tables: Tables) -> tuple[int, ...]:
    """The batches, counted from 0, that are not of the `run_of` this shade."""
    kept = run_of(standard, batches, tolerance, tables)
    return tuple(k for k in range(len(batches)) if k not in kept)


def run_of(standard: Floats, batches: Floats, tolerance: Tolerance, tables: Tables) -> tuple[int, ...]:
    """The longest run of batches of which each lies near the last; the others were mishaps.

    Near is up to shade_mishap times (table constants) the median way from one batch to the next, but never
    less than what the tolerance leaves to a person nor more than as many times that. Of runs as
    long, the one nearest the standard.
    """
    n = len(batches)
    if n < 2:
        return tuple(range(n))
    usual = float(np.median(_difference(batches[:-1], batches[1:], tolerance)))
    jump = tables.constants["shade_mishap"].value
    limit = min(jump * tolerance.ask_de, max(tolerance.ask_de, jump * usual))
    away = _difference(standard, batches, tolerance)
    runs: list[tuple[int, ...]] = []
    for k in range(n):
        steps = _difference(batches[k], batches[:k], tolerance) if k else np.zeros(0)
        near = [(*runs[j], k) for j in range(k) if steps[j] <= limit]
        runs.append(max([(k,), *near], key=lambda run: (len(run), -float(away[list(run)].sum()))))
    return max(runs, key=lambda run: (len(run), -float(away[list(run)].sum())))


def _p_chance(batches: Floats, middle: Floats, order: Floats, step: Floats) -> float:
    """How often scatter alone would explain as much as the line does."""
    explained = float((order @ order) * (step @ step))
    rest = float(((batches - middle - order[:, None] * step) ** 2).sum())
    free = N_LAB * (len(batches) - 2)
    if rest <= np.finfo(float).eps * explained:
        return 0.0 if explained > 0 else 1.0
    return _f_beyond((explained / N_LAB) / (rest / free), N_LAB, free)


def _f_beyond(f: float, n_above: int, n_below: int) -> float:
    """Chance of a larger F: a part of the integral of ``sin^(below-1) cos^(above-1)``."""
    edge = float(np.arctan2(np.sqrt(n_below), np.sqrt(n_above * f)))
    nodes, weights = _gauss()

    def area(end: float) -> float:
        at = end * (nodes + 1) / 2
        return end / 2 * float(weights @ (np.sin(at) ** (n_below - 1) * np.cos(at) ** (n_above - 1)))

    return area(edge) / area(np.pi / 2)


@lru_cache(maxsize=1)
def _gauss() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return np.asarray(nodes), np.asarray(weights)


def _leaves_in(along_de: Floats, limit_de: float) -> int | None:
    """Batches from the newest one (first of `along_de`) until the line is beyond the limit."""
    beyond = np.flatnonzero(along_de > limit_de)
    return int(beyond[0]) if len(beyond) else None


def _difference(standard: Floats, sample: Floats, tolerance: Tolerance) -> Floats:
    formula = de_cmc if tolerance.formula is Formula.CMC else de2000
    return formula(np.broadcast_to(standard, sample.shape), sample)


def tolerance_outline(standard: Floats, tolerance: Tolerance, limit_de: float) -> Floats:
    """Where a batch as light as the standard stops passing: closed line of (a, b) about it, shape (72, 2).

    Found by halving along each direction; what a tolerance says of lightness is told beside it.
    """
    standard = np.asarray(standard, dtype=np.float64)
    angle = np.linspace(0, 2 * np.pi, OUTLINE_POINTS, endpoint=False)
    way = np.stack([np.zeros_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    return np.asarray((standard + _reach(standard, way, tolerance, limit_de)[:, None] * way)[:, 1:])


def lightness_limits(standard: Floats, tolerance: Tolerance, limit_de: float) -> tuple[float, float]:
    """The darkest and the lightest L that still pass with the hue and strength of the standard."""
    standard = np.asarray(standard, dtype=np.float64)
    way = np.array([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    down, up = _reach(standard, way, tolerance, limit_de)
    return float(max(0.0, standard[0] - down)), float(min(100.0, standard[0] + up))


def _reach(standard: Floats, way: Floats, tolerance: Tolerance, limit_de: float) -> Floats:
    """How far one may go along each way, shape (n,)."""
    low, high = np.zeros(len(way)), np.full(len(way), FARTHEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        passes = _difference(standard, standard + middle[:, None] * way, tolerance) <= limit_de
        low, high = np.where(passes, middle, low), np.where(passes, high, middle)
    return low
