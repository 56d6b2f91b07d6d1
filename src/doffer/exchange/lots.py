"""Import of lots: the whole file is read and shown first; then all of it is kept, or nothing.

Every line is either understood, with the assumptions that were made, or refused, with sentences that say how
to mend it. Lots can be taken from the preview only when each refused line was mended or dropped by name.
"""

from __future__ import annotations

import dataclasses
import hashlib
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.exchange.desk import Beside, Desk, clean
from doffer.exchange.headings import Column, columns_of, known_columns
from doffer.exchange.lot_line import tag_of, understand
from doffer.exchange.numbers import Cell
from doffer.exchange.sheets import FIELD, Line, read_sheet
from doffer.fibre.kinds import Kind
from doffer.mill.import_rows import LotRow

HEADING_LINES = 20  # a title and an address may stand above the headings
LEAST_HEADINGS = 2
MOST_REASONS = 20  # sentences of a refusal; the preview holds them all
NUMBER_FIELDS = ("gross", "tare", "net", "micron", "micron_sd", "staple")
_DECIMAL_COMMA = re.compile(r"[0-9],(?:[0-9]{1,2}|[0-9]{4,})(?![0-9.,])|(?<![0-9])0,[0-9]")


@dataclass(frozen=True, slots=True)
class RowResult:
    """One line of the file: a lot, or the sentences that say why not; what was assumed; what stood there."""

    number: int
    tag: str
    lot: LotRow | None
    sentences: tuple[str, ...]
    remarks: tuple[str, ...]
    cells: tuple[str, ...]

    @property
    def is_understood(self) -> bool:
        """Whether it became a lot."""
        return self.lot is not None


@dataclass(frozen=True, slots=True)
class ImportPreview:
    """What a file would bring in.

    Parameters
    ----------
    file_name, sha256 : str
        Name and fingerprint of the file, to see that the same file is confirmed.
    columns : tuple of Column
        Each heading with what it was taken for; field "" is an extra column, kept in the note.
    rows : tuple of RowResult
        Every line below the headings that is not empty, in the file's order.
    remarks : tuple of str
        What was assumed for the whole file.
    """

    file_name: str
    sha256: str
    columns: tuple[Column, ...]
    rows: tuple[RowResult, ...]
    remarks: tuple[str, ...]

    @property
    def n_understood(self) -> int:
        """How many lines are lots."""
        return sum(row.is_understood for row in self.rows)

    @property
    def n_refused(self) -> int:
        """How many lines are refused."""
        return len(self.rows) - self.n_understood

    @property
    def extras(self) -> tuple[str, ...]:
        """Headings of columns that have no place of their own and go into the note."""
        return tuple(column.heading for column in self.columns if not column.field)

    def refusals(self) -> tuple[str, ...]:
        """Every sentence with its line: "Row 5: Weight (lb) is “-4”; ..."."""
        return tuple(f"Row {row.number}: {sentence}" for row in self.rows for sentence in row.sentences)


def preview_lots(data: bytes, file_name: str, beside: Beside) -> ImportPreview:
    """Read a CSV or XLSX list of lots and say of every line what it would become; nothing is kept.

    Raises
    ------
    InputError
        The file as a whole is no such list, or lacks a column without which no line can be understood.
    """
    sheet = read_sheet(data, file_name, score=known_columns)
    at = _heading_line(sheet.lines, file_name)
    columns, remarks = columns_of(sheet.lines[at].cells)
    _check_columns(columns, file_name, beside)
    lines = sheet.lines[at + 1 :]
    if not lines:
        raise InputError(FIELD, file_name, "a list with at least one lot below the headings")
    above = tuple(
        f"Line {line.number} stands above the headings and was not read." for line in sheet.lines[:at]
    )
    with_habits = _with_habits(beside, columns, lines)
    kinds: dict[str, Kind | NotFoundError] = {}
    is_csv = sheet.kind == "csv"
    rows = tuple(_read_line(line, columns, with_habits, kinds, is_csv=is_csv) for line in lines)
    return ImportPreview(
        file_name=file_name,
        sha256=hashlib.sha256(data).hexdigest(),
        columns=columns,
        rows=_without_repeated_tags(rows, beside.taken_tags),
        remarks=(*sheet.remarks, *above, *remarks, *_file_remarks(columns, beside)),
    )


def lots_of(preview: ImportPreview, *, drop: Collection[int] = ()) -> tuple[tuple[int, LotRow], ...]:
    """Row number and lot of every line that is to be kept, once nothing is left unsaid.

    Parameters
    ----------
    drop : collection of int
        Numbers of lines that are to be left out, as a person said.

    Raises
    ------
    RefusedError
        A refused line is neither mended nor dropped; or nothing would be left.
    InputError
        A number to drop that is no line of the list.
    """
    numbers = {row.number for row in preview.rows}
    for number in drop:
        if number not in numbers:
            raise InputError("row to leave out", number, "the number of a row of this file")
    open_rows = [row for row in preview.rows if not row.is_understood and row.number not in drop]
    if open_rows:
        reasons = [f"row {row.number}: {' '.join(row.sentences)}".rstrip(".") for row in open_rows]
        more = len(reasons) - MOST_REASONS
        shown = (*reasons[:MOST_REASONS], *((f"and {more} more rows",) if more > 0 else ()))
        mend = "Correct these rows in the file and read it again, or leave them out by their numbers"
        raise RefusedError("Nothing was brought in", shown, mend)
    kept = tuple((row.number, row.lot) for row in preview.rows if row.lot and row.number not in drop)
    if not kept:
        raise RefusedError("Nothing was brought in", ("every row is left out",), "Correct the file")
    return kept


