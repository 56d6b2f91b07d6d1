"""How risky a yarn is to spin, and how soft it will be, each with its reasons in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.planning.yarn.spin_lot import SpinLot
from doffer.process.yarn.limits import FewestFibres, LengthGate, Verdict, worse
from doffer.tables.loader import Tables
from doffer.working import percent


class RiskLevel(StrEnum):
    """How likely trouble is, the least first."""

    LOW = "low"
    SOME = "some"
    HIGH = "high"
    TOO_HIGH = "cannot be spun"


@dataclass(frozen=True, slots=True)
class Risk:
    """Level, and why in sentences; none when nothing speaks against it."""

    level: RiskLevel
    reasons: tuple[str, ...]


def order_of_risk(risk: Risk) -> int:
    """Place of a risk from the least, 0, to what cannot be spun, 3."""
    return list(RiskLevel).index(risk.level)


def risk_of(
    fewest: FewestFibres, gate: LengthGate, apart: tuple[str, ...], *, fibres: float, is_tender: bool
) -> Risk:
    """Risk of spinning a single of so many fibres across.

    Too few fibres or too short a staple: cannot be spun. Between the fewest that hold and those that run
    well, or staple at the edge: high. Tender fibre or lots far apart: some, on top of a yarn that would run.

    Parameters
    ----------
    fewest, gate
        Limits of the way of spinning for this fibre; common practice until the mill's own breaks say better.
    apart : tuple of str
        What is said of lots far apart in diameter or staple.
    fibres : float
        Across a single at the front roll.
    is_tender : bool
    """
    reasons = []
    by_fibres = fewest.verdict(fibres)
    if by_fibres is not Verdict.OK:
        limit = fewest.hard if by_fibres is Verdict.NO else fewest.comfortable
        what = "hold together" if by_fibres is Verdict.NO else "run well"
        reasons.append(f"About {fibres:.0f} fibres across a single where {limit:.0f} {what}.")
    if gate.verdict is not Verdict.OK:
        reasons.append(f"Staple: {gate.reason}.")
    if is_tender:
        reasons.append("The staple is tender: it breaks in the card and the frame.")
    reasons += [f"{said}." for said in apart]
    worst = worse(by_fibres, gate.verdict)
    level = {Verdict.NO: RiskLevel.TOO_HIGH, Verdict.MARGINAL: RiskLevel.HIGH}.get(worst)
    if level is None:
        level = RiskLevel.SOME if reasons else RiskLevel.LOW
    return Risk(level, tuple(reasons))


@dataclass(frozen=True, slots=True)
class Softness:
    """What makes a yarn soft: fine fibre [um], few coarse ends [frac by length], little twist [rad]."""

    diameter_um: float
    coarse_frac: float | None
    angle_rad: float
    twist_words: str

    @property
    def words(self) -> str:
        """In words of the mill."""
        coarse = "" if self.coarse_frac is None else f", {percent(self.coarse_frac)} coarse ends"
        return f"{self.diameter_um:.1f} µm{coarse}, {self.twist_words} twist"


def softness_of(lot: SpinLot, tables: Tables, *, angle_rad: float) -> Softness:
    """Softness by fibre and by the angle of the outer fibres of a single.

    Twist is called by the nearest of the hand-spinners' angles of table twist (soft 5 to 10, medium 20, hard
    30 to 35 degrees).
    """
    angle_deg = math.degrees(angle_rad)
    words = min(TWIST_WORDS, key=lambda word: abs(_guide_deg(tables, word) - angle_deg))
    return Softness(lot.fibre.diameter_um, lot.coarse_frac, angle_rad, words)


TWIST_WORDS = ("soft", "medium", "hard")


def _guide_deg(tables: Tables, word: str) -> float:
    """Middle of the angles that are called so."""
    row = tables.twist[f"guide/{word}/angle_deg"]
    ends = [end for end in (row.low, row.value, row.high) if end is not None]
    return sum(ends) / len(ends)
