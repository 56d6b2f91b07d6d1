"""One batch of a shade beside its standard: read, judged, decided; and the standard's own tuft read again."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.mill import bridge
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.shades import judge_batch
from doffer.mill.queries.readings import batch_sittings, lot_sittings, standard_sittings
from doffer.mill.queries.shades import BatchPoint, ShadeBook, one_shade, step_between
from doffer.office import colour_readings_view as reads
from doffer.office import shades_view as view
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.colour_readings_form import ColourForm, form_of, fresh_form
from doffer.office.shades import READING_WORDS
from doffer.people.rights import Right, may


@require_safe
def one(request: HttpRequest, code: str, batch_id: int) -> HttpResponse:
    """`/shades/S001/batches/7/`."""
    return _shown(request, code, batch_id)


def _found(code: str, batch_id: int) -> tuple[ShadeBook, BatchPoint]:
    book = one_shade(code)
    point = next((point for point in book.batches if point.id == batch_id), None)
    if point is None:
        raise NotFoundError("batch of this shade", batch_id, "Look in the shade book")
    return book, point


def _shown(
    request: HttpRequest,
    code: str,
    batch_id: int,
    *,
    form: ColourForm | None = None,
    wrong: dict[str, str] | None = None,
    status: int = 200,
) -> HttpResponse:
    book, point = _found(code, batch_id)
    standard, tables, person = view.standard_of(book, point), bridge.current_tables(), acting(request)
    found = lot_sittings(point.lot) if point.lot else batch_sittings(batch_id)
    lights = view.under_lights(point, standard, tables)
    pair = view.large_pair(point, standard, book.row.name, tables) if point.sitting else None
    context: dict[str, Any] = {
        "here": "shades",
        "row": book.row,
        "point": point,
        "standard": standard,
        "is_old": standard.version != book.standard.version,
        "pair": pair,
        "now": view.now_words(point, book),
        "now_de": view.by_formula(point.to_standard, book.standard),
        "now_counted": view.COUNT_WORDS[book.standard.formula],
        "count_words": view.COUNT_WORDS,
        "de": view.by_formula(point.to_standard, standard),
        "last_de": view.by_formula(point.to_last, standard),
        "lights": [(row.words, view.by_formula(row.step, standard), row.step.words) for row in lights],
        "turns": view.turns(lights, standard),
        "tolerance": view.tolerance_words(standard),
        "verdict_words": view.VERDICT_WORDS,
        "verdict_tags": view.VERDICT_TAGS,
        "sittings": [(sitting, reads.sitting_view(sitting, tables)) for sitting in found],
        "f": form or fresh_form(standard.pad),
        "errors": wrong or {},
        "typed": request.POST,
        "may_read": may(person, Right.READ_COLOUR),
        "may_decide": may(person, Right.SHADES),
        "is_judgeable": any(sitting.is_measured for sitting in found),
        "key": request.POST.get("key") or fresh_key(),
        **READING_WORDS,
    }
    return render(request, "office/shade_batch.html", context, status=status)


@require_POST
def read(request: HttpRequest, code: str, batch_id: int) -> HttpResponse:
    """The colour of a batch that is no lot of the records."""
    form = form_of(request.POST, request.FILES.get("file"))
    try:
        record_readings(acting(request), seen=form.seen(), batch=batch_id, key=key_of(request))
    except DofferError as refused:
        form.wrong(refused)
        return _shown(request, code, batch_id, form=form, status=422)
    return redirect("shade_batch", code=code, batch_id=batch_id)


@require_POST
def judge(request: HttpRequest, code: str, batch_id: int) -> HttpResponse:
    """Hold it against the standard, or decide where the tolerance leaves it to a person."""
    decision = request.POST.get("decision", "")
    try:
        if "decision_needed" in request.POST and decision not in ("pass", "fail"):
            raise InputError("decision", decision, "on shade or off shade; choose one")
        judge_batch(
            acting(request),
            batch_id,
            decision=decision,
            note=request.POST.get("note", "").strip()[:400],
            anyhow=request.POST.get("anyhow", "").strip()[:200],
            key=key_of(request),
        )
    except DofferError as refused:
        name = "note" if decision else "decision" if "decision_needed" in request.POST else "anyhow"
        return _shown(request, code, batch_id, wrong={name: str(refused)}, status=422)
    return redirect("shade_batch", code=code, batch_id=batch_id)


@require_http_methods(["GET", "POST"])
def standard(request: HttpRequest, code: str) -> HttpResponse:
    """`/shades/S001/standard/`: the tuft in the book read again: has it faded?"""
    book = one_shade(code)
    form = fresh_form(book.standard.pad)
    if request.method == "POST":
        form = form_of(request.POST, request.FILES.get("file"))
        try:
            record_readings(acting(request), seen=form.seen(), shade=code, key=key_of(request))
            return redirect("shade_standard", code=code)
        except DofferError as refused:
            form.wrong(refused)
    tables, person = bridge.current_tables(), acting(request)
    found = standard_sittings(code)
    steps = [
        step_between(book.standard.labs, one.labs, light=book.standard.light, tables=tables) for one in found
    ]
    context: dict[str, Any] = {
        "here": "shades",
        "row": book.row,
        "standard": book.standard,
        "sittings": [
            (sitting, reads.sitting_view(sitting, tables), step)
            for sitting, step in zip(found, steps, strict=True)
        ],
        "counted": view.COUNT_WORDS[book.standard.formula],
        "by_formula": view.by_formula,
        "f": form,
        "may_read": may(person, Right.READ_COLOUR),
        "key": request.POST.get("key") or fresh_key(),
        **READING_WORDS,
    }
    return render(request, "office/shade_standard.html", context, status=422 if form.errors else 200)


urlpatterns = [
    path("shades/<str:code>/batches/<int:batch_id>/", one, name="shade_batch"),
    path("shades/<str:code>/batches/<int:batch_id>/read/", read, name="shade_batch_read"),
    path("shades/<str:code>/batches/<int:batch_id>/judge/", judge, name="shade_batch_judge"),
    path("shades/<str:code>/standard/", standard, name="shade_standard"),
]
