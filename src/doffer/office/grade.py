"""Skirt and grade: what is kept, what is thrown out, and what hands and eyes say of the fibre."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from doffer.errors import InputError
from doffer.mill.booking import QuestionError
from doffer.mill.commands.intake import Skirting, skirt_and_grade
from doffer.mill.queries.door import last_air
from doffer.mill.queries.lots import OneLot, one_lot
from doffer.mill.queries.runs import expected_out, part_of, stage_facts
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.readings import LENGTH_UNIT, Typed, first_typed
from doffer.people.rights import Right, may

SOUNDNESS = (
    ("unknown", "Not tried", ""),
    ("sound", "Sound", "rings when snapped at the ear"),
    ("tender", "Tender", "gives way with a pull"),
    ("fragile", "Fragile", "falls apart"),
)
VM_GRADES = (
    ("0", "0", "none seen"),
    ("1", "1", "a few bits"),
    ("2", "2", "some in every handful"),
    ("3", "3", "much, also in the tips"),
    ("4", "4", "full of it"),
)
SECOND_CUTS = (
    ("0", "0", "none"),
    ("1", "1", "a few fall out"),
    ("2", "2", "many"),
    ("3", "3", "everywhere"),
)
LONGEST_MIN = 24 * 60
CONFIRMED = "weighed again at the skirting table: it is right"
FIELDS = {
    "staple": "staple",
    "vegetable matter": "vm_grade",
    "second cuts": "second_cuts",
    "soundness": "soundness",
    "reject and minutes": "reject",
}


@require_http_methods(["GET", "POST"])
def grade(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/grade/`: the skirting table's weights and the grade, as a run of the lot."""
    lot = one_lot(code)
    if request.method == "GET":
        return _page(request, lot, first_typed(last_air(), lot.owner_units))
    typed = Typed(request.POST.dict(), lot.owner_units)
    question = ""
    skirting = _skirting(typed)
    if skirting is not None:
        try:
            skirt_and_grade(acting(request), code, skirting, key=key_of(request))
        except QuestionError as asked:
            question = str(asked)
        except InputError as wrong:
            if wrong.field in FIELDS:
                typed.wrong(FIELDS[wrong.field], str(wrong))
            else:
                typed.put(wrong)
        else:
            return HttpResponseRedirect(reverse("lot_door", args=[code]))
    return _page(request, lot, typed, question=question, status=422)


def _skirting(typed: Typed) -> Skirting | None:
    """What was typed, or None when a field has its sentence."""
    reading = typed.reading()
    reject_g = typed.small_mass_g("reject", "rejected weight")
    minutes = typed.count("minutes", "minutes", low=0, high=LONGEST_MIN)
    staple_mm = typed.length_mm("staple", "staple")
    vm_grade = typed.count("vm_grade", "vegetable matter", low=0, high=4)
    second_cuts = typed.count("second_cuts", "second cuts", low=0, high=3)
    if reading is None or typed.errors:
        return None
    return Skirting(
        reading=reading,
        reject_g=reject_g or 0.0,
        minutes=minutes or 0,
        staple_mm=staple_mm,
        soundness=typed.text("soundness") or "unknown",
        vm_grade=vm_grade,
        second_cuts=second_cuts,
        want_waste_back=bool(typed.text("want_waste_back")),
        note=typed.text("note"),
        confirmation=CONFIRMED if typed.text("confirmed") else "",
    )


def _page(
    request: HttpRequest, lot: OneLot, typed: Typed, *, question: str = "", status: int = 200
) -> HttpResponse:
    page = {
        "here": "weigh_in",
        "lot": lot,
        "typed": typed,
        "system": lot.owner_units,
        "wants_back": lot.want_waste_back if request.method == "GET" else bool(typed.text("want_waste_back")),
        "facts": stage_facts("skirt", [lot.row.code]),
        "expected": expected_out("skirt", [part_of(lot.row)]),
        "question": question,
        "key": typed.text("key") or fresh_key(),
        "soundness": SOUNDNESS,
        "vm_grades": VM_GRADES,
        "second_cuts": SECOND_CUTS,
        "length_unit": LENGTH_UNIT[lot.owner_units],
        "may_write": may(acting(request), Right.INTAKE),
    }
    return render(request, "office/grade.html", page, status=status)


urlpatterns = [path("lots/<str:code>/grade/", grade, name="lot_grade")]
