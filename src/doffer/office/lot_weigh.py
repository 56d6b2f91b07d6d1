"""Weigh a lot as it stands, or put a new weighing in the place of a wrong one."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from doffer.errors import InputError, RefusedError
from doffer.mill.commands.weigh import correct_weighing, record_weighing
from doffer.mill.queries.door import last_air
from doffer.mill.queries.lots import OneLot, WeighingRow, is_raw, one_lot
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.readings import Typed, as_typed_mass, first_typed
from doffer.office.run_words import WATER_WORDS
from doffer.people.rights import Right, may

MOMENTS = {
    "intake": "in at the door",
    "skirted": "after skirting",
    "in": "into a machine",
    "out": "out of a machine",
    "waste": "waste",
    "stock": "standing",
}


@require_http_methods(["GET", "HEAD", "POST"])
def weigh(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L010/weigh/`: weigh it as it stands; with `?corrects=12` correct that weighing."""
    lot = one_lot(code)
    wrong = _asked_for(request, lot)
    if request.method != "POST":
        return _page(request, lot, wrong, _first_words(lot, wrong))
    typed = Typed(request.POST.dict(), lot.owner_units)
    reading = typed.reading()
    if wrong is not None:
        typed.needed("reason", "Say in a few words what was wrong, such as “tare forgotten”.")
    if reading is not None and not typed.errors:
        person, key = acting(request), key_of(request)
        try:
            if wrong is not None:
                correct_weighing(person, wrong.id, reading=reading, reason=typed.text("reason"), key=key)
            else:
                location = typed.text("location") or None
                record_weighing(
                    person, lot=code, reading=reading, tag=typed.text("tag"), location=location, key=key
                )
        except InputError as error:
            typed.put(error)
        except RefusedError as refused:
            typed.wrong("__all__", str(refused))
        else:
            return HttpResponseRedirect(reverse("lot_weigh", args=[code]))
    return _page(request, lot, wrong, typed, status=422)


def _asked_for(request: HttpRequest, lot: OneLot) -> WeighingRow | None:
    """The weighing that is to be corrected."""
    asked = request.POST.get("corrects") or request.GET.get("corrects", "")
    return next((row for row in lot.weighings if str(row.id) == asked), None)


def _first_words(lot: OneLot, wrong: WeighingRow | None) -> Typed:
    """What stands in the fields at first: the room of today, or what was written down before."""
    system = lot.owner_units
    if wrong is None:
        return first_typed(last_air(), system)
    words = {
        "gross": as_typed_mass(wrong.gross_g, system),
        "tare": as_typed_mass(wrong.tare_g, system) if wrong.tare_g else "",
        "branch": wrong.branch,
    }
    if wrong.rh_frac is not None:
        words["rh"] = f"{wrong.rh_frac * 100:.0f}"
    return Typed(words, system)


def _page(
    request: HttpRequest, lot: OneLot, wrong: WeighingRow | None, typed: Typed, *, status: int = 200
) -> HttpResponse:
    page = {
        "here": "lots",
        "lot": lot,
        "wrong": wrong,
        "typed": typed,
        "system": lot.owner_units,
        "water_words": WATER_WORDS,
        "water": typed.text("branch") or "desorption",
        "is_raw": is_raw(lot.row.form),
        "moments": MOMENTS,
        "key": typed.text("key") or fresh_key(),
        "may_write": may(acting(request), Right.WEIGH),
    }
    return render(request, "office/weigh_lot.html", page, status=status)


urlpatterns = [path("lots/<str:code>/weigh/", weigh, name="lot_weigh")]
