"""Which sample blends a fit takes of itself: the page, the terminal and the fit itself ask here."""

from __future__ import annotations

from collections.abc import Sequence

from doffer.mill.models import MixingFit, SampleBlend
from doffer.mill.models.colour import ReadingKind


def read_again(newest_first: Sequence[SampleBlend]) -> frozenset[int]:
    """Numbers of readings of a trial card that was read once more later: the newest one counts."""
    cards: set[int] = set()
    older: set[int] = set()
    for row in newest_first:
        if row.recipe_id is None:
            continue
        if row.recipe_id in cards:
            older.add(row.pk)
        cards.add(row.recipe_id)
    return frozenset(older)


def teaching(newest_first: Sequence[SampleBlend], fit: MixingFit | None) -> list[SampleBlend]:
    """The samples a fit takes when nobody names any: those of the fit that counts, and what came after it.

    What was left out of that fit stays out. One known from L, a and b under one light says nothing of the
    constant, and of a card read twice the newest reading counts.
    """
    older = read_again(newest_first)
    return [row for row in newest_first if row.pk not in older and _teaches(row, fit)]


def _teaches(row: SampleBlend, fit: MixingFit | None) -> bool:
    if fit is not None and (row.pk in fit.samples or row.made_at <= fit.fitted_at):
        return row.pk in fit.samples
    return row.kind != ReadingKind.LAB
