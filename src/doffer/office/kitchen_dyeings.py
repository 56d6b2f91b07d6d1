"""Dyeings: what went into each kettle, the tufts of every load, and which loads differ."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import DofferError
from doffer.exchange.readings import typed_tufts
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.fibre.colour.verdict import Formula
from doffer.fibre.colour.words import difference_words
from doffer.mill import clock
from doffer.mill.commands.dyeing_undone import take_back_dyeing
from doffer.mill.commands.readings import Seen, record_readings
from doffer.mill.queries import kitchen
from doffer.mill.queries.kettles import kettles
from doffer.mill.queries.kitchen import LoadRow, OneDyeing
from doffer.mill.queries.shades import StandardRow, one_shade
from doffer.mill.sittings import Sitting
from doffer.office import kitchen_card as view
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon
from doffer.pictures.tuft_map import TuftSpot, tuft_map
from doffer.pictures.words import say_list

SECONDS_PER_MIN = 60
TELLABLE_DE = 0.5  # two readings of one tuft differ by as much
FIRST_LIGHT = "D65"


@dataclass(frozen=True, slots=True)
class LoadSeen:
    """A load with its newest dry reading held against the standard in its formula: how far, words, patch."""

    row: LoadRow
    sitting: Sitting | None
    swatch: str
    de: float | None
    words: tuple[str, ...]


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/kitchen/dyeings/`: newest first."""
    shade, lot = request.GET.get("shade", ""), request.GET.get("lot", "").upper()
    after = number_after(request, "after")
    found = kitchen.dyeings(shade=shade, lot=lot, after=after)
    kept = {k: v for k, v in {"shade": shade, "lot": lot, "after": found.next_after or ""}.items() if v}
    context = {
        "here": "shades",
        "found": found,
        "shade": shade,
        "lot": lot,
        "first_page": after is None,
        "next_page": f"{reverse('dyeings')}?{urlencode(kept)}" if found.next_after else "",
    }
    return render(request, "office/kitchen_dyeings.html", context)


@require_safe
def one(request: HttpRequest, number: int) -> HttpResponse:
    """`/kitchen/dyeings/3/`."""
    return _shown(request, kitchen.one_dyeing(number))


def _shown(
    request: HttpRequest, found: OneDyeing, *, wrong: dict[str, str] | None = None, status: int = 200
) -> HttpResponse:
    standard = one_shade(found.row.shade).standard
    seen = tuple(_seen(load, standard) for load in found.loads)
    undone = found.row.undone
    now_min = (clock.now() - found.row.begun_at).total_seconds() / SECONDS_PER_MIN
    course = view.course_of(found.recipe, units_of(request), now_min)
    is_on = undone is None and course is not None and 0 <= now_min <= course.minutes
    person = acting(request)
    context: dict[str, Any] = {
        "here": "shades",
        "dyeing": found,
        "row": found.row,
        "recipe": found.recipe,
        "loads": seen,
        "map": _map(found, seen, standard),
        "differences": differences(seen, standard),
        "together": together_words(seen, standard),
        "course": course,
        "is_on": is_on,
        "unsure": unsure(seen, standard, is_on=is_on),
        "step_now": _step_now(course, now_min),
        "kettles": {row.code: row for row in kettles()},
        "standard": standard,
        "bench": reverse("bench")
        + "?"
        + urlencode({"want": "together", "shade": found.row.shade, "lot": found.row.lot}),
        "run": f"{reverse('run_new')}?{urlencode({'stage': 'dye', 'lot': found.row.lot})}",
        "may_read": undone is None and may(person, Right.READ_COLOUR),
        "may_run": may(person, Right.RUN),
        "may_undo": undone is None and may(person, Right.KITCHEN),
        "key": request.POST.get("key") or fresh_key(),
        "typed": request.POST,
        "errors": wrong or {},
        "keys": {load.id: fresh_key() for load in found.loads},
        "readings": {load.id: _readings_address(found.row.lot, load.id) for load in found.loads},
    }
    return render(request, "office/kitchen_dyeing.html", context, status=status)


def _readings_address(lot: str, load: int) -> str:
    """Where files of the instrument are read for a load, where that page exists."""
    try:
        return f"{reverse('lot_colour', args=[lot])}?load={load}"
    except NoReverseMatch:
        return ""


def _step_now(course: view.Course | None, now_min: float) -> tuple[int, float] | None:
    """Which step the bath should be in, and how many minutes of it are left."""
    for number, part in enumerate(course.line if course else (), start=1):
        if part.start_min <= now_min < part.end_min:
            return number, part.end_min - now_min
    return None


def _apart(standard: StandardRow, first: Floats, other: Floats) -> float:
    """Difference in the formula of the tolerance, so that both can be held against each other."""
    return float((de_cmc if standard.formula == Formula.CMC else de2000)(first, other))


def _seen(load: LoadRow, standard: StandardRow) -> LoadSeen:
    sitting = next((one for one in load.sittings if one.is_measured), None)
    if sitting is None or FIRST_LIGHT not in sitting.labs or FIRST_LIGHT not in standard.labs:
        return LoadSeen(load, sitting, "", None, ())
    wanted, made = np.array(standard.labs[FIRST_LIGHT]), np.array(sitting.labs[FIRST_LIGHT])
    patch = tuft_icon(
        f"load {load.number}", fibre_hex(*sitting.lab), size=56, label=f"load {load.number}, approximate"
    )
    de = _apart(standard, wanted, made)
    words = difference_words(wanted, made, least_de=TELLABLE_DE)
    return LoadSeen(load, sitting, patch, de, words)


