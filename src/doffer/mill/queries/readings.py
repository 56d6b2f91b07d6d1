"""Colour readings of a lot, a load, a standard or a trial card, and the colour a lot counts as having."""

from __future__ import annotations

from django.db.models import QuerySet

from doffer.mill.models import ColourReading
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.mill.sittings import Sitting, sittings

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


def colour_of_lot(lot: str) -> Sitting | None:
    """What a lot counts as: its newest dry sitting by an instrument."""
    return next((one for one in lot_sittings(lot) if one.is_measured), None)


def _newest(readings: QuerySet[ColourReading]) -> tuple[Sitting, ...]:
    series = list(dict.fromkeys(readings.order_by("-id").values_list("series", flat=True)[:MOST_TUFTS_READ]))
    found = sittings(readings.filter(series__in=series[:ROWS_A_PAGE]))
    return tuple(sorted(found, key=lambda one: one.turn, reverse=True))
