"""Weigh a lot as it stands, or put a new weighing in the place of a wrong one."""

from __future__ import annotations

from dataclasses import replace

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from doffer.errors import InputError, RefusedError
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.weigh import correct_weighing, record_weighing
from doffer.mill.queries.door import last_air, oil_on
from doffer.mill.queries.lots import OneLot, WeighingRow, is_raw, one_lot
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.readings import Typed, as_typed_mass, as_typed_small_mass, first_typed, scale_units
from doffer.office.run_words import WATER_WORDS
from doffer.people.rights import Right, may
from doffer.pictures.wording import say

MOMENTS = {
    "intake": "in at the door",
    "skirted": "after skirting",
    "in": "into a machine",
    "out": "out of a machine",
    "waste": "waste",
    "stock": "standing",
}
AS_BEFORE = "as_before"
ROOM_BRANCHES = ("desorption", "absorption")


@require_http_methods(["GET", "HEAD", "POST"])
def weigh(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L010/weigh/`: weigh it as it stands; with `?corrects=12` correct that weighing."""
    lot = one_lot(code)
    wrong = _asked_for(request, lot)
    first = _first_words(wrong, _oil_now(lot, wrong))
    if request.method != "POST":
        return _page(request, lot, wrong, first)
    typed = Typed(request.POST.dict(), scale_units())
    question = ""
    reading = _reading(typed, first, lot, wrong)
    if wrong is not None:
        typed.needed("reason", "Say in a few words what was wrong, such as “tare forgotten”.")
    if reading is not None and not typed.errors:
        try:
            _write_down(request, typed, first, reading, lot=code, wrong=wrong)
        except QuestionError as asked:
            question = str(asked)
        except InputError as error:
            typed.put(error)
        except RefusedError as refused:
            typed.wrong("__all__", str(refused))
        else:
            return HttpResponseRedirect(reverse("lot_weigh", args=[code]))
    return _page(request, lot, wrong, typed, question=question, status=422)


def _write_down(
    request: HttpRequest,
    typed: Typed,
    first: Typed,
    reading: Reading,
    *,
    lot: str,
    wrong: WeighingRow | None,
) -> None:
    """Keep the weighing, or put it in the place of the wrong one."""
    person, key, why = acting(request), key_of(request), typed.text("confirmation")
    is_oil_said = typed.is_said("oil")
    if wrong is None:
        record_weighing(
            person,
            lot=lot,
            reading=reading,
            tag=typed.text("tag"),
            location=typed.text("location") or None,
            is_oil_said=is_oil_said,
            confirmation=why,
            key=key,
        )
        return
    correct_weighing(
        person,
        wrong.id,
        reading=reading,
        reason=typed.text("reason"),
        keeps_water=_keeps_water(typed, first, wrong),
        is_oil_said=is_oil_said,
        confirmation=why,
        key=key,
    )


def _reading(typed: Typed, first: Typed, lot: OneLot, wrong: WeighingRow | None) -> Reading | None:
    """What was typed; a figure left as it stood at first is the exact one, not that on the screen."""
    oil_g = typed.small_mass_g("oil", "conditioner on the fibre") or 0.0
    branch = typed.text("branch")
    if wrong is not None and branch in ("", AS_BEFORE):
        branch = wrong.branch if wrong.branch in ROOM_BRANCHES else "desorption"
    reading = typed.reading(branch=branch)
    if reading is None:
        return None
    exact = {"oil": ("finish_g", _oil_now(lot, wrong))}
    if wrong is not None:
        exact |= {"gross": ("gross_g", wrong.gross_g), "tare": ("tare_g", wrong.tare_g)}
    same = {
        name: figure
        for field, (name, figure) in exact.items()
        if typed.text(field) and typed.text(field) == first.text(field)
    }
    try:
        return replace(reading, **{"finish_g": oil_g, **same})
    except InputError as error:
        typed.put(error)
        return None


def _keeps_water(typed: Typed, first: Typed, wrong: WeighingRow) -> bool:
    """Whether the water stays known as it was: nothing else was chosen, and no other humidity of the room."""
    if typed.text("branch") not in ("", AS_BEFORE):
        return False
    is_same_room = typed.text("rh") in ("", first.text("rh"))
    return is_same_room or wrong.branch not in ROOM_BRANCHES


def _oil_now(lot: OneLot, wrong: WeighingRow | None) -> float:
    """Oil and finish [g] on the lot, or on what was weighed wrong."""
    return oil_on(lot.row.code) if wrong is None else wrong.finish_g


def _asked_for(request: HttpRequest, lot: OneLot) -> WeighingRow | None:
    """The weighing that is to be corrected."""
    asked = request.POST.get("corrects") or request.GET.get("corrects", "")
    return next((row for row in lot.weighings if str(row.id) == asked), None)


def _first_words(wrong: WeighingRow | None, oil_g: float) -> Typed:
    """What stands in the fields at first: the room of today, or what was written down before."""
    system = scale_units()
    oil = {"oil": as_typed_small_mass(oil_g, system)} if oil_g else {}
    if wrong is None:
        return first_typed(last_air(), system, **oil)
    words = {
        **oil,
        "gross": as_typed_mass(wrong.gross_g, system),
        "tare": as_typed_mass(wrong.tare_g, system) if wrong.tare_g else "",
        "branch": AS_BEFORE,
    }
    if wrong.rh_frac is not None:
        words["rh"] = f"{wrong.rh_frac * 100:.0f}"
    return Typed(words, system)


def _as_before(wrong: WeighingRow) -> tuple[str, str, str]:
    """The choice that leaves the water as it was known, in words."""
    if wrong.branch == "wet":
        return AS_BEFORE, "As it was written down", "still wet"
    regain = wrong.actual_regain_frac
    water = f"{say(regain, 'frac', digits=1)} water over dry fibre" if regain else ""
    how = {"measured": "measured, or by a reference hank"}.get(wrong.branch, "by the humidity of the room")
    if wrong.branch != "measured" and wrong.rh_frac is None:
        how = "nobody read the humidity of the room"
    return AS_BEFORE, "As it was written down", ", ".join(filter(None, (how, water)))


def _page(
    request: HttpRequest,
    lot: OneLot,
    wrong: WeighingRow | None,
    typed: Typed,
    *,
    question: str = "",
    status: int = 200,
) -> HttpResponse:
    page = {
        "here": "lots",
        "lot": lot,
        "wrong": wrong,
        "typed": typed,
        "system": scale_units(),
        "question": question,
        "water_words": WATER_WORDS if wrong is None else (_as_before(wrong), *WATER_WORDS),
        "water": typed.text("branch") or ("desorption" if wrong is None else AS_BEFORE),
        "is_oiled": _oil_now(lot, wrong) > 0 or typed.is_said("oil"),
        "is_raw": is_raw(lot.row.form),
        "moments": MOMENTS,
        "key": typed.text("key") or fresh_key(),
        "may_write": may(acting(request), Right.WEIGH),
    }
    return render(request, "office/weigh_lot.html", page, status=status)


urlpatterns = [path("lots/<str:code>/weigh/", weigh, name="lot_weigh")]