def _map(found: OneDyeing, loads: tuple[LoadSeen, ...], standard: StandardRow) -> str:
    """Every tuft of the newest dry readings around the standard; "" before one was read."""
    if FIRST_LIGHT not in standard.labs:
        return ""
    wanted = np.array(standard.labs[FIRST_LIGHT])
    spots = [
        _spot(one.row.number, standard, wanted, np.array(tuft.labs[FIRST_LIGHT]))
        for one in loads
        if one.sitting is not None
        for tuft in one.sitting.tufts
        if tuft.corrected_by is None and FIRST_LIGHT in tuft.labs
    ]
    if not spots:
        return ""
    return tuft_map(
        spots, standard_fill=fibre_hex(*standard.lab), pass_de=standard.pass_de, name=found.row.shade_name
    )


def _spot(load: int, standard: StandardRow, wanted: Floats, made: Floats) -> TuftSpot:
    off = made - wanted
    return TuftSpot(load, _apart(standard, wanted, made), float(off[1]), float(off[2]), fibre_hex(*made))


def differences(loads: tuple[LoadSeen, ...], standard: StandardRow) -> tuple[str, ...]:
    """Sentences for every two loads that lie further apart than the shade's tolerance."""
    read = [one for one in loads if one.sitting is not None and one.de is not None]
    told = []
    for place, first in enumerate(read):
        for other in read[place + 1 :]:
            one, two = (np.array(x.sitting.labs[FIRST_LIGHT]) for x in (first, other) if x.sitting)
            apart = _apart(standard, one, two)
            if apart > standard.pass_de:
                ways = say_list(difference_words(one, two))
                told.append(
                    f"Load {other.row.number} is {apart:.1f} away from load {first.row.number}"
                    f"{f': {ways}' if ways else ''}."
                )
    return tuple(told)


def unsure(loads: tuple[LoadSeen, ...], standard: StandardRow, *, is_on: bool) -> dict[int, str]:
    """By number of a load that was read, what is still to be done before its reading counts."""
    told: dict[int, str] = {}
    for one in loads:
        if one.sitting is None or one.de is None:
            continue
        n_tufts, most_de = one.sitting.n_tufts, one.sitting.most_de
        if is_on:
            told[one.row.id] = "it is in the bath yet: read it again when it is rinsed and dry"
        elif n_tufts < LOAD_TUFTS:
            told[one.row.id] = (
                f"by {n_tufts} of the {LOAD_TUFTS} tufts asked: read the others, from other places"
            )
        elif most_de is not None and most_de > standard.pass_de:
            told[one.row.id] = f"its tufts lie up to {most_de:.1f} from their mean: read more of them"
    return told


LOAD_TUFTS = 5


def together_words(loads: tuple[LoadSeen, ...], standard: StandardRow) -> str:
    """One sentence over all loads: not read, alike, or some that differ."""
    unread = [str(one.row.number) for one in loads if one.de is None]
    if len(unread) == len(loads):
        return "No load was read yet: take five dry tufts from each."
    if unread:
        return f"Load {say_list(unread)} was not read yet: loads cannot be compared before."
    if len(loads) == 1:
        return ""
    if differences(loads, standard):
        return "The loads differ: mixed as they are they may card into stripes."
    return f"All loads lie within {standard.pass_de:g} of each other: they may go on as one."


@require_POST
def tufts(request: HttpRequest, number: int, load: int) -> HttpResponse:
    """Five tufts of one load, typed as L, a and b."""
    found = kitchen.one_dyeing(number)
    field = f"tufts_{load}"
    try:
        standard = one_shade(found.row.shade).standard
        seen = Seen(
            tufts=typed_tufts(request.POST.get(field, "")),
            form=standard.pad.form,
            is_wet=request.POST.get("wet") == "yes",
            is_behind_glass=standard.pad.is_behind_glass,
            geometry=request.POST.get("geometry", standard.pad.geometry).strip()[:20],
            observer_deg=standard.pad.observer_deg,
        )
        record_readings(acting(request), seen=seen, lot=found.row.lot, load=load, key=key_of(request))
    except DofferError as refused:
        return _shown(request, found, wrong={field: str(refused)}, status=422)
    return redirect("dyeing", number=number)


@require_POST
def undo(request: HttpRequest, number: int) -> HttpResponse:
    """It was written down and not done: it counts no more."""
    try:
        take_back_dyeing(acting(request), number, reason=request.POST.get("reason", ""), key=key_of(request))
    except DofferError as refused:
        found = kitchen.one_dyeing(number)
        return _shown(request, found, wrong={"reason": str(refused)}, status=422)
    return redirect("dyeing", number=number)


urlpatterns = [
    path("kitchen/dyeings/", list_page, name="dyeings"),
    path("kitchen/dyeings/<int:number>/", one, name="dyeing"),
    path("kitchen/dyeings/<int:number>/undo/", undo, name="dyeing_undo"),
    path("kitchen/dyeings/<int:number>/loads/<int:load>/", tufts, name="dyeing_tufts"),
]
