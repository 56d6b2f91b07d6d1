"""The dip stick of a kettle: how to measure it, what was measured, and a table of marks."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError
from doffer.exchange.numbers import parse_number
from doffer.mill.commands.dip_stick import measure_kettle
from doffer.mill.queries.kettles import KettleRow, one_kettle
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.kitchen_card import say_mark
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.planning.dip_stick import KettleShape, StickMark, dip_mark

L_PER_GAL = 3.785411784
MM_PER_IN = 25.4
MM_PER_CM = 10.0
BY_BORE, BY_MARKS = "bore", "marks"
MARKS_SHOWN = 6
ROUND_L = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/kitchen/kettles/K60/`: the marks of the stick, and the form to measure it."""
    kettle = one_kettle(code)
    units = units_of(request)
    typed = Typed(request.POST.dict() or {"by": BY_MARKS}, units)
    if request.method == "POST":
        try:
            shape = _shape(typed)
            if shape is not None:
                measure_kettle(
                    acting(request), code, shape, note=typed.text("note")[:400], key=key_of(request)
                )
                return redirect("kettle", code=code)
        except DofferError as wrong:
            typed.wrong("bore" if typed.text("by") == BY_BORE else "high_h", str(wrong))
    context = {
        "here": "shades",
        "kettle": kettle,
        "marks": stick_marks(kettle, units),
        "typed": typed,
        "errors": typed.errors,
        "length_unit": "in" if units == "us" else "cm",
        "volume_unit": "gal" if units == "us" else "L",
        "may_write": may(acting(request), Right.KITCHEN),
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(
        request, "office/kitchen_kettle.html", context, status=422 if request.method == "POST" else 200
    )


def stick_marks(kettle: KettleRow, units: str) -> tuple[tuple[float, str, bool], ...]:
    """Round litres of this kettle with their height on the stick, and whether that was measured."""
    if kettle.shape is None or not kettle.usable_l:
        return ()
    step_l = next((step for step in ROUND_L if kettle.usable_l / step <= MARKS_SHOWN), ROUND_L[-1])
    litres = [step_l * n for n in range(1, int(kettle.usable_l / step_l) + 1)]
    marks = [(volume_l, dip_mark(kettle.shape, volume_l=volume_l)) for volume_l in litres]
    return tuple((volume_l, say_mark(mark, units), mark.is_measured) for volume_l, mark in marks)


def _shape(typed: Typed) -> KettleShape | None:
    """The shape as typed, or None with a sentence beside each field that is wrong."""
    if typed.text("by") == BY_BORE:
        typed.needed("bore", "Measure across the inside, from wall to wall.")
        bore_mm = _length_mm(typed, "bore", "inner diameter")
        return None if typed.errors or bore_mm is None else KettleShape(bore_mm=bore_mm)
    marks = []
    for name, title in (("low", "lower mark"), ("high", "upper mark")):
        typed.needed(f"{name}_v", f"Say how much water stood at the {title}.")
        typed.needed(f"{name}_h", f"Say how high the {title} was on the stick.")
        litres = _number(typed, f"{name}_v", f"water at the {title}")
        height_mm = _length_mm(typed, f"{name}_h", f"height of the {title}")
        if litres is not None and height_mm is not None:
            marks.append(StickMark(litres * (L_PER_GAL if typed.system == "us" else 1.0), height_mm))
    return None if typed.errors else KettleShape(low=marks[0], high=marks[1])


def _length_mm(typed: Typed, name: str, label: str) -> float | None:
    value = _number(typed, name, label)
    return None if value is None else value * (MM_PER_IN if typed.system == "us" else MM_PER_CM)


def _number(typed: Typed, name: str, label: str) -> float | None:
    value = typed.read(name, parse_number, label, allowed="a number above zero, such as 32.5")
    return None if value is None else float(value)


urlpatterns = [path("kitchen/kettles/<str:code>/", page, name="kettle")]
