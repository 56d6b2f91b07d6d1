"""A CSV or XLSX file as lines of cells: the first door of an import, which lets nothing else through.

What a cell holds is text, a number or a date; formulas come as the value they had when the file was saved.
Every limit is checked before the file is opened by anything larger.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import TYPE_CHECKING

from doffer.errors import InputError
from doffer.exchange.numbers import Cell

if TYPE_CHECKING:
    import openpyxl

MOST_BYTES = 10_000_000
MOST_ROWS = 100_000
MOST_COLUMNS = 200
WIDEST = 1_000  # columns a row may claim, empty ones too
MOST_CELL_SIGNS = 2_000
MOST_MEMBERS = 1_000
MOST_UNPACKED_BYTES = 100_000_000
MOST_RATIO = 100
FIELD = "file"
ALLOWED = "a list saved as CSV or as an Excel workbook (.xlsx)"
DELIMITERS = ",;\t|"
_GUARDED = re.compile(r"'+[=+\-@\t\r\0]")
_SEP_LINE = re.compile(r"\"?sep=(.)\"?")
_LOOK_LINES = 30  # enough to see which sign parts the columns
_DAMAGED = (
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)  # what the workbook reader lets out of a damaged file

STRANGERS = (
    (
        b"%PDF",
        "a PDF cannot be read as a list: ask for the spreadsheet it was made from, or type the lots in",
    ),
    (b"\x89PNG", "a picture cannot be read as a list: type the lots in from it"),
    (b"\xff\xd8\xff", "a picture cannot be read as a list: type the lots in from it"),
    (b"GIF8", "a picture cannot be read as a list: type the lots in from it"),
    (b"RIFF", "a picture cannot be read as a list: type the lots in from it"),
    (
        b"\xd0\xcf\x11\xe0",
        "an old Excel file (.xls) or one with a password: open it and save it as .xlsx without a password",
    ),
    (b"{\\rtf", "a text document: copy its table into a spreadsheet and save that as .xlsx"),
)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the file that is not empty, with the number a spreadsheet shows beside it."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The lines of a file and what had to be assumed to read them."""

    kind: str
    lines: tuple[Line, ...]
    remarks: tuple[str, ...]


def read_sheet(data: bytes, name: str, *, score: Callable[[Sequence[str]], int]) -> Sheet:
    """The lines of a CSV or XLSX file.

    Parameters
    ----------
    data, name : bytes, str
        Content and name of the file; the content decides, the name is for sentences.
    score : callable
        How many headings are known in a line of cells; picks the sign that parts the columns of a CSV.

    Raises
    ------
    InputError
        Anything that is no such list, too large, damaged, or packed to burst.
    """
    _check_outside(data, name)
    if data[:4] == b"PK\x03\x04":
        return _workbook(data, name)
    return _text_list(data, name, score)


def _check_outside(data: bytes, name: str) -> None:
    if not data.strip():
        raise InputError(FIELD, name, f"{ALLOWED}; this one is empty")
    if len(data) > MOST_BYTES:
        raise InputError(FIELD, name, f"at most {MOST_BYTES // 1_000_000} MB; split it in two")
    head = data[:512].lstrip()
    for magic, advice in STRANGERS:
        if head.startswith(magic):
            raise InputError(FIELD, name, f"{ALLOWED}; this is {advice}")
    if head[:5].lower() in (b"<html", b"<!doc", b"<?xml") or head[4:8] == b"ftyp":
        advice = "this is a web page, XML or a picture: save the list itself from the spreadsheet"
        raise InputError(FIELD, name, f"{ALLOWED}; {advice}")


def _text_list(data: bytes, name: str, score: Callable[[Sequence[str]], int]) -> Sheet:
    text, remark = _decoded(data, name)
    delimiter, skip = _delimiter(text, score)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        rows = [tuple(_unguarded(cell) for cell in row) for row in reader]
    except csv.Error as wrong:
        raise InputError(FIELD, name, f"{ALLOWED}; line {reader.line_num} cannot be read: {wrong}") from None
    lines = _lines(rows[skip:], name, first=skip + 1)
    return Sheet("csv", lines, (remark,) if remark else ())


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    """The text of the file and, when the writing had to be guessed, a remark."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _strictly(data, "utf-16", name), ""
    if b"\0" in data:
        for codec, zeros in (("utf-16-le", data[1:200:2]), ("utf-16-be", data[0:200:2])):
            if zeros.count(0) > len(zeros) / 2:
                return _strictly(data, codec, name), ""
        raise InputError(FIELD, name, f"{ALLOWED}; this is something else")
    try:
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        pass
    remark = "The file is not written in UTF-8 and was read as Western European: look at names with accents."
    try:
        return data.decode("cp1252"), remark
    except UnicodeDecodeError:
        return data.decode("latin-1"), remark


def _strictly(data: bytes, codec: str, name: str) -> str:
    try:
        text = data.decode(codec)
    except UnicodeDecodeError:
        raise InputError(FIELD, name, f"{ALLOWED}; its text is damaged: save it again as CSV UTF-8") from None
    if "\0" in text:
        raise InputError(FIELD, name, f"{ALLOWED}; this is something else")
    return text


def _delimiter(text: str, score: Callable[[Sequence[str]], int]) -> tuple[str, int]:
    """The sign between the columns, and how many lines at the top only say so ("sep=;")."""
    top = text.split("\n", _LOOK_LINES)[:_LOOK_LINES]
    named = _SEP_LINE.fullmatch(top[0].strip())
    if named and named[1] in DELIMITERS:
        return named[1], 1
    if top[0].strip().lower() == "sep=":  # the sign itself was a tab and went with the spaces
        return "\t", 1

    def known(delimiter: str) -> tuple[int, int]:
        lines = [line.replace('"', "").split(delimiter) for line in top]
        return max(score(cells) for cells in lines), max(len(cells) for cells in lines)

    return max(DELIMITERS, key=known), 0


def _unguarded(text: str) -> str:
    """The text without the one ' that an export puts before = + - @ to keep a spreadsheet from computing."""
    return text[1:] if _GUARDED.match(text) else text


