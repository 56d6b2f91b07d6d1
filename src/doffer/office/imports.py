"""Lots from a file: chosen, looked at row by row, kept all or none."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import InputError, RefusedError
from doffer.exchange.desk import Beside
from doffer.exchange.lots import ImportPreview, RowResult, lots_of, preview_lots
from doffer.exchange.numbers import Habits
from doffer.exchange.owners import UnknownOwner, name_key
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
BROKEN = "The file did not come through whole. Choose it again."
DECIMALS = (("", "As the file shows"), (",", "With a comma: 3,5"), (".", "With a point: 3.5"))
DATES = (
    ("", "As the file shows"),
    ("dmy", "Day first: 2/3 is 2 March"),
    ("mdy", "Month first: 3/2 is 2 March"),
)
OWNER_MEND = "Correct the name in the file, or say above who it is."
MOST_OWNERS = 50
NEW = "new"
CODE = re.compile(r"[A-Za-z0-9_.-]{1,20}")


@dataclass(frozen=True, slots=True)
class Sent:
    """A file with what was said beside it; it travels through the page, so nothing lies about half-done."""

    data: bytes
    file_name: str
    owner: str
    decimal: str
    date_order: str
    answers: tuple[tuple[str, str], ...] = ()  # of an owner who is not known: name, NEW or the number meant

    @property
    def new_owners(self) -> dict[str, str]:
        """Names of owners to be recorded, by how they are compared."""
        return {name_key(name): name for name, answer in self.answers if answer == NEW}

    @property
    def same_owners(self) -> dict[str, str]:
        """Numbers of the owners who are meant by other names."""
        return {name_key(name): answer for name, answer in self.answers if answer and answer != NEW}


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
    if upload is None and request.POST.get("data"):
        return _look_again(request)
    if upload is None or upload.size is None:
        return _chooser(request, "Choose a file first: a list of lots as CSV or Excel (.xlsx).")
    if upload.size > MOST_BYTES:
        size = f"{upload.size / 1e6:.1f} MB"
        return _chooser(
            request, f"This file has {size}; a list of lots may have at most 1 MB. Is it the right one?"
        )
    return _looked(request, _sent(request, upload.read(), str(upload.name)))


def _look_again(request: HttpRequest) -> HttpResponse:
    """The same file once more, with what was said of the owners it names."""
    data = _travelled(request)
    if data is None:
        return _chooser(request, BROKEN)
    return _looked(request, _sent(request, data, request.POST.get("file_name", "")))


def _looked(request: HttpRequest, sent: Sent) -> HttpResponse:
    try:
        preview = preview_lots(sent.data, sent.file_name, _beside(request, sent))
    except InputError as wrong:
        return _chooser(request, str(wrong))
    return _previewed(request, sent, preview)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep what was looked at, all of it, or all but the rows that a person left out."""
    data = _travelled(request)
    if data is None:
        return _chooser(request, BROKEN)
    sent = _sent(request, data, request.POST.get("file_name", ""))
    beside = _beside(request, sent)
    drop = [int(row) for row in request.POST.get("leave_out", "").split(",") if row.isdecimal()]
    try:
        # Numbers that are taken are the command's affair: the same list sent twice finds its own ones taken.
        read = preview_lots(sent.data, sent.file_name, replace(beside, taken_tags=frozenset()))
        lots = [lot for _, lot in lots_of(read, drop=drop)]
        came = import_lots(
            acting(request),
            lots,
            file_name=sent.file_name,
            new_owners=tuple(sent.new_owners.values()),
            key=key_of(request),
        )
    except (InputError, RefusedError) as wrong:
        preview = preview_lots(sent.data, sent.file_name, beside)
        return _previewed(request, sent, preview, sentence=str(wrong))
    told = {"lots": [bag.lot for bag in came.lots], "owners": [owner.code for owner in came.owners]}
    words = "&".join(f"{name}={','.join(codes)}" for name, codes in told.items() if codes)
    return redirect(f"{reverse('import_done')}?{words}")


