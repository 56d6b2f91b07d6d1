"""Tubs, kettles and racks: what is in which, since when, what comes next and when."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.mill import clock
from doffer.mill.commands.tubs import MOST_BATHS, SHARED_STAGES, next_bath, put_in, take_out
from doffer.mill.queries.kitchen import InTub, TubRow, tubs
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.kitchen import lot_options
from doffer.office.readings import Typed
from doffer.office.tubs_form import parse_due
from doffer.people.models import Person
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon
from doffer.pictures.wording import say
from doffer.pictures.words import say_list
from doffer.planning.loads import capacity_of

KINDS = {
    "wash": "wash tub",
    "dye": "dye kettle",
    "extract": "extractor",
    "set": "setting",
    "dry": "rack",
    "rest": "rest bin",
}
SECONDS_PER_MIN = 60
G_PER_KG = 1000.0
FAR_OFF = datetime.max.replace(tzinfo=timezone.get_fixed_timezone(0))


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/tubs/`: what is overdue first, then by what is due next, then what is free."""
    rows = tubs()
    in_use = sorted((row for row in rows if not row.is_free), key=_first_due)
    context = {
        "here": "shades",
        "due": [row for row in in_use if any(one.is_due for one in row.inside)],
        "in_use": [row for row in in_use if not any(one.is_due for one in row.inside)],
        "free": [row for row in rows if row.is_free],
        "kinds": KINDS,
        "swatches": _swatches(rows),
        "mind": mind(rows, units_of(request)),
        "minutes": minutes,
        "may_write": may(acting(request), Right.KITCHEN),
    }
    return render(request, "office/tubs.html", context)


def _first_due(row: TubRow) -> datetime:
    return min((one.due_at for one in row.inside if one.due_at), default=FAR_OFF)


def _swatches(rows: tuple[TubRow, ...]) -> dict[int, str]:
    """A tuft for everything that lies somewhere."""
    return {one.use: _tuft(one) for row in rows for one in row.inside}


def _tuft(one: InTub) -> str:
    hex_ = fibre_hex(*(one.lab or (None, None, None)))
    said = "its colour, approximate" if one.lab else "colour not read"
    return tuft_icon(one.lot, hex_, size=52, label=said)


def mind(rows: tuple[TubRow, ...], system: str) -> dict[int, str]:
    """What cannot all be true of a lot in a tub: it weighs more than goes in, or it is elsewhere as well."""
    places: dict[str, list[str]] = {}
    for row in rows:
        for one in row.inside:
            places.setdefault(one.lot, []).append(row.name)
    return {one.use: _mind(row, one, places[one.lot], system) for row in rows for one in row.inside}


def _mind(row: TubRow, one: InTub, places: list[str], system: str) -> str:
    told = []
    most_g = _most_g(row)
    if most_g is not None and one.mass_g > most_g:
        weighs, takes = say(one.mass_g, "g", system), say(most_g, "g", system)
        told.append(
            f"{one.lot} weighs {weighs} and {row.name} takes {takes} at once: "
            "only a part of it can be in here."
        )
    others = [name for name in places if name != row.name]
    if others:
        told.append(f"{one.lot} is in {say_list(others)} as well: say in the note which part is where.")
    return " ".join(told)


def _most_g(row: TubRow) -> float | None:
    """Fibre that goes in at once [g]; None where that is not known."""
    if row.usable_l is not None and row.capacity is not None:
        return row.capacity * G_PER_KG
    found = capacity_of(row.capacity, row.capacity_unit)
    return found.mass_g if found else None


