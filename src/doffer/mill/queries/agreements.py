"""What an owner agreed to, as it was written down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from doffer.mill.agreed import HOW, agreement_keys
from doffer.mill.models import Deed


@dataclass(frozen=True, slots=True)
class AgreementRow:
    """One yes: to which plan, what that promised, who said it, how and when, and who wrote it down."""

    version: int
    words: str
    said_by: str
    how: str
    on: date
    promised_on: date | None
    note: str
    written_at: datetime
    written_by: str


def agreements_of(order: str) -> tuple[AgreementRow, ...]:
    """Every yes to an order, newest first; one query."""
    kept = Deed.objects.filter(key__in=agreement_keys(order)).order_by("-pk")
    return tuple(
        AgreementRow(
            version=result["version"],
            words=result["words"],
            said_by=result["said_by"],
            how=HOW[result["how"]],
            on=date.fromisoformat(result["on"]),
            promised_on=date.fromisoformat(result["promised_on"]) if result["promised_on"] else None,
            note=result["note"],
            written_at=at,
            written_by=name,
        )
        for result, at, name in kept.values_list("result", "done_at", "person__name")
    )