def _lines(rows: Iterable[Sequence[Cell]], name: str, *, first: int = 1) -> tuple[Line, ...]:
    """Lines that hold something, without the empty cells at their ends."""
    lines = []
    for number, row in enumerate(rows, first):
        if number > MOST_ROWS + first:
            raise InputError(FIELD, name, f"at most {MOST_ROWS} lines; split it in two")
        cells = list(row)
        while cells and (cells[-1] is None or (isinstance(cells[-1], str) and not cells[-1].strip())):
            cells.pop()
        if not cells:
            continue
        if len(cells) > MOST_COLUMNS:
            raise InputError(FIELD, name, f"at most {MOST_COLUMNS} columns; line {number} has {len(cells)}")
        if any(isinstance(cell, str) and len(cell) > MOST_CELL_SIGNS for cell in cells):
            allowed = (
                f"at most {MOST_CELL_SIGNS} signs in a cell; look for a lost quotation mark at line {number}"
            )
            raise InputError(FIELD, name, allowed)
        lines.append(Line(number, tuple(cells)))
    return tuple(lines)


def _workbook(data: bytes, name: str) -> Sheet:
    try:
        _check_inside(data, name)
        return _first_sheet(data, name)
    except InputError:
        raise
    except _DAMAGED:
        advice = "this workbook is damaged: open it in the spreadsheet program and save it again"
        raise InputError(FIELD, name, f"{ALLOWED}; {advice}") from None


def _check_inside(data: bytes, name: str) -> None:
    """Count and size of what is packed inside, before anything is unpacked."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        members = packed.infolist()
    total = sum(member.file_size for member in members)
    if len(members) > MOST_MEMBERS or total > min(MOST_UNPACKED_BYTES, MOST_RATIO * len(data)):
        raise InputError(FIELD, name, f"{ALLOWED}; this one is packed so tightly that it is not opened")
    if not any(member.filename == "xl/workbook.xml" for member in members):
        advice = "this is another kind of document: open it in its program and save the list as .xlsx or CSV"
        raise InputError(FIELD, name, f"{ALLOWED}; {advice}")


def _first_sheet(data: bytes, name: str) -> Sheet:
    """The first sheet that holds anything; the others are named, not read."""
    import openpyxl  # slow to import, and only workbooks need it

    with warnings.catch_warnings():  # of features of the spreadsheet that a list has no use for
        warnings.simplefilter("ignore")
        return _read_book(openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True), name)


def _read_book(book: openpyxl.Workbook, name: str) -> Sheet:
    try:
        found: tuple[str, tuple[Line, ...]] = ("", ())
        others = []
        for sheet in book.worksheets:
            sheet.reset_dimensions()  # what a file says of its size is not believed
            if found[1]:
                others.append(sheet.title)
            else:
                found = (sheet.title, _lines(_cells(sheet, name), name))
        if not found[1]:
            raise InputError(FIELD, name, f"{ALLOWED}; this one is empty")
    finally:
        book.close()
    remark = f"Only the sheet “{found[0]}” was read, not {', '.join(f'“{title}”' for title in others)}."
    return Sheet("xlsx", found[1], (remark,) if others else ())


def _cells(sheet: object, name: str) -> Iterator[tuple[Cell, ...]]:
    """Rows of a worksheet; rows that the file leaves out come as empty ones."""
    for row in sheet.iter_rows():  # type: ignore[attr-defined]
        if len(row) > WIDEST:
            raise InputError(FIELD, name, f"{ALLOWED}; delete the empty columns far to the right of the list")
        yield tuple(_cell(cell.value, getattr(cell, "number_format", "")) for cell in row)


def _cell(value: object, number_format: str) -> Cell:
    """What a cell shows, as text, number or date."""
    if isinstance(value, time):  # a time of day without a day
        return value.isoformat()
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value * 100:.10g} %" if "%" in (number_format or "") else value
    if value is None or isinstance(value, bool | date):
        return value
    return _unguarded(str(value))
