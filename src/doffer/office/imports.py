"""Lots from a file: chosen, looked at row by row, kept all or none."""

from __future__ import annotations

import base64
import binascii
import re
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import InputError, RefusedError
from doffer.exchange.desk import Beside
from doffer.exchange.lots import ImportPreview, lots_of, preview_lots
from doffer.exchange.numbers import Habits
from doffer.mill import clock
from doffer.mill.commands.import_lots import import_lots
from doffer.mill.queries.customers import find_customers, one_customer
from doffer.mill.queries.known import lot_numbers, owner_names
from doffer.mill.queries.tables import current_tables
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.people.rights import Right, may

MOST_BYTES = 1_000_000
MOST_SHOWN = 50
MG_PER_G = 1000
DECIMALS = (("", "As the file shows"), (",", "With a comma: 3,5"), (".", "With a point: 3.5"))
DATES = (
    ("", "As the file shows"),
    ("dmy", "Day first: 2/3 is 2 March"),
    ("mdy", "Month first: 3/2 is 2 March"),
)
CODE = re.compile(r"[A-Za-z0-9_.-]{1,20}")


@dataclass(frozen=True, slots=True)
class Sent:
    """A file with what was said beside it; it travels through the page, so nothing lies about half-done."""

    data: bytes
    file_name: str
    owner: str
    decimal: str
    date_order: str


@require_safe
def choose(request: HttpRequest) -> HttpResponse:
    """`/records/import/`: which file, whose, how its numbers are written."""
    return _chooser(request)


def _chooser(request: HttpRequest, sentence: str = "") -> HttpResponse:
    owners = [(row.code, f"{row.name} ({row.code})") for row in find_customers().rows]
    context = {
        "here": "records",
        "owners": owners,
        "decimals": DECIMALS,
        "dates": DATES,
        "typed": request.POST,
        "error": sentence,
        "may_write": may(acting(request), Right.IMPORT),
    }
    return render(request, "office/imports.html", context, status=422 if sentence else 200)


@require_POST
def look(request: HttpRequest) -> HttpResponse:
    """Every row with what it would become, or the sentence that says how to mend it; nothing is kept."""
    upload = request.FILES.get("file")
    if upload is None or upload.size is None:
        return _chooser(request, "Choose a file first: a list of lots as CSV or Excel (.xlsx).")
    if upload.size > MOST_BYTES:
        size = f"{upload.size / 1e6:.1f} MB"
        return _chooser(
            request, f"This file has {size}; a list of lots may have at most 1 MB. Is it the right one?"
        )
    sent = _sent(request, upload.read(), str(upload.name))
    try:
        preview = preview_lots(sent.data, sent.file_name, _beside(request, sent))
    except InputError as wrong:
        return _chooser(request, str(wrong))
    return _previewed(request, sent, preview)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep what was looked at, all of it, or all but the rows that a person left out."""
    try:
        data = base64.b64decode(request.POST.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        return _chooser(request, "The file did not come through whole. Choose it again.")
    sent = _sent(request, data, request.POST.get("file_name", ""))
    beside = _beside(request, sent)
    drop = [int(row) for row in request.POST.get("leave_out", "").split(",") if row.isdecimal()]
    try:
        # Numbers that are taken are the command's affair: the same list sent twice finds its own ones taken.
        read = preview_lots(sent.data, sent.file_name, replace(beside, taken_tags=frozenset()))
        lots = [lot for _, lot in lots_of(read, drop=drop)]
        came = import_lots(acting(request), lots, file_name=sent.file_name, key=key_of(request))
    except (InputError, RefusedError) as wrong:
        preview = preview_lots(sent.data, sent.file_name, beside)
        return _previewed(request, sent, preview, sentence=str(wrong))
    return redirect(f"{reverse('import_done')}?lots={','.join(bag.lot for bag in came)}")


@require_safe
def done(request: HttpRequest) -> HttpResponse:
    """What came in, with a way to each lot and its tag."""
    codes = [code for code in request.GET.get("lots", "").split(",") if CODE.fullmatch(code)]
    return render(request, "office/imports_done.html", {"here": "records", "codes": codes})


def _sent(request: HttpRequest, data: bytes, file_name: str) -> Sent:
    return Sent(
        data=data,
        file_name=file_name[:120],
        owner=request.POST.get("owner", ""),
        decimal=_one_of(request.POST.get("decimal", ""), DECIMALS),
        date_order=_one_of(request.POST.get("dates", ""), DATES),
    )


def _one_of(typed: str, options: tuple[tuple[str, str], ...]) -> str:
    return typed if typed in dict(options) else ""


def _beside(request: HttpRequest, sent: Sent) -> Beside:
    owner = one_customer(sent.owner).row if sent.owner else None
    return Beside(
        tables=current_tables(),
        today=clock.today(),
        owner=owner.code if owner else "",
        owners=owner_names(),
        taken_tags=lot_numbers(),
        units=owner.units if owner else units_of(request),
        habits=Habits(decimal=sent.decimal, date_order=sent.date_order),
    )


def _previewed(
    request: HttpRequest, sent: Sent, preview: ImportPreview, *, sentence: str = ""
) -> HttpResponse:
    refused = [row for row in preview.rows if not row.is_understood]
    understood = [row for row in preview.rows if row.is_understood]
    context: dict[str, Any] = {
        "here": "records",
        "preview": preview,
        "refused": refused[:MOST_SHOWN],
        "leave_out": ",".join(str(row.number) for row in refused),
        "understood": understood[:MOST_SHOWN],
        "grams": {row.number: _grams(row.lot) for row in understood[:MOST_SHOWN]},
        "headings": [column.heading for column in preview.columns],
        "sent": sent,
        "data": base64.b64encode(sent.data).decode(),
        "error": sentence,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.IMPORT),
    }
    return render(request, "office/imports_look.html", context, status=422 if sentence else 200)


def _grams(lot: Any) -> float:
    """Net weight of a line [g]."""
    if lot.net_mass_mg is not None:
        return float(lot.net_mass_mg) / MG_PER_G
    return float((lot.gross_mass_mg or 0) - (lot.tare_mass_mg or 0)) / MG_PER_G


urlpatterns = [
    path("records/import/", choose, name="import"),
    path("records/import/look/", look, name="import_look"),
    path("records/import/keep/", keep, name="import_keep"),
    path("records/import/done/", done, name="import_done"),
]
