"""How much shorter fibre becomes with every pass, and how many passes a fibre should see.

HYPOTHESES, not laws: no published law of breakage by passes or beater speed was found for any animal fibre.
The shape of the equation is that of roller carding (J-STAGE jte1955, 15/6, p. 214, read as an abstract);
its use for a picker, the constants and the powers of speed, strength and diameter are guesses until a mill
has measured lengths before and after.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.process.evenness.passage import Part
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

POWER_OF_LENGTH = 2.5  # a(l) = k l^2.5 of roller carding: J-STAGE jte1955, 15/6, abstract
REFERENCE_MM = 100.0  # lengths in the rate are counted in units of this
POWER_OF_SPEED, POWER_OF_STRENGTH, POWER_OF_DIAMETER = 2.0, 1.0, 2.0  # hypotheses
N_SDS_OF_LENGTH = 4.5  # how far up a length histogram reaches
LEAST_SD_MM = 1.0  # one class of lengths
SERIES_ENDS_AT = 1e-12
MOST_RATE = 8.0
HALVINGS = 40
PROVEN_ERRORS = 2.0
NOT_PROVEN = "the difference is within the error of measuring: not proven"


@dataclass(frozen=True, eq=False, slots=True)
class Lengths:
    """Numbers of fibres by length.

    Parameters
    ----------
    length_mm : ndarray, shape (n,)
        1, 2, ... n [mm].
    number : ndarray, shape (n,)
        Fibres of each length; any scale.
    """

    length_mm: Floats
    number: Floats

    @property
    def mean_mm(self) -> float:
        """Mean length by number [mm]."""
        return float(self.length_mm @ self.number / self.number.sum())

    @property
    def mass(self) -> float:
        """Length of all fibres together: their mass but for the linear density."""
        return float(self.length_mm @ self.number)

    def mass_share_below(self, *, length_mm: float) -> float:
        """Share of the mass in fibres shorter than this [frac]."""
        short = self.length_mm < length_mm
        return float(self.length_mm[short] @ self.number[short]) / self.mass


@dataclass(frozen=True, slots=True)
class BreakRate:
    """Rate k of one pass [per pass at 100 mm], with its ends; `is_proven` when beyond the measuring error."""

    k: float
    low: float
    high: float
    is_proven: bool
    status: Status
    note: str = ""


def usual_break_rate(tables: Tables) -> BreakRate:
    """The guess that stands until lengths were measured (table evenness_figures, row pick_break_rate)."""
    row = tables.evenness_figures["pick_break_rate"]
    low = row.value if row.low is None else row.low
    high = row.value if row.high is None else row.high
    return BreakRate(row.value, low, high, is_proven=False, status=row.status, note=row.note)


def normal_lengths(*, mean_mm: float, sd_mm: float) -> Lengths:
    """A normal distribution of lengths by number, cut at 1 mm [mm]."""
    if not mean_mm > 0 or not sd_mm > 0:
        raise InputError("fibre length", (mean_mm, sd_mm), "above 0 mm, with a spread above 0 mm")
    grid = np.arange(1.0, math.ceil(mean_mm + N_SDS_OF_LENGTH * sd_mm) + 1)
    return Lengths(grid, np.exp(-0.5 * ((grid - mean_mm) / sd_mm) ** 2))


def length_after(lengths: Lengths, *, rate_k: float, passes: int = 1) -> Lengths:
    """Lengths after passes of breaking (hypothesis, see above).

    ``dN(l)/ds = -a(l) N + 2 int_l^inf a(x) b(x to l) N(x) dx`` with ``a(l) = k (l / 100 mm)^2.5`` and ``b``
    the parabola ``6 (l/x^2)(1 - l/x)``: mid-length breaks most. Mass is kept exactly.

    Parameters
    ----------
    rate_k : float
        Rate of one pass [per pass at 100 mm], >= 0.
    passes : int
        Passes, >= 0; rates of unlike passes may be added instead.

    Raises
    ------
    InputError
        A rate or number of passes below zero.
    """
    if rate_k < 0 or passes < 0:
        raise InputError("rate of breaking and passes", (rate_k, passes), "zero or more")
    total = rate_k * passes
    rate = total * (lengths.length_mm / REFERENCE_MM) ** POWER_OF_LENGTH
    rate[0] = 0.0  # the shortest class does not break further
    fastest = float(rate.max())
    if fastest <= 0:
        return lengths
    # Sum over the number of chances to break, Poisson of the fastest rate: stays positive, keeps mass.
    chance, current, weight = rate / fastest, lengths.number, math.exp(-fastest)
    after, reached, count = weight * current, weight, 0
    while 1 - reached > SERIES_ENDS_AT and count < fastest + 60 * (1 + math.sqrt(fastest)):
        count += 1
        broken = chance * current
        current = current - broken + broken @ _fragments(len(rate))
        weight *= fastest / count
        after, reached = after + weight * current, reached + weight
    return Lengths(lengths.length_mm, after)


@lru_cache(maxsize=8)
def _fragments(size: int) -> Floats:
    """Two pieces of every length, shape (from, to): symmetrical about the middle, so their lengths add up."""
    parent, piece = np.arange(1.0, size + 1)[:, None], np.arange(1.0, size + 1)[None, :]
    weight = np.maximum(piece * (parent - piece), 0.0) * (piece < parent)
    total = weight.sum(axis=1, keepdims=True)
    pieces: Floats = np.divide(2 * weight, total, out=np.zeros_like(weight), where=total > 0)
    pieces.setflags(write=False)
    return pieces


@dataclass(frozen=True, slots=True)
class LengthLeft:
    """Mean fibre length of one part before and after passes [mm]: likely, and if a pass breaks more."""

    name: str
    before_mm: float
    likely_mm: float
    worst_mm: float

    @property
    def likely_frac(self) -> float:
        """What is likely left [frac]."""
        return self.likely_mm / self.before_mm

    @property
    def worst_frac(self) -> float:
        """What is left if a pass breaks more [frac]."""
        return self.worst_mm / self.before_mm


def length_left(parts: Sequence[Part], rate: BreakRate, *, passes: int) -> LengthLeft:
    """Of the part that suffers most: as long as its staple is believed, a normal spread of lengths."""
    left = []
    for part in parts:
        sd_mm = max(LEAST_SD_MM, part.staple_cv_frac * part.staple_mm)
        before = normal_lengths(mean_mm=part.staple_mm, sd_mm=sd_mm)
        after = (length_after(before, rate_k=k, passes=passes).mean_mm for k in (rate.k, rate.high))
        left.append(LengthLeft(part.name, before.mean_mm, *after))
    return min(left, key=lambda one: one.likely_frac)


def broken_share(lengths: Lengths, *, rate_k: float) -> float:
    """Share of the fibres that were broken at least once [frac]: ``1 - mean exp(-a(l))``."""
    rate = rate_k * (lengths.length_mm / REFERENCE_MM) ** POWER_OF_LENGTH
    return float(1 - np.exp(-rate) @ lengths.number / lengths.number.sum())


def fit_breakage(
    before: Lengths, *, after_mean_mm: float, before_sd_mm: float, n_before: int, n_after: int
) -> BreakRate:
    """Rate of one pass from the mean length before and after, by bisection.

    The ends are those of the difference of the two means (two standard errors); a difference within them is
    not proven, and the low end is then zero.

    Parameters
    ----------
    after_mean_mm, before_sd_mm : float
        Mean length afterwards and standard deviation of single lengths [mm].
    n_before, n_after : int
        Fibres measured, >= 2 each.

    Raises
    ------
    InputError
        Fibre that came out longer than could be chance, or too few fibres.
    """
    if min(n_before, n_after) < 2:
        raise InputError("fibres measured", min(n_before, n_after), "two or more; 200 are good")
    error_mm = PROVEN_ERRORS * before_sd_mm * math.sqrt(1 / n_before + 1 / n_after)
    shorter_mm = before.mean_mm - after_mean_mm
    if shorter_mm < -error_mm:
        raise InputError("mean length after", f"{after_mean_mm:g} mm", "no longer than before")
    low, k, high = (
        _rate_of(before, mean_mm=before.mean_mm - shorter)
        for shorter in (shorter_mm - error_mm, shorter_mm, shorter_mm + error_mm)
    )
    is_proven = shorter_mm > error_mm
    return BreakRate(k, low, high, is_proven, Status.OWN, "" if is_proven else NOT_PROVEN)


def _rate_of(before: Lengths, *, mean_mm: float) -> float:
    if mean_mm >= before.mean_mm:
        return 0.0
    low, high = 0.0, MOST_RATE
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if length_after(before, rate_k=middle).mean_mm > mean_mm:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def scaled_rate(
    reference: BreakRate,
    *,
    speed_ratio: float = 1.0,
    strength_ratio: float = 1.0,
    diameter_ratio: float = 1.0,
) -> BreakRate:
    """A rate carried to another beater speed, staple strength and diameter: a hypothesis.

    ``k = k_ref (v / v_ref)^2 (S_ref / S)^1 (D_ref / D)^2``: impact energy rises with the square of speed,
    breaking load with the square of diameter. Linear in logarithms, so that a mill's own pairs can fit it.
    """
    if min(speed_ratio, strength_ratio, diameter_ratio) <= 0:
        raise InputError("ratio", min(speed_ratio, strength_ratio, diameter_ratio), "above zero")
    factor = (
        speed_ratio**POWER_OF_SPEED / strength_ratio**POWER_OF_STRENGTH / diameter_ratio**POWER_OF_DIAMETER
    )
    note = "carried over by a hypothesis: power 2 of speed, 1 of strength, 2 of diameter"
    return BreakRate(
        factor * reference.k,
        factor * reference.low,
        factor * reference.high,
        reference.is_proven,
        Status.PRACTICE,
        note,
    )


def length_working(before: Lengths, rate: BreakRate, *, passes: int) -> Working:
    """How the mean length after passes came about, marked as the hypothesis that it is."""
    after = length_after(before, rate_k=rate.k, passes=passes)
    return Working(
        title="Mean fibre length after picking",
        formula="breaks at k (length / 100 mm)^2.5 per pass, mid-length most likely; a hypothesis",
        inputs=(
            Term("mean length before", before.mean_mm, "mm"),
            Term("rate k of one pass", rate.k, "", f"{rate.low:.2g} to {rate.high:.2g}"),
            Term("passes", float(passes), ""),
        ),
        result=Term("mean length after", after.mean_mm, "mm"),
        source="roller carding, J-STAGE jte1955, 15/6, p. 214, abstract; for a picker a hypothesis",
        status=rate.status,
        note=rate.note,
    )