def minutes(span: timedelta) -> float:
    """A span in minutes, without its sign: late or still to come is said in words."""
    return abs(span.total_seconds()) / SECONDS_PER_MIN


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/tubs/SC1/?lot=L040`: one of them, with its forms."""
    return _shown(request, code, Typed(request.GET.dict(), units_of(request)))


def _shown(
    request: HttpRequest, code: str, typed: Typed, *, act: str = "", status: int = 200
) -> HttpResponse:
    rows = tubs()
    tub = next((row for row in rows if row.code == code), None)
    if tub is None:
        raise NotFoundError("tub, kettle or rack", code, "Look at the tubs again")
    is_shared = tub.stage in SHARED_STAGES
    context: dict[str, Any] = {
        "here": "shades",
        "tub": tub,
        "kind": KINDS.get(tub.stage, tub.stage),
        "is_shared": is_shared,
        "has_room": tub.is_free or is_shared,
        "swatches": _swatches((tub,)),
        "mind": mind(rows, typed.system),
        "minutes": minutes,
        "lots": lot_options() if tub.is_free or is_shared else [],
        "typed": typed,
        "errors": typed.errors,
        "act": act,
        "keys": {one.use: (fresh_key(), fresh_key()) for one in tub.inside},
        "key": request.POST.get("key") or fresh_key(),
        "usual": USUAL_WHAT.get(tub.stage, ""),
        "may_write": may(acting(request), Right.KITCHEN),
    }
    return render(request, "office/tub.html", context, status=status)


USUAL_WHAT = {
    "wash": "first bath",
    "dye": "dyeing",
    "extract": "spinning out",
    "set": "setting",
    "dry": "drying",
}


@require_POST
def put(request: HttpRequest, code: str) -> HttpResponse:
    """A lot goes in."""
    typed = Typed(request.POST.dict(), units_of(request))
    typed.needed("lot", "Say which lot: its number stands on its tag.")
    typed.needed("what", "Say what happens to it, such as first bath.")
    baths = typed.count("baths", "number of baths", low=1, high=MOST_BATHS)
    due_at = _due(typed, "due")

    def act(person: Person | None) -> None:
        put_in(
            person,
            machine=code,
            lot=typed.text("lot").upper().split(" ")[0],
            what=typed.text("what")[:80],
            n_baths=baths or 1,
            next_step=typed.text("next")[:120],
            due_at=due_at,
            note=typed.text("note")[:400],
            key=key_of(request),
        )

    return _done(request, code, typed, act, "put")


@require_POST
def go_on(request: HttpRequest, code: str, use: int) -> HttpResponse:
    """What is in it goes on to its next bath."""
    typed = Typed(request.POST.dict(), units_of(request))
    typed.needed("what", "Say what happens to it now, such as rinse.")
    baths = typed.count("baths", "number of baths", low=1, high=MOST_BATHS)
    due_at = _due(typed, "due")

    def act(person: Person | None) -> None:
        next_bath(
            person,
            use,
            what=typed.text("what")[:80],
            next_step=typed.text("next")[:120],
            due_at=due_at,
            n_baths=baths,
            key=key_of(request),
        )

    return _done(request, code, typed, act, f"next_{use}")


@require_POST
def out(request: HttpRequest, code: str, use: int) -> HttpResponse:
    """It comes out; its wet weight may stay unknown."""
    typed = Typed(request.POST.dict(), units_of(request))

    def act(person: Person | None) -> None:
        take_out(person, use, note=typed.text("note")[:400], key=key_of(request))

    return _done(request, code, typed, act, f"out_{use}")


def _due(typed: Typed, name: str) -> datetime | None:
    now = timezone.localtime(clock.now())
    return typed.read(name, lambda text, _label: parse_due(text, now), "when it is due")


def _done(
    request: HttpRequest, code: str, typed: Typed, act: Callable[[Person | None], None], name: str
) -> HttpResponse:
    """Do it and go back to the board; where it cannot be, the form again with its sentence."""
    if not typed.errors:
        try:
            act(acting(request))
        except InputError as wrong:
            typed.wrong(
                {"what happens to it": "what", "number of baths": "baths"}.get(wrong.field, "lot"), str(wrong)
            )
        except DofferError as refused:
            typed.wrong("lot" if name == "put" else "__all__", str(refused))
    if typed.errors:
        return _shown(request, code, typed, act=name, status=422)
    return redirect("tubs")


urlpatterns = [
    path("tubs/", list_page, name="tubs"),
    path("tubs/<str:code>/", one, name="tub"),
    path("tubs/<str:code>/in/", put, name="tub_in"),
    path("tubs/<str:code>/<int:use>/next/", go_on, name="tub_next"),
    path("tubs/<str:code>/<int:use>/out/", out, name="tub_out"),
]
