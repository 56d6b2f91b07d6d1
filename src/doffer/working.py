"""Working: how a figure came about, made where the figure is computed and shown by one template.

A `Working` says what the figure is, the formula in words and symbols, the inputs with their units, the
result, and where the rule comes from. Workings nest: a yarn mass opens into its stages, a stage into its
loss.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """How far a number or a rule can be trusted."""

    SOURCE = "source"  # read in the publication that is named
    MEMORY = "memory"  # a publication is named, but it was not read again: unverified
    PRACTICE = "practice"  # common practice of the trade, no source
    COMPUTED = "computed"  # arithmetic from exact definitions or from other figures
    OWN = "own"  # the mill's own measurement, setting or override


STATUS_WORDS = {
    Status.SOURCE: "published",
    Status.MEMORY: "from memory, unverified",
    Status.PRACTICE: "common practice, no source",
    Status.COMPUTED: "computed",
    Status.OWN: "the mill's own figure",
}


def percent(share: float, *, digits: int = 0) -> str:
    """A share as it is written everywhere: 0.1 is "10 %", with a narrow space that does not break.

    >>> percent(0.1764, digits=1)
    '17.6\u202f%'
    """
    return f"{100 * share:.{digits}f}\u202f%"


@dataclass(frozen=True, slots=True)
class Term:
    """One number of a working: its name, its value in base units, and where it came from.

    `unit` is one of the unit words of `pictures.wording` ("g", "frac", "tex", "um", "m", "min", "" ...).
    """

    name: str
    value: float | str
    unit: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Working:
    """What was computed, from what, how, and on whose word."""

    title: str
    formula: str
    inputs: tuple[Term, ...]
    result: Term
    source: str
    status: Status
    note: str = ""
    parts: tuple[Working, ...] = ()
