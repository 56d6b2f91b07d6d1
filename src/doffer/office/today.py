"""Today: what the day begins with."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from doffer.mill.queries import today
from doffer.office import today_words
from doffer.office.asked import units_of
from doffer.pictures import strand
from doffer.pictures.colour import fibre_hex
from doffer.pictures.tuft import Tuft

STORE = "store"
MOST_WORRIES = 16  # more than anybody can mend in a day


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """The morning page; the first day of a mill without fibre and orders has a page of its own."""
    seen = today.today()
    if is_first_day(seen):
        return render(request, "office/today_first.html", {"here": "today"})
    units = units_of(request)
    line = [row for row in seen.places if row.place != STORE]
    drawn = [_place(row) for row in line]
    worries = today_words.worries(seen, units=units)
    context = {
        "here": "today",
        "seen": seen,
        "sentences": today_words.morning(seen, units=units),
        "worries": worries[:MOST_WORRIES],
        "more_worries": len(worries) - MOST_WORRIES,
        "tasks": today_words.next_tasks(seen),
        "line": line,
        "store": next((row for row in seen.places if row.place == STORE), None),
        "strand_wide": strand.strand(drawn, system=units),
        "strand_tall": strand.strand_tall(drawn, system=units),
    }
    return render(request, "office/today.html", context)


def is_first_day(seen: today.Today) -> bool:
    """Nothing has come in, nothing was asked for, nothing was run."""
    has_fibre = any(row.n_lots for row in seen.places)
    return not (has_fibre or seen.n_open_orders or seen.running or seen.finished or seen.holds)


def _place(row: today.PlaceRow) -> strand.Place:
    tufts = tuple(
        Tuft(
            code=lot.code,
            mass_g=lot.mass_g,
            colour=fibre_hex(*(lot.lab or (None, None, None))),
            href=f"/lots/{lot.code}/",
            note=f"{lot.colour_name} {lot.breed or lot.fibre}, {lot.owner_name}".strip(),
            is_held=lot.is_held,
        )
        for lot in row.lots
    )
    return strand.Place(row.name, tufts, mass_g=row.mass_g, href=f"/lots/?place={row.place}")


urlpatterns = [
    path("", page, name="today"),
]
