"""Is a batch on shade: a measured colour against its standard, with the tolerance of the product."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.errors import InputError, RefusedError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.chart import Sketch
from doffer.fibre.colour.difference import Formula, apart
from doffer.fibre.colour.words import difference_words
from doffer.tables.loader import Tables

__all__ = ["Formula", "Judgement", "Tolerance", "Verdict", "judge", "usual_tolerance"]


class Verdict(StrEnum):
    """On shade, for a person to decide, or off shade."""

    PASS = "pass"  # noqa: S105 - a verdict, not a secret
    ASK = "ask"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Up to `pass_de` on shade, up to `ask_de` a person decides, by a formula (CMC is l:c = 2:1)."""

    formula: Formula
    pass_de: float
    ask_de: float

    def __post_init__(self) -> None:
        if not 0 < self.pass_de <= self.ask_de:
            raise InputError("tolerance", f"{self.pass_de:g} and {self.ask_de:g}", "above zero and rising")


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict, the difference behind it and what it looks like in words."""

    verdict: Verdict
    de: float
    words: tuple[str, ...]


def usual_tolerance(tables: Tables) -> Tolerance:
    """CMC(2:1) up to 1 passes, up to 1.5 asks (table constants; common practice)."""
    constants = tables.constants
    return Tolerance(Formula.CMC, constants["shade_pass_cmc"].value, constants["shade_ask_cmc"].value)


def judge(standard: Floats, sample: Floats | Sketch, tolerance: Tolerance) -> Judgement:
    """Verdict on a measured sample, shape (3,) each, the standard first.

    Raises
    ------
    RefusedError
        The sample is a sketch from a photograph, which may be off by more than any tolerance.
    """
    if isinstance(sample, Sketch):
        reason = f"a photograph may be off by {sample.off_low_de:g} to {sample.off_high_de:g}"
        raise RefusedError("Passing or failing by a photograph", (reason,), "Measure the fibre")
    de = float(apart(standard, np.asarray(sample), tolerance.formula))
    verdict = (
        Verdict.PASS if de <= tolerance.pass_de else Verdict.ASK if de <= tolerance.ask_de else Verdict.FAIL
    )
    return Judgement(verdict, de, difference_words(standard, np.asarray(sample)))
