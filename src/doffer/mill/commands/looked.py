"""A bag nobody has looked into goes through no machine and into no store: moth would go along."""

from __future__ import annotations

from collections.abc import Iterable

from doffer.mill.booking import QuestionError
from doffer.mill.models import Lot
from doffer.mill.models.lots import Pest


class NobodyLookedError(QuestionError):
    """Asked until somebody has looked: `check_for_pests` is the answer, a word alone is none."""

    def __init__(self, act: str, lots: Iterable[str]) -> None:
        self.lots = tuple(lots)
        reasons = tuple(f"Nobody has looked for moth in {code} yet" for code in self.lots)
        super().__init__(act, reasons, "Look now, and say what you saw")


def ask_who_looked(lots: Iterable[Lot], act: str) -> None:
    """Raise NobodyLookedError for lots that were never looked at for moth."""
    unseen = [lot.code for lot in lots if lot.pest == Pest.UNCHECKED]
    if unseen:
        raise NobodyLookedError(act, unseen)
