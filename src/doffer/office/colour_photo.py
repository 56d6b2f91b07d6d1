"""A colour from a photo with a chart in it: a first guess to begin with, never for a verdict."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.lab import parse_lab
from doffer.exchange.numbers import parse_number
from doffer.exchange.photo_colour import Box, sketch_of_photo
from doffer.fibre.colour.chart import Sketch
from doffer.mill import bridge
from doffer.mill.commands.lots import MOST_PHOTO_BYTES, add_photo
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.queries.lots import one_lot
from doffer.office.asked import acting, fresh_key, key_of
from doffer.office.colour_readings_form import FORMS, ColourForm, form_of
from doffer.people.rights import Right, may

MB = 1_000_000
PERCENT = 100.0
MOST_PATCHES_ASIDE = 20
PATCH_SHARE = 0.25  # half of a patch box in parts of the way from patch to patch: well inside its edges
FIBRE = (
    ("fibre_left", "Left edge"),
    ("fibre_top", "Upper edge"),
    ("fibre_right", "Right edge"),
    ("fibre_bottom", "Lower edge"),
)
CHART = (
    ("first_x", "First patch, from the left"),
    ("first_y", "First patch, from above"),
    ("last_x", "Last patch, from the left"),
    ("last_y", "Last patch, from above"),
)
FIRST = {
    "fibre_left": "10",
    "fibre_top": "10",
    "fibre_right": "40",
    "fibre_bottom": "90",
    "columns": "6",
    "rows": "4",
    "form": "loose",
}


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L027/colour/photo/`."""
    if request.method == "GET":
        return _shown(request, code, ColourForm(FIRST))
    form = form_of(request.POST, request.FILES.get("photo"))
    try:
        data = _picture(form)
        sketch = _sketch(form, data)
        key = key_of(request)
        photo = add_photo(acting(request), code, data=data, key=uuid.uuid5(key, "photo"))
        record_readings(acting(request), seen=_seen(form, sketch, photo), lot=code, key=key)
        return redirect("lot_colour", code=code)
    except DofferError as refused:
        if not form.errors:
            form.errors[_field(refused)] = str(refused)
    return _shown(request, code, form, status=422)


def _field(refused: DofferError) -> str:
    """The field that a sentence speaks of."""
    if not isinstance(refused, InputError):
        return "__all__"
    if refused.field == "photo":
        return "photo"
    if refused.field == "fibre in the photo":
        return "fibre_left"
    if "patch" in refused.field or "chart" in refused.field:
        return "first_x"
    return "photo"


def _picture(form: ColourForm) -> bytes:
    if form.upload is None:
        raise InputError("photo", "", "a picture with the fibre and the chart side by side; choose one first")
    if (form.upload.size or 0) > MOST_PHOTO_BYTES:
        size = f"{form.upload.size / MB:.0f} MB"
        raise InputError("photo", size, f"at most {MOST_PHOTO_BYTES // MB} MB; take a smaller picture")
    return bytes(form.upload.read())


def _sketch(form: ColourForm, data: bytes) -> Sketch:
    left, top, right, bottom = (_part(form, name, label) for name, label in FIBRE)
    ends = [_part(form, name, label) for name, label in CHART]
    columns, rows = (_count(form, name) for name in ("columns", "rows"))
    labs = _chart_labs(form, columns * rows)
    if form.errors:
        raise InputError("form", "not complete", "filled as its sentences say")
    return sketch_of_photo(
        data,
        fibre=(left, top, right, bottom),
        patches=_patches(ends, columns, rows),
        patch_labs=labs,
        tables=bridge.current_tables(),
    )


def _part(form: ColourForm, name: str, label: str) -> float:
    """A place in the picture, typed in per cent of its width or height."""
    allowed = "a number from 0 to 100, in per cent of the picture"
    try:
        value = float(parse_number(form.text(name), label.lower(), allowed=allowed))
        if 0 <= value <= PERCENT:
            return value / PERCENT
        raise InputError(label.lower(), form.text(name), allowed)
    except InputError as wrong:
        form.errors[name] = str(wrong)
        return 0.0


def _count(form: ColourForm, name: str) -> int:
    typed = form.text(name)
    if typed.isdecimal() and 2 <= int(typed) <= MOST_PATCHES_ASIDE:
        return int(typed)
    form.errors[name] = f"Type how many patches lie there, from 2 to {MOST_PATCHES_ASIDE}."
    return 2


def _chart_labs(form: ColourForm, n_patches: int) -> list[tuple[float, float, float]]:
    lines = [line for line in form.text("chart").splitlines() if line.strip()]
    try:
        labs = [parse_lab(line.strip(), f"patch {number}") for number, line in enumerate(lines, start=1)]
        if len(labs) != n_patches and "columns" not in form.errors and "rows" not in form.errors:
            raise InputError("patches", len(labs), f"{n_patches}, a line for each, row by row")
        return labs
    except InputError as wrong:
        form.errors["chart"] = str(wrong)
        return []


def _patches(ends: Sequence[float], columns: int, rows: int) -> list[Box]:
    """A box in the middle of each patch, row by row, between the first and the last one."""
    first_x, first_y, last_x, last_y = ends
    wide, high = (last_x - first_x) / (columns - 1), (last_y - first_y) / (rows - 1)
    half_x, half_y = abs(wide) * PATCH_SHARE, abs(high) * PATCH_SHARE
    return [
        (x - half_x, y - half_y, x + half_x, y + half_y)
        for y in (first_y + row * high for row in range(rows))
        for x in (first_x + column * wide for column in range(columns))
    ]


def _seen(form: ColourForm, sketch: Sketch, photo: int) -> Seen:
    note = f"from a photo with a chart: may be off by {sketch.off_low_de:g} to {sketch.off_high_de:g}"
    return Seen(
        tufts=(Tuft(labs={"D65": sketch.lab}, note=note),),
        form=form.text("form") or "loose",
        is_wet=form.text("wet") == "yes",
        is_photo=True,
        photo=photo,
    )


def _shown(request: HttpRequest, code: str, form: ColourForm, *, status: int = 200) -> HttpResponse:
    person = acting(request)
    context: dict[str, Any] = {
        "here": "lots",
        "row": one_lot(code).row,
        "f": form,
        "fibre_fields": FIBRE,
        "chart_fields": CHART,
        "pad_forms": FORMS,
        "most_mb": MOST_PHOTO_BYTES // MB,
        "may_write": may(person, Right.READ_COLOUR) and may(person, Right.INTAKE),
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(request, "office/colour_photo.html", context, status=status)


urlpatterns = [path("lots/<str:code>/colour/photo/", page, name="lot_colour_photo")]
