"""Yarn counts on forms: any system is read, and what it is in the others stands below the field at once."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from doffer.errors import InputError
from doffer.exchange.count_said import SaidOf, TypedCount
from doffer.exchange.count_words import CountSaid, say_typed_count
from doffer.exchange.counts import parse_count
from doffer.fibre.count import from_tex
from doffer.mill.queries.tables import current_tables
from doffer.office.asked import speak, units_of
from doffer.office.readings import Typed
from doffer.pictures.wording import say
from doffer.planning.spec import MAX_PLIES, MIN_PLIES
from doffer.tables.loader import Tables

PLAIN_COUNT = {"metric": " m/100 g", "us": " yd/lb"}  # what a bare figure of yarn is meant in
PLAIN_ROVING = " g/m"
NAMES = {"thick": "thickness", "roving": "roving"}  # how a field is called in its sentences
_BARE = re.compile(r"[0-9][0-9., ]*")
_FIELD = re.compile(r"[a-z][a-z_]{0,30}")
COUNT, ROVING = "thick", "roving"  # fields: of a yarn, and of what it is spun from


@dataclass(frozen=True, slots=True)
class CountAnswer:
    """What stands below a count: its conversions, or the sentence that asks; nothing for an empty field."""

    said: CountSaid | None = None
    error: str = ""
    plies: int | None = None  # where the count says them itself


def read_count(typed: Typed, tables: Tables, name: str = COUNT) -> TypedCount | None:
    """The count in a field; None where it is empty or wrong, with its sentence beside the field."""
    if not typed.is_said(name):
        return None
    text = typed.text(name)
    plain = PLAIN_ROVING if name == ROVING else PLAIN_COUNT[typed.system]
    whole = text + plain if _BARE.fullmatch(text) else text
    try:
        return parse_count(whole, tables, NAMES.get(name, "yarn count"))
    except InputError as error:
        typed.wrong(name, str(error))
        return None


def count_answer(typed: Typed, tables: Tables, name: str = COUNT) -> CountAnswer:
    """What stands below the field, with the strands another field says; errors of the form stay."""
    alone = Typed(typed.data, typed.system)
    count = read_count(alone, tables, name)
    if count is None:
        return CountAnswer(error=typed.errors.get(name) or alone.errors.get(name, ""))
    plies = typed.text("plies")
    beside = int(plies) if plies.isdecimal() and MIN_PLIES <= int(plies[:2]) <= MAX_PLIES else None
    if typed.text("product") not in ("", "yarn"):
        beside = None
    said = say_typed_count(count, tables, plies=beside)
    if name == COUNT and count.said_of is SaidOf.SINGLE:
        said = replace(said, notes=(*said.notes, _kept_as(count, tables, typed.system)))
    return CountAnswer(said, typed.errors.get(name, ""), count.plies)


def _kept_as(count: TypedCount, tables: Tables, system: str) -> str:
    """A wish is of the finished yarn, and a count of its strands is not: say what is planned."""
    length = from_tex(tables, system="m_per_100g", count_tex=count.yarn_tex)
    return (
        f"Planned as {say(length, 'm_per_100g', system)} of the finished yarn. Washing shortens yarn: "
        "type less length if the strands as spun are meant."
    )


@require_safe
def answer(request: HttpRequest) -> HttpResponse:
    """`/counts/?field=thick&thick=2/8 Nm&plies=2`: the conversions, for the place below the field."""
    name = request.GET.get("field", "")
    name = name if _FIELD.fullmatch(name) else COUNT
    speaks = request.GET.get("speak", "")
    system = speaks if speaks in PLAIN_COUNT else units_of(request)
    speak(request, system)
    typed = Typed({key: str(value) for key, value in request.GET.items()}, system)
    said = count_answer(typed, current_tables(), name)
    # Plies are written into their field while the count is typed, never while somebody types the plies.
    is_count_typed = request.headers.get("HX-Trigger") == name
    sets = said.plies if is_count_typed and said.plies and said.plies >= MIN_PLIES else None
    if "plies" not in typed.data or str(sets) == typed.text("plies"):
        sets = None
    if sets is not None:  # what is said below no longer knows the plies that go
        typed.data = {**typed.data, "plies": str(sets)}
        said = count_answer(typed, current_tables(), name)
    return render(request, "office/count_answer.html", {"field": name, "answer": said, "sets": sets})


urlpatterns = [path("counts/", answer, name="count_answer")]