def _travelled(request: HttpRequest) -> bytes | None:
    """The file as it came along in the page; None when it was damaged."""
    try:
        return base64.b64decode(request.POST.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        return None


@require_safe
def done(request: HttpRequest) -> HttpResponse:
    """What came in, with a way to each lot and its tag."""
    codes, owners = (
        [code for code in request.GET.get(name, "").split(",") if CODE.fullmatch(code)]
        for name in ("lots", "owners")
    )
    names = {code: name for name, code in owner_names().items() if code in owners}
    context = {
        "here": "records",
        "codes": codes,
        "owners": [(code, names.get(code, code)) for code in owners],
    }
    return render(request, "office/imports_done.html", context)


def _sent(request: HttpRequest, data: bytes, file_name: str) -> Sent:
    return Sent(
        data=data,
        file_name=file_name[:120],
        owner=request.POST.get("owner", ""),
        decimal=_one_of(request.POST.get("decimal", ""), DECIMALS),
        date_order=_one_of(request.POST.get("dates", ""), DATES),
        answers=_answers(request),
    )


def _answers(request: HttpRequest) -> tuple[tuple[str, str], ...]:
    """What was said of each owner who is not known, by the name the file gives."""
    said = []
    for place in range(1, MOST_OWNERS + 1):
        name = request.POST.get(f"owner_{place}_name", "").strip()
        answer = request.POST.get(f"owner_{place}", "")
        if name and (answer == NEW or CODE.fullmatch(answer)):
            said.append((name, answer))
    return tuple(said)


def _one_of(typed: str, options: tuple[tuple[str, str], ...]) -> str:
    return typed if typed in dict(options) else ""


def _beside(request: HttpRequest, sent: Sent) -> Beside:
    owner = one_customer(sent.owner).row if sent.owner else None
    return Beside(
        tables=current_tables(),
        today=clock.today(),
        owner=owner.code if owner else "",
        owners=owner_names(),
        new_owners=sent.new_owners,
        same_owners=sent.same_owners,
        owner_mend=OWNER_MEND,
        taken_tags=lot_numbers(),
        units=owner.units if owner else units_of(request),
        habits=Habits(decimal=sent.decimal, date_order=sent.date_order),
    )


def _previewed(
    request: HttpRequest, sent: Sent, preview: ImportPreview, *, sentence: str = ""
) -> HttpResponse:
    refused = [row for row in preview.rows if not row.is_understood]
    understood = [row for row in preview.rows if row.is_understood]
    person = acting(request)
    strangers = _strangers(sent, preview)
    context: dict[str, Any] = {
        "here": "records",
        "preview": preview,
        "strangers": strangers[:MOST_OWNERS],
        "n_strangers": len(strangers),
        "answers": _told(sent),
        "new_owners": [one for one in _owners_in(understood) if one in sent.new_owners.values()],
        "may_record": may(person, Right.CUSTOMERS),
        "refused": refused[:MOST_SHOWN],
        "leave_out": ",".join(str(row.number) for row in refused),
        "understood": understood[:MOST_SHOWN],
        "grams": {row.number: _grams(row.lot) for row in understood[:MOST_SHOWN]},
        "headings": [column.heading for column in preview.columns],
        "sent": sent,
        "data": base64.b64encode(sent.data).decode(),
        "error": sentence,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(person, Right.IMPORT),
    }
    return render(request, "office/imports_look.html", context, status=422 if sentence else 200)


@dataclass(frozen=True, slots=True)
class Stranger:
    """An owner who is not known, with the answers that can be given and the one that was."""

    owner: UnknownOwner
    choices: tuple[tuple[str, str], ...]
    answer: str


def _strangers(sent: Sent, preview: ImportPreview) -> list[Stranger]:
    said = {name_key(name): answer for name, answer in sent.answers}
    return [
        Stranger(owner, _choices(owner), said.get(name_key(owner.name), ""))
        for owner in preview.unknown_owners
    ]


def _choices(owner: UnknownOwner) -> tuple[tuple[str, str], ...]:
    """Who somebody with a name like a known one may be; nobody is chosen beforehand."""
    if not owner.near:
        return ()
    meant = [(number, f"It is {name} ({number})") for name, number in owner.near]
    return (*meant, (NEW, f"Somebody else: record {owner.name} as a new owner"), ("", "I do not know yet"))


def _told(sent: Sent) -> dict[str, str]:
    """What was said of the owners, as fields that travel on."""
    fields = {}
    for place, (name, answer) in enumerate(sent.answers, start=1):
        fields |= {f"owner_{place}_name": name, f"owner_{place}": answer}
    return fields


def _owners_in(rows: Sequence[RowResult]) -> list[str]:
    """Owners of the rows that are understood, each once, in the file's order."""
    return list(dict.fromkeys(row.lot.owner for row in rows if row.lot))


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
