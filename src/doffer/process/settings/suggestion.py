"""One suggestion for one setting of a machine."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.process.stage import Caution
from doffer.working import Status

SUGGEST_ONLY = (
    "Suggestions only: nothing is written to a machine. The machine's manual and the person at it rule."
)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to set, within which range, why, and on whose word.

    Parameters
    ----------
    setting : str
        Key as in table run_settings ("beater", "draft", "twist", "ratch" ...), or of table settings.
    low, value, high : float or None
        Usual range and what is suggested; None where there is no figure.
    unit : str
        Unit word of `pictures.wording`; empty where there is no figure.
    reason, source : str
    status : Status
    words : str
        What is set where no figure says it ("first workers wide"), or beside the figure ("slow", "33 teeth").
    run : str
        Number of the own run it comes from; empty: not from a run.
    """

    setting: str
    low: float | None
    value: float | None
    high: float | None
    unit: str
    reason: str
    source: str
    status: Status
    words: str = ""
    run: str = ""


@dataclass(frozen=True, slots=True)
class SettingsCard:
    """All suggestions of a stage, the machine, what to mind, and that they are suggestions."""

    stage: str
    machine: str
    suggestions: tuple[Suggestion, ...]
    cautions: tuple[Caution, ...]
    note: str = SUGGEST_ONLY

    def of(self, setting: str) -> Suggestion | None:
        """The suggestion for one setting; None where there is none."""
        return next((one for one in self.suggestions if one.setting == setting), None)
