"""Holds: what is stopped now, and one of them."""

from __future__ import annotations

from doffer.errors import NotFoundError
from doffer.mill.models import Hold
from doffer.mill.queries.lots import HoldRow, hold_rows
from doffer.mill.queries.pages import ROWS_A_PAGE


def open_holds() -> tuple[HoldRow, ...]:
    """What is stopped now, the oldest first, fifty at most; one query."""
    return hold_rows(Hold.objects.filter(cleared_at=None).order_by("pk")[:ROWS_A_PAGE])


def cleared_holds() -> tuple[HoldRow, ...]:
    """The fifty that were cleared last; one query."""
    return hold_rows(Hold.objects.exclude(cleared_at=None).order_by("-cleared_at")[:ROWS_A_PAGE])


def one_hold(hold_id: int) -> HoldRow:
    """One hold; NotFoundError when there is none of this number."""
    found = hold_rows(Hold.objects.filter(pk=hold_id))
    if not found:
        raise NotFoundError("hold", hold_id, "Open the list of holds and choose it there")
    return found[0]
