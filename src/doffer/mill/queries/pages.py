"""A page of rows: at most fifty, and where the next begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

ROWS_A_PAGE = 50
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """Rows and the cursor of the next page; None when these are the last."""

    rows: tuple[Row, ...]
    next_after: int | None


def page_of(found: Sequence[tuple[int, Row]]) -> Page[Row]:
    """A page from up to fifty-one (cursor, row) pairs."""
    shown = found[:ROWS_A_PAGE]
    more = len(found) > ROWS_A_PAGE
    return Page(tuple(row for _, row in shown), shown[-1][0] if more else None)
