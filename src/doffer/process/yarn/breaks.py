"""Learning the limit of spinning from the mill's own end breaks, starting from a weak guess."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.process.yarn.limits import System, fewest_fibres
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class SpinRun:
    """One run on the frame: fibres across, staple [mm], whether tender, spindle hours [h], end breaks."""

    fibres: float
    staple_mm: float
    is_tender: bool
    spindle_h: float
    n_breaks: int

    def __post_init__(self) -> None:
        if not self.fibres > 0 or not self.staple_mm > 0 or not self.spindle_h > 0 or self.n_breaks < 0:
            raise InputError(
                "run", (self.fibres, self.staple_mm, self.spindle_h, self.n_breaks), "figures above zero"
            )


@dataclass(frozen=True, eq=False, slots=True)
class BreaksModel:
    """End breaks of one way of spinning: mean and covariance of the terms `ORDER`; how many runs it saw."""

    system: System
    coefficients: Floats
    covariance: Floats
    n_runs: int
    is_learned: bool


ORDER = ("level", "fibres", "staple", "tender")


def learn_breaks(runs: Sequence[SpinRun], *, system: System, tables: Tables) -> BreaksModel:
    """End breaks per spindle hour learned from runs.

    ``ln(k / t) = ln(borne) + a + b ln(n / n0) + c ln(L / L0) + d tender``.

    Poisson counts with a weak normal prior, most likely values by Newton's steps. The prior says: at the
    fewest fibres that hold (n0) a frame breaks as often as is borne; b about -4 +- 1.5 (table yarn_figures,
    guesses of common practice).

    Parameters
    ----------
    runs : sequence of SpinRun
        Runs on this way of spinning; none: the prior alone.
    system : System
    tables : Tables

    Notes
    -----
    `is_learned` only from ten runs on (table yarn_figures); until then show the usual limits.
    """
    mean, sd = _prior(tables)
    precision = np.diag(1 / sd**2)
    design = np.array([_terms(run, system, tables) for run in runs]).reshape(len(runs), len(ORDER))
    counts = np.array([run.n_breaks for run in runs], dtype=float)
    offset = np.log(np.array([run.spindle_h for run in runs])) + math.log(_borne(tables))
    found = mean.copy()
    for _ in range(MOST_STEPS):
        expected = np.exp(np.clip(design @ found + offset, -LARGEST_LOG, LARGEST_LOG))
        slope = design.T @ (counts - expected) - precision @ (found - mean)
        curve = design.T @ (design * expected[:, None]) + precision
        step = np.linalg.solve(curve, slope)
        found = found + step * min(1.0, LONGEST_STEP / max(float(np.abs(step).max()), LONGEST_STEP))
        if float(np.abs(step).max()) < STEP_DONE:
            break
    enough = len(runs) >= tables.yarn_figures["breaks_enough_runs/any"].value
    return BreaksModel(system, found, np.linalg.inv(curve), len(runs), is_learned=bool(enough))


MOST_STEPS = 200
LARGEST_LOG = 50.0  # keeps a wild first step finite
LONGEST_STEP = 1.0
STEP_DONE = 1e-10


@dataclass(frozen=True, slots=True)
class Breaks:
    """Expected end breaks per spindle hour with a 90 % range from what the model does not know."""

    per_spindle_h: float
    low_per_spindle_h: float
    high_per_spindle_h: float


def breaks_per_hour(
    model: BreaksModel, *, fibres: float, staple_mm: float, tables: Tables, is_tender: bool = False
) -> Breaks:
    """End breaks per spindle hour to expect of a yarn with so many fibres across."""
    terms = np.array(_terms(SpinRun(fibres, staple_mm, is_tender, 1.0, 0), model.system, tables))
    log = float(terms @ model.coefficients) + math.log(_borne(tables))
    away = NINETY * math.sqrt(float(terms @ model.covariance @ terms))
    return Breaks(math.exp(log), math.exp(log - away), math.exp(log + away))


NINETY = NormalDist().inv_cdf(0.95)  # standard deviations of a 90 % range


def learned_fewest_fibres(
    model: BreaksModel, *, staple_mm: float, tables: Tables, is_tender: bool = False
) -> float:
    """Fewest fibres at which the expected breaks are still borne (table yarn_figures).

    Raises
    ------
    InputError
        The runs say that more fibres break more often: something else is wrong with the frame.
    """
    slope = float(model.coefficients[ORDER.index("fibres")])
    if slope >= 0:
        raise InputError("end breaks", slope, "fewer with more fibres across; look for another cause")
    start = fewest_fibres(tables, system=model.system).hard
    at_start = breaks_per_hour(
        model, fibres=start, staple_mm=staple_mm, tables=tables, is_tender=is_tender
    ).per_spindle_h
    return float(start * (_borne(tables) / at_start) ** (1 / slope))


def _prior(tables: Tables) -> tuple[Floats, Floats]:
    rows = [
        tables.yarn_figures[key]
        for key in ("breaks_level/any", "breaks_slope/fibres", "breaks_slope/staple", "breaks_slope/tender")
    ]
    mean = np.array([row.value for row in rows])
    sd = np.array([(row.high if row.high is not None else row.value) - row.value for row in rows])
    if np.any(sd <= 0):
        raise InputError("guess of end breaks", sd.tolist(), "with a high figure above the usual one")
    return mean, sd


def _terms(run: SpinRun, system: System, tables: Tables) -> list[float]:
    fewest = fewest_fibres(tables, system=system).hard
    middling_mm = tables.yarn_figures["breaks_staple/any"].value
    return [1.0, math.log(run.fibres / fewest), math.log(run.staple_mm / middling_mm), float(run.is_tender)]


def _borne(tables: Tables) -> float:
    return tables.yarn_figures["breaks_borne/any"].value