def _heading_line(lines: Sequence[Line], file_name: str) -> int:
    """Place of the line with the most known headings near the top."""
    top = lines[:HEADING_LINES]
    scores = [known_columns(line.cells) for line in top]
    if not scores or max(scores) < LEAST_HEADINGS:
        allowed = (
            "a list whose first line names the columns: lot, owner, fibre, breed, colour, weight (kg), micron"
        )
        raise InputError(FIELD, file_name, f"{allowed} …")
    return scores.index(max(scores))


def _check_columns(columns: Sequence[Column], file_name: str, beside: Beside) -> None:
    fields = {column.field for column in columns}
    missing = []
    if not fields & {"fibre", "breed"}:
        missing.append("fibre or breed")
    if not fields & {"net", "gross"}:
        missing.append("weight (kg) or weight (lb)")
    if "owner" not in fields and not beside.owner:
        missing.append("owner (or choose one owner for the whole file)")
    if missing:
        found = ", ".join(column.heading for column in columns)
        raise InputError(
            FIELD, file_name, f"a list with a column {' and a column '.join(missing)}; it has {found}"
        )


def _file_remarks(columns: Sequence[Column], beside: Beside) -> list[str]:
    fields = {column.field for column in columns}
    remarks = []
    extras = [f"“{column.heading}”" for column in columns if not column.field]
    if extras:
        remarks.append(f"Kept in the note, because there is no place of their own: {', '.join(extras)}.")
    if "form" not in fields:
        remarks.append(
            "No column says whether the fibre is washed: taken as raw fleece unless a line says else."
        )
    if "received" not in fields:
        remarks.append("No column says when the bags arrived: today will be written.")
    if "micron" in fields and "micron_source" not in fields:
        remarks.append(
            "No column says who measured the micron: taken as estimates. A column “micron source” can."
        )
    if "owner" not in fields:
        remarks.append(f"No column names the owner: all lots are of {beside.owner}.")
    return remarks


def _with_habits(beside: Beside, columns: Sequence[Column], lines: Sequence[Line]) -> Beside:
    """Decimal commas anywhere in the figures make "1.234" a question everywhere in the file."""
    places = [at for at, column in enumerate(columns) if column.field in NUMBER_FIELDS]
    figures = (line.cells[at] for line in lines for at in places if at < len(line.cells))
    seen = any(isinstance(cell, str) and _DECIMAL_COMMA.search(cell) for cell in figures)
    if not seen:
        return beside
    return dataclasses.replace(beside, habits=dataclasses.replace(beside.habits, commas_seen=True))


def _read_line(
    line: Line,
    columns: Sequence[Column],
    beside: Beside,
    kinds: dict[str, Kind | NotFoundError],
    *,
    is_csv: bool,
) -> RowResult:
    shown = tuple(clean(cell) for cell in line.cells)
    over = len(line.cells) - len(columns)
    if over > 0 and is_csv:
        sentence = (
            f"There are {len(line.cells)} cells under {len(columns)} headings; a text or number with the "
            "sign between columns in it, such as a decimal comma, needs quotation marks."
        )
        return RowResult(line.number, "", None, (sentence,), (), shown)
    by_field: dict[str, Cell] = {}
    extras: list[tuple[str, Cell]] = []
    names: Mapping[str, Column] = {column.field: column for column in columns if column.field}
    for at, cell in enumerate(line.cells):
        column = columns[at] if at < len(columns) else Column(f"column {at + 1}")
        if column.field:
            by_field[column.field] = cell
        else:
            extras.append((column.heading, cell))
    desk = Desk(beside, names, by_field, tuple(extras), kinds)
    lot = understand(desk)
    tag = tag_of(by_field.get("tag"))
    return RowResult(line.number, tag, lot, tuple(desk.sentences), tuple(desk.remarks), shown)


def _without_repeated_tags(rows: Sequence[RowResult], taken: frozenset[str]) -> tuple[RowResult, ...]:
    """Refuse lines whose number stands twice: which bag is which cannot be known from here.

    A line that repeats another word for word is refused alone; the first of them stays.
    """
    taken_plain = {tag.casefold() for tag in taken}
    by_tag: dict[str, list[RowResult]] = {}
    for row in rows:
        if row.tag:
            by_tag.setdefault(row.tag.casefold(), []).append(row)
    refused: dict[int, str] = {}
    for tag, same in by_tag.items():
        if tag in taken_plain:
            sentence = (
                f"Lot “{same[0].tag}” is in the mill already; give the bag a new number or leave it out."
            )
            refused |= {row.number: sentence for row in same}
        elif len(same) > 1:
            refused |= _repeated(same)
    return tuple(
        dataclasses.replace(row, lot=None, sentences=(*row.sentences, refused[row.number]))
        if row.number in refused
        else row
        for row in rows
    )


def _repeated(same: Sequence[RowResult]) -> dict[int, str]:
    first = same[0]
    if all(row.cells == first.cells for row in same):
        return {
            row.number: f"This row repeats row {first.number} word for word; leave it out."
            for row in same[1:]
        }
    refused = {}
    for row in same:
        others = ", ".join(str(other.number) for other in same if other is not row)
        refused[row.number] = f"Lot “{row.tag}” is also in row {others}; give each bag its own number."
    return refused
