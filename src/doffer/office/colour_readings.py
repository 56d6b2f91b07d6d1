"""The colour of a lot: its sittings, a new one typed or from a file, a reading put right."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods, require_POST

from doffer.errors import DofferError, InputError
from doffer.exchange.readings import ReadingPreview, preview_readings, sittings_of
from doffer.exchange.spectra import check_size
from doffer.mill import bridge
from doffer.mill.commands.readings import correct_reading, record_file, record_readings
from doffer.mill.queries.known import lot_numbers
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.readings import OneReading, counting_of, lot_sittings, one_reading
from doffer.mill.queries.shades import list_shades
from doffer.office import colour_readings_view as view
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.colour_readings_form import ANGLES, FORMS, LIGHTS, ColourForm, form_of, fresh_form
from doffer.people.rights import Right, may
from doffer.pictures.chip import chip
from doffer.pictures.colour import fibre_hex

MOST_SAMPLES = 50
LOT_FIELD = "lot_"
LOT_CODE = re.compile(r"[A-Za-z0-9_.-]{1,20}")
READING_WORDS = {"pad_forms": FORMS, "light_choices": LIGHTS, "angles": ANGLES}


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file as it travels through its preview, so that nothing lies about half-done."""

    data: bytes
    name: str


@require_http_methods(["GET", "POST"])
def of_lot(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L027/colour/`: what was read of it, and a new reading; `?load=3` reads a kettle load of it."""
    if code != code.upper():
        return redirect("lot_colour", code=code.upper())
    if request.method == "GET":
        return _lot_page(request, code)
    form = form_of(request.POST, request.FILES.get("file"))
    load = _load(form.text("load"))
    if form.upload is not None and load is None:
        return look(request, lot=code)
    try:
        record_readings(acting(request), seen=form.seen(), lot=code, load=load, key=key_of(request))
    except DofferError as refused:
        form.wrong(refused)
        return _lot_page(request, code, form=form, status=422)
    return redirect("lot_colour", code=code)


def _load(typed: str) -> int | None:
    return int(typed) if typed.isdecimal() and len(typed) < 19 else None


def _lot_page(
    request: HttpRequest, code: str, *, form: ColourForm | None = None, status: int = 200
) -> HttpResponse:
    tables, person = bridge.current_tables(), acting(request)
    lot, found = one_lot(code), lot_sittings(code)
    counts = counting_of(found)
    context: dict[str, Any] = {
        "here": "lots",
        "lot": lot,
        "row": lot.row,
        "sittings": [(one, view.sitting_view(one, tables)) for one in found],
        "counts": counts,
        "shades": list_shades().rows if counts else (),
        "f": form or fresh_form(counts.pad if counts else None, load=request.GET.get("load", "")),
        "may_read": may(person, Right.READ_COLOUR),
        "may_photo": may(person, Right.READ_COLOUR) and may(person, Right.INTAKE),
        "key": request.POST.get("key") or fresh_key(),
        **READING_WORDS,
    }
    return render(request, "office/colour_lot.html", context, status=status)


@require_http_methods(["GET", "POST"])
def file_page(request: HttpRequest) -> HttpResponse:
    """`/shades/file/`: a file of the instrument with samples of several lots."""
    if request.method == "POST":
        return look(request, lot="")
    return _chooser(request, fresh_form())


def _chooser(request: HttpRequest, form: ColourForm, status: int = 200) -> HttpResponse:
    kept = [code for code in request.GET.get("kept", "").split(",") if LOT_CODE.fullmatch(code)]
    context = {
        "here": "shades",
        "f": form,
        "kept": kept[:MOST_SAMPLES],
        "may_read": may(acting(request), Right.READ_COLOUR),
        **READING_WORDS,
    }
    return render(request, "office/colour_file.html", context, status=status)


def look(request: HttpRequest, *, lot: str) -> HttpResponse:
    """Every sample of a file beside the lot it is taken for; nothing is kept yet."""
    form = form_of(request.POST, request.FILES.get("file"))
    try:
        if form.upload is None:
            raise InputError("file", "", "a file of the instrument; choose one first")
        name = str(form.upload.name)[:120]
        check_size(form.upload.size or 0, name=name)
        sent = SentFile(form.upload.read(), name)
        _ = form.taken_at  # a day that cannot be is said before the samples are
        preview = _preview(sent, form)
    except DofferError as refused:
        form.wrong(refused)
        return _lot_page(request, lot, form=form, status=422) if lot else _chooser(request, form, status=422)
    said = {line.number: line.lot or lot for line in preview.lines}
    return _previewed(request, sent, preview, form, said=said, back=lot)


def _preview(sent: SentFile, form: ColourForm, names: Mapping[int, str] | None = None) -> ReadingPreview:
    found = preview_readings(
        sent.data,
        sent.name,
        lots=lot_numbers(),
        tables=bridge.current_tables(),
        names=names,
        observer_deg=form.pad.observer_deg,
    )
    if len(found.lines) > MOST_SAMPLES:
        allowed = f"at most {MOST_SAMPLES} at a time; save them in parts, or use doffer shade read"
        raise InputError("spectra", len(found.lines), allowed)
    return found


def _previewed(
    request: HttpRequest,
    sent: SentFile,
    preview: ReadingPreview,
    form: ColourForm,
    *,
    said: Mapping[int, str],
    back: str,
    errors: Mapping[str, str] | None = None,
) -> HttpResponse:
    lines = [
        (
            line,
            chip(fibre_hex(min(line.lab[0], 100.0), *line.lab[1:]), f"sample {line.name}", width=64),
            said.get(line.number, ""),
        )
        for line in preview.lines
    ]
    context: dict[str, Any] = {
        "here": "lots" if back else "shades",
        "preview": preview,
        "lines": lines,
        "f": form,
        "back": back,
        "back_address": reverse("lot_colour", args=[back]) if back else reverse("colour_file"),
        "data": base64.b64encode(sent.data).decode(),
        "file_name": sent.name,
        "geometry": form.text("geometry") or preview.geometry,
        "instrument": form.text("instrument") or preview.instrument,
        "lots": sorted(lot_numbers()),
        "errors": dict(errors or {}),
        "may_read": may(acting(request), Right.READ_COLOUR),
        "key": request.POST.get("key") or fresh_key(),
        "form_words": dict(FORMS),
    }
    return render(request, "office/colour_file_look.html", context, status=422 if errors else 200)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep the samples that belong to lots; all that are named, or none."""
    form = form_of(request.POST)
    try:
        data = base64.b64decode(request.POST.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        form.errors["file"] = "The file did not come through whole. Choose it again."
        return _chooser(request, form, status=422)
    sent, back = SentFile(data, request.POST.get("file_name", "")[:120]), request.POST.get("back", "")
    try:
        preview = _preview(sent, form)
    except DofferError as refused:
        form.errors["file"] = str(refused)
        return _chooser(request, form, status=422)
    said = {line.number: form.text(f"{LOT_FIELD}{line.number}").upper() for line in preview.lines}
    errors = _unknown(said)
    try:
        if not errors:
            named = {number: lot for number, lot in said.items() if lot}
            found = sittings_of(
                _preview(sent, form, named),
                drop=[number for number, lot in said.items() if not lot],
                form=form.pad.form,
                is_wet=form.pad.is_wet,
                is_behind_glass=form.pad.is_behind_glass,
                geometry=form.pad.geometry,
                instrument=form.text("instrument")[:80],
                observer_deg=form.pad.observer_deg,
                note=form.text("note")[:300],
            )
            taken_at = form.taken_at
            found = tuple((lot, replace(seen, taken_at=taken_at)) for lot, seen in found)
            record_file(acting(request), found, file_name=sent.name, key=key_of(request))
            return redirect("lot_colour", code=found[0][0]) if len(found) == 1 else redirect(_done(found))
    except DofferError as refused:
        errors = {"__all__": str(refused)}
    return _previewed(request, sent, preview, form, said=said, back=back, errors=errors)


def _unknown(said: Mapping[int, str]) -> dict[str, str]:
    known = lot_numbers()
    return {
        f"{LOT_FIELD}{number}": f"There is no lot {lot}. Type another number, or nothing to leave it out."
        for number, lot in said.items()
        if lot and lot not in known
    }


def _done(found: tuple[tuple[str, Any], ...]) -> str:
    return f"{reverse('colour_file')}?kept={','.join(lot for lot, _ in found)}"


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, reading_id: int) -> HttpResponse:
    """One tuft read again in the place of a wrong reading; both stay."""
    found = one_reading(reading_id)
    form = fresh_form(found.sitting.pad, light=found.sitting.light, instrument=found.sitting.instrument)
    if request.method == "POST":
        form = form_of(request.POST, request.FILES.get("file"))
        try:
            seen = form.seen()
            correct_reading(
                acting(request), reading_id, seen=seen, reason=form.text("reason"), key=key_of(request)
            )
            return redirect(_home_of(found))
        except DofferError as refused:
            form.wrong(refused)
    context: dict[str, Any] = {
        "here": "lots" if found.lot else "shades",
        "found": found,
        "home": _home_of(found),
        "how": view.how(found.sitting),
        "f": form,
        "may_read": may(acting(request), Right.READ_COLOUR),
        "key": request.POST.get("key") or fresh_key(),
        **READING_WORDS,
    }
    return render(request, "office/colour_correct.html", context, status=422 if form.errors else 200)


def _home_of(found: OneReading) -> str:
    if found.lot:
        return reverse("lot_colour", args=[found.lot])
    if found.recipe:
        return reverse("blend_recipe", args=[found.recipe])
    return reverse("shade", args=[found.shade])


urlpatterns = [
    path("lots/<str:code>/colour/", of_lot, name="lot_colour"),
    path("shades/file/", file_page, name="colour_file"),
    path("shades/file/keep/", keep, name="colour_file_keep"),
    path("shades/readings/<int:reading_id>/", correct, name="colour_correct"),
]
