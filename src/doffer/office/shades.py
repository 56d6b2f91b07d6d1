"""The shade book: every standard, every batch made to it, and whether it drifts."""

from __future__ import annotations

import uuid
from contextlib import suppress
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, path, reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import ConflictError, DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.fibre.colour.verdict import Formula, Tolerance, usual_tolerance
from doffer.mill import bridge, clock
from doffer.mill.booking import QuestionError
from doffer.mill.commands.shades import add_batch, add_shade, archive_shade, restate_shade, restore_shade
from doffer.mill.queries.lots import list_lots
from doffer.mill.queries.shades import StandardRow, list_shades, one_shade, usual_head
from doffer.office import shades_view as view
from doffer.office.asked import acting, fresh_key, key_of, number_after
from doffer.office.colour_readings_form import (
    ANGLES,
    FORMS,
    LIGHTS,
    ColourForm,
    form_of,
    fresh_form,
    target_of,
)
from doffer.people.rights import Right, may

STANDINGS = (("made", "Made now"), ("archived", "No longer made"), ("all", "All"))
FORMULAS = (
    (
        "cmc",
        "Lightness counted by half",
        "The trade's usual way: strict in hue and strength, and forgives lightness, as the eye does "
        "(CMC 2:1 on instruments).",
    ),
    (
        "de2000",
        "Lightness counted in full",
        "Strict in lightness too; what many instruments show first (dE00).",
    ),
)
READING_WORDS = {"pad_forms": FORMS, "light_choices": LIGHTS, "angles": ANGLES}


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/shades/`."""
    typed = request.GET.get("standing", "made")
    standing = typed if typed in dict(STANDINGS) else "made"
    after = number_after(request, "after")
    found = list_shades(standing=standing, after=after)
    address = reverse("shades")
    context = {
        "here": "shades",
        "found": found,
        "standing": standing,
        "standings": STANDINGS,
        "first_page": after is None,
        "next_page": f"{address}?standing={standing}&after={found.next_after}" if found.next_after else "",
        "chips": {row.code: view.list_chip(row.name, row.lab) for row in found.rows},
        "verdict_words": view.VERDICT_WORDS,
        "verdict_tags": view.VERDICT_TAGS,
        "may_write": may(acting(request), Right.SHADES),
    }
    return render(request, "office/shades.html", context)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """`/shades/new/`: a name, a colour, a tolerance."""
    if request.method == "GET":
        usual = usual_tolerance(bridge.current_tables())
        first = {
            "formula": str(usual.formula),
            "pass_de": f"{usual.pass_de:g}",
            "ask_de": f"{usual.ask_de:g}",
            "geometry": usual_head(),
        }
        return _form_page(request, fresh_form(**first))
    form = form_of(request.POST, request.FILES.get("file"))
    if not form.text("name"):
        form.errors["name"] = "Give it a name, such as Fern."
    try:
        tolerance = tolerance_typed(form)
        seen = form.seen()
        if not form.errors and tolerance:
            code = add_shade(
                acting(request),
                name=form.text("name")[:60],
                use=form.text("use")[:120],
                target=target_of(seen),
                tolerance=tolerance,
                seen=seen,
                key=key_of(request),
            )
            return redirect("shade", code=code)
    except DofferError as refused:
        form.wrong(refused)
    return _form_page(request, form, status=422)


def tolerance_typed(form: ColourForm) -> Tolerance | None:
    """The tolerance of a form; None where a figure is wrong, with its sentence beside it."""
    figures: dict[str, float] = {}
    for name, label in (("pass_de", "on shade up to"), ("ask_de", "a person decides up to")):
        try:
            figures[name] = float(parse_number(form.text(name), label, allowed="a number such as 1.0"))
        except InputError as wrong:
            form.errors[name] = str(wrong)
    formula = form.text("formula")
    if formula not in {name for name, _, _ in FORMULAS}:
        form.errors["formula"] = "Choose one of the two."
    if len(figures) < 2 or form.errors.get("formula"):
        return None
    try:
        return Tolerance(Formula(formula), figures["pass_de"], figures["ask_de"])
    except InputError:
        form.errors["ask_de"] = (
            "A person decides beyond what passes: this number must be the larger one, and both above zero."
        )
        return None


def _form_page(
    request: HttpRequest, form: ColourForm, *, code: str = "", status: int = 200, **more: Any
) -> HttpResponse:
    person = acting(request)
    context: dict[str, Any] = {
        "here": "shades",
        "f": form,
        "code": code,
        "formulas": FORMULAS,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(person, Right.SHADES),
        **READING_WORDS,
        **more,
    }
    return render(request, "office/shade_form.html", context, status=status)


@require_http_methods(["GET", "POST"])
def restate(request: HttpRequest, code: str) -> HttpResponse:
    """`/shades/S001/restate/`: another colour from now on, or held more or less strictly."""
    book = one_shade(code)
    standard = book.standard
    more = {"row": book.row, "standard": standard}
    if request.method == "GET":
        first = {
            "formula": standard.formula,
            "pass_de": f"{standard.pass_de:g}",
            "ask_de": f"{standard.ask_de:g}",
        }
        return _form_page(request, fresh_form(standard.pad, **first), code=code, **more)
    form = form_of(request.POST, request.FILES.get("file"))
    if not form.text("reason"):
        form.errors["reason"] = "Say why, such as “old tuft had faded”."
    try:
        tolerance = tolerance_typed(form)
        seen = form.seen() if form.text("tufts") or form.upload is not None else None
        if seen is None and tolerance == view.tolerance_of(standard):
            form.errors["__all__"] = "Nothing changes: read a new colour, or type another tolerance."
        if not form.errors:
            restate_shade(
                acting(request),
                code,
                reason=form.text("reason")[:400],
                target=target_of(seen) if seen else None,
                tolerance=tolerance,
                seen=seen,
                key=key_of(request),
            )
            return redirect("shade", code=code)
    except DofferError as refused:
        form.wrong(refused)
    return _form_page(request, form, code=code, status=422, **more)


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/shades/S001/`."""
    if code != code.upper():
        return redirect("shade", code=code.upper())
    return _shown(request, code)


def _shown(
    request: HttpRequest, code: str, *, wrong: dict[str, str] | None = None, status: int = 200
) -> HttpResponse:
    tables, book, person = bridge.current_tables(), one_shade(code), acting(request)
    picture, shown = view.standard_chip(book.standard, book.row.name, tables)
    context: dict[str, Any] = {
        "here": "shades",
        "book": book,
        "row": book.row,
        "standard": book.standard,
        "swatch": picture,
        "shown": shown,
        "lines": view.lines_of(book, tables),
        "drift": view.drift_view(book, tables),
        "tolerance": view.tolerance_words(book.standard),
        "formula": Formula(book.standard.formula).name_in_print,
        "standards": [(one, _standard_words(one)) for one in book.standards],
        "count_words": view.COUNT_WORDS,
        "verdict_words": view.VERDICT_WORDS,
        "verdict_tags": view.VERDICT_TAGS,
        "light_words": view.LIGHT_WORDS,
        "kitchen": _kitchen(code),
        "lot_choices": [row.code for row in list_lots().rows],
        "may_write": may(person, Right.SHADES),
        "may_read": may(person, Right.READ_COLOUR),
        "typed": request.POST or request.GET,
        "errors": wrong or {},
        "today": clock.today(),
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(request, "office/shade.html", context, status=status)


def _standard_words(standard: StandardRow) -> str:
    kinds = {"spectrum": "measured as a spectrum", "lab2": "L, a, b in two lights", "lab": "L, a, b"}
    forms = dict(FORMS)
    pad = standard.pad
    words = [kinds[standard.kind], forms.get(pad.form, pad.form).lower()]
    words += [pad.geometry] if pad.geometry else []
    words += ["behind glass"] if pad.is_behind_glass else []
    return ", ".join(words)


def _kitchen(code: str) -> str:
    """Where the dye recipe of a shade stands, once the dye kitchen has pages."""
    try:
        return reverse("dye_recipe", kwargs={"code": code})
    except NoReverseMatch:
        return ""


@require_POST
def batch(request: HttpRequest, code: str) -> HttpResponse:
    """A batch was made: a lot of the mill, or a label for one from before the records."""
    lot, label = request.POST.get("lot", "").strip().upper(), request.POST.get("label", "").strip()
    try:
        made = add_batch(
            acting(request),
            shade=code,
            lot=lot,
            label=label[:60],
            made_on=_day(request.POST.get("made_on", "")),
            note=request.POST.get("note", "").strip()[:200],
            anyhow=request.POST.get("anyhow", "").strip()[:190],
            key=key_of(request),
        )
    except QuestionError as asked:
        return _shown(request, code, wrong={"anyhow": str(asked)}, status=422)
    except DofferError as refused:
        field = "made_on" if isinstance(refused, InputError) and refused.field.startswith("day") else "lot"
        return _shown(request, code, wrong={field: str(refused)}, status=422)
    return redirect("shade_batch", code=code, batch_id=made)


def _day(typed: str) -> date | None:
    if not typed.strip():
        return None
    try:
        return date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError("day of the batch", typed, "a day, such as 2026-03-02") from None


@require_POST
def archive(request: HttpRequest, code: str) -> HttpResponse:
    """The shade is no longer made."""
    archive_shade(acting(request), code)
    return redirect("shades")


@require_POST
def restore(request: HttpRequest, code: str) -> HttpResponse:
    """The shade is made again."""
    with suppress(ConflictError):  # somebody else was quicker: it is in the book, which is what was wanted
        restore_shade(acting(request), code)
    return redirect("shade", code=code)


def series_of(typed: str) -> uuid.UUID | None:
    """The sitting somebody chose."""
    try:
        return uuid.UUID(typed)
    except ValueError:
        return None


urlpatterns = [
    path("shades/", list_page, name="shades"),
    path("shades/new/", new, name="shade_new"),
    path("shades/<str:code>/", one, name="shade"),
    path("shades/<str:code>/restate/", restate, name="shade_restate"),
    path("shades/<str:code>/batch/", batch, name="shade_add_batch"),
    path("shades/<str:code>/archive/", archive, name="shade_archive"),
    path("shades/<str:code>/restore/", restore, name="shade_restore"),
]
