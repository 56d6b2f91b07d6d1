"""Colour readings of a lot, a load, a standard or a trial card, and the colour a lot counts as having."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from doffer.errors import NotFoundError
from doffer.mill.colours import Pad
from doffer.mill.dyed import dyeings_of
from doffer.mill.models import ColourReading, Lot
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.mill.sittings import ReadingRow, Sitting, newest_like, of_lot, sittings

MOST_TUFTS_READ = 4 * ROWS_A_PAGE


def lot_sittings(lot: str) -> tuple[Sitting, ...]:
    """Sittings of a lot, newest first; two queries."""
    return _newest(ColourReading.objects.filter(lot__code=lot))


def load_sittings(load: int) -> tuple[Sitting, ...]:
    """Sittings of one dye load, newest first."""
    return _newest(ColourReading.objects.filter(load_id=load))


def standard_sittings(shade: str) -> tuple[Sitting, ...]:
    """Sittings of the physical standard of a shade, newest first."""
    return _newest(ColourReading.objects.filter(standard__shade__code=shade))


def trial_sittings(recipe: str) -> tuple[Sitting, ...]:
    """Sittings of the trial cards of a blend recipe, newest first."""
    return _newest(ColourReading.objects.filter(recipe__code=recipe))


def colour_of_lot(lot: str, pad: Pad | None = None) -> Sitting | None:
    """What a lot counts as: the newest dry sitting by an instrument that tells of all of it.

    Of sittings of several kinds the newest that was read like `pad`, where there is one.
    """
    return counting_of(lot_sittings(lot), pad)


def counting_of(found: Sequence[Sitting], pad: Pad | None = None) -> Sitting | None:
    """Of the sittings of one lot the one it counts as; see `colour_of_lot`."""
    pk = Lot.objects.filter(code=found[0].lot).values_list("pk", flat=True).first() if found else None
    if pk is None:
        return None
    told = of_lot(found, dyeings_of([pk]).get(pk, ()))
    return newest_like({pk: told}, pad)[pk] if told else None


def batch_sittings(batch: int) -> tuple[Sitting, ...]:
    """Sittings of a batch that has no lot, newest first."""
    return _newest(ColourReading.objects.filter(batch_id=batch))


@dataclass(frozen=True, slots=True)
class OneReading:
    """One tuft with its sitting and what it is of: `name` says it in words, the others by number or ""."""

    tuft: ReadingRow
    sitting: Sitting
    name: str
    lot: str
    shade: str
    recipe: str


def one_reading(reading_id: int) -> OneReading:
    """One reading by its number; two queries.

    Raises
    ------
    NotFoundError
        There is none.
    """
    row = (
        ColourReading.objects.select_related("lot", "standard__shade", "batch__version__shade", "recipe")
        .filter(pk=reading_id)
        .first()
    )
    if row is None:
        raise NotFoundError("colour reading", reading_id, "Open the lot or the shade and choose it there")
    sitting = sittings(ColourReading.objects.filter(series=row.series))[0]
    version = row.standard or (row.batch.version if row.batch else None)
    things = (row.lot and row.lot.code, row.batch and row.batch.label, row.recipe and row.recipe.code)
    name = next(
        (str(thing) for thing in things if thing), f"the standard of {version.shade.name}" if version else ""
    )
    return OneReading(
        tuft=next(tuft for tuft in sitting.tufts if tuft.id == row.pk),
        sitting=sitting,
        name=name,
        lot=row.lot.code if row.lot else "",
        shade=version.shade.code if version else "",
        recipe=row.recipe.code if row.recipe else "",
    )


def _newest(readings: QuerySet[ColourReading]) -> tuple[Sitting, ...]:
    series = list(dict.fromkeys(readings.order_by("-id").values_list("series", flat=True)[:MOST_TUFTS_READ]))
    found = sittings(readings.filter(series__in=series[:ROWS_A_PAGE]))
    return tuple(sorted(found, key=lambda one: one.turn, reverse=True))
