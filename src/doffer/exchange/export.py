"""Out of the mill: lots, weighings and orders as CSV (RFC 4180) or XLSX.

Text that a spreadsheet would compute (it begins with = + - @, a tab, a line end or a zero sign) gets a ' in
front, which our own import takes away again; numbers stay numbers. A list of lots that went out comes in
again as it was, and every column says its unit.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Generic, TypeVar

from doffer.errors import InputError
from doffer.mill.import_rows import LotRow
from doffer.mill.queries.lots import WeighingRow
from doffer.mill.queries.orders import OrderRow

T = TypeVar("T")
Value = str | int | float | Decimal | date | None
KINDS = ("csv", "xlsx")
BOM = "\ufeff"  # spreadsheets take a CSV without it for another writing
MG_PER_G = 1000
_WOULD_COMPUTE = re.compile(r"'*[=+\-@\t\r\0]")


@dataclass(frozen=True, slots=True)
class Heading(Generic[T]):
    """One column that goes out: its heading with the unit, and where its value comes from."""

    words: str
    value: Callable[[T], Value]


def export_lots(rows: Iterable[LotRow], *, kind: str = "csv", delimiter: str = ",") -> bytes:
    """A list of lots that our import reads back as it was."""
    return _file(LOT_HEADINGS, rows, "Lots", kind=kind, delimiter=delimiter)


def export_weighings(rows: Iterable[WeighingRow], *, kind: str = "csv", delimiter: str = ",") -> bytes:
    """Weighings as they were recorded, corrections beside what they correct."""
    return _file(WEIGHING_HEADINGS, rows, "Weighings", kind=kind, delimiter=delimiter)


def export_orders(rows: Iterable[OrderRow], *, kind: str = "csv", delimiter: str = ",") -> bytes:
    """Orders with their promises."""
    return _file(ORDER_HEADINGS, rows, "Orders", kind=kind, delimiter=delimiter)


def guarded(text: str) -> str:
    """Text that no spreadsheet computes; text that a ' already guards gets one more, so that none is lost."""
    return f"'{text}" if _WOULD_COMPUTE.match(text) else text


def _grams(mass_mg: int | None) -> Decimal | None:
    return None if mass_mg is None else Decimal(mass_mg) / MG_PER_G


def _percent(frac: float | None) -> Decimal | None:
    """A share in percent, exact in its shortest decimal writing."""
    return None if frac is None else Decimal(repr(frac)) * 100


LOT_HEADINGS: tuple[Heading[LotRow], ...] = (
    Heading("lot", lambda r: r.tag),
    Heading("owner", lambda r: r.owner),
    Heading("fibre", lambda r: r.fibre),
    Heading("breed", lambda r: r.breed_typed or r.breed),
    Heading("colour", lambda r: r.colour),
    Heading("form", lambda r: str(r.form)),
    Heading("gross (g)", lambda r: _grams(r.gross_mass_mg)),
    Heading("tare (g)", lambda r: _grams(r.tare_mass_mg)),
    Heading("net (g)", lambda r: _grams(r.net_mass_mg)),
    Heading("room humidity (%)", lambda r: _percent(r.rh_frac)),
    Heading("micron (um)", lambda r: r.diameter_um),
    Heading("micron sd (um)", lambda r: r.diameter_sd_um),
    Heading("micron source", lambda r: r.diameter_source if r.diameter_um is not None else None),
    Heading("staple (mm)", lambda r: r.staple_mm),
    Heading("received", lambda r: r.received_on),
    Heading("note", lambda r: r.note),
)

WEIGHING_HEADINGS: tuple[Heading[WeighingRow], ...] = (
    Heading("weighing", lambda r: r.id),
    Heading("weighed at", lambda r: r.weighed_at),
    Heading("recorded at", lambda r: r.recorded_at),
    Heading("moment", lambda r: str(r.moment)),
    Heading("form", lambda r: str(r.form)),
    Heading("gross (g)", lambda r: r.gross_g),
    Heading("tare (g)", lambda r: r.tare_g),
    Heading("net (g)", lambda r: r.net_g),
    Heading("oven-dry fibre (g)", lambda r: r.dry_mass_g),
    Heading("water on dry fibre (%)", lambda r: _percent(r.actual_regain_frac)),
    Heading("room humidity (%)", lambda r: _percent(r.rh_frac)),
    Heading("water known by", lambda r: str(r.branch)),
    Heading("conditioner (g)", lambda r: r.finish_g),
    Heading("scale", lambda r: r.scale),
    Heading("container", lambda r: r.tag),
    Heading("run", lambda r: r.run),
    Heading("person", lambda r: r.person),
    Heading("source", lambda r: str(r.source)),
    Heading("note", lambda r: r.note),
    Heading("corrects weighing", lambda r: r.corrects),
    Heading("corrected by weighing", lambda r: r.corrected_by),
)

ORDER_HEADINGS: tuple[Heading[OrderRow], ...] = (
    Heading("order", lambda r: r.code),
    Heading("owner number", lambda r: r.owner),
    Heading("owner", lambda r: r.owner_name),
    Heading("product", lambda r: r.product),
    Heading("target", lambda r: r.target),
    Heading("booked", lambda r: r.booked_on),
    Heading("promised", lambda r: r.promised_on),
    Heading("date is hard", lambda r: "yes" if r.date_is_hard else "no"),
    Heading("state", lambda r: str(r.state)),
    Heading("next stage", lambda r: r.next_stage),
    Heading("note", lambda r: r.note),
)


def _file(
    headings: Sequence[Heading[T]], rows: Iterable[T], title: str, *, kind: str, delimiter: str
) -> bytes:
    if kind not in KINDS:
        raise InputError("kind of file", kind, f"one of {', '.join(KINDS)}")
    if delimiter not in (",", ";", "\t"):
        raise InputError("sign between the columns", delimiter, "a comma, a semicolon or a tab")
    words = [heading.words for heading in headings]
    lines = ([heading.value(row) for heading in headings] for row in rows)
    return _workbook(words, lines, title) if kind == "xlsx" else _csv(words, lines, delimiter)


def _csv(words: Sequence[str], lines: Iterable[Sequence[Value]], delimiter: str) -> bytes:
    out = io.StringIO(newline="")
    out.write(BOM)
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    writer.writerow(words)
    for line in lines:
        writer.writerow([_as_text(value) for value in line])
    return out.getvalue().encode("utf-8")


def _as_text(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return repr(value)


def _workbook(words: Sequence[str], lines: Iterable[Sequence[Value]], title: str) -> bytes:
    """Row by row, so that memory does not grow with the list."""
    import xlsxwriter  # slow to import, and only workbooks need it

    out = io.BytesIO()
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        sheet = book.add_worksheet(title)
        bold = book.add_format({"bold": True})
        days = book.add_format({"num_format": "yyyy-mm-dd"})
        moments = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for at, word in enumerate(words):
            sheet.write_string(0, at, word, bold)
        for number, line in enumerate(lines, 1):
            for at, value in enumerate(line):
                if isinstance(value, str):
                    sheet.write_string(number, at, guarded(value))
                elif isinstance(value, datetime):  # spreadsheets know no time zones
                    sheet.write_datetime(number, at, value.replace(tzinfo=None), moments)
                elif isinstance(value, date):
                    sheet.write_datetime(number, at, value, days)
                elif value is not None:
                    sheet.write_number(number, at, float(value))
    return out.getvalue()
