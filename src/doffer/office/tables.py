"""The tables behind every figure: each row with its source, the mill's own figure beside the shipped one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import InputError, NotFoundError, TableError
from doffer.mill.commands.tables import override_row, withdraw_row
from doffer.mill.queries.tables import (
    TableRow,
    current_tables,
    own_figures,
    own_figures_left_out,
    table_rows,
)
from doffer.office.asked import acting, fresh_key, key_of, number_after
from doffer.office.table_words import Column, cell_words, column_of, row_words
from doffer.people.rights import Right, may
from doffer.tables.catalogue import TABLES
from doffer.tables.cells import Rule
from doffer.tables.loader import FIXED_COLUMNS, own_columns

ROWS_A_PAGE = 16  # as many cards as a thumb goes through in six screens of a phone
ROWS_OF_WIDE = 8  # of a table with many columns
MANY_COLUMNS = 7  # more do not stand side by side: each row is a card
MOST_ENTRIES = 50
MOST_CHOICES = 60
ALSO_FOUND_BY = ("fibre", "stage")
SOURCES = "sources"


@dataclass(frozen=True, slots=True)
class Shelf:
    """One table in the list."""

    name: str
    title: str
    purpose: str
    n_rows: int
    n_own: int


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/records/tables/`."""
    tables = current_tables()
    shelves = []
    for info in TABLES.values():
        shipped = tables.original.table(info.name)
        own = sum(row != shipped[key] for key, row in tables.table(info.name).items())
        shelves.append(Shelf(info.name, info.title, info.purpose, len(shipped), own))
    context = {"here": "records", "shelves": shelves, "left_out": own_figures_left_out()}
    return render(request, "office/tables.html", context)


@require_safe
def one(request: HttpRequest, table: str) -> HttpResponse:
    """`/records/tables/regain/`: a page of its rows, those that hold every typed word and chosen key."""
    info = _info(table)
    every = table_rows(table)
    finds = _finds(request, table, every)
    chosen = {find.name: find.value for find in finds if find.value}
    search = request.GET.get("search", "").strip()
    rows = [row for row in every if _holds(row, search.casefold().split()) and _has(row, chosen)]
    columns = [
        column_of(cell.column, table)
        for cell in (every[0].cells if every else ())
        if cell.column not in FIXED_COLUMNS
    ]
    is_wide = len(columns) > MANY_COLUMNS
    a_page = ROWS_OF_WIDE if is_wide else ROWS_A_PAGE
    start = number_after(request, "from") or 0
    shown = rows[start : start + a_page]
    end = start + len(shown)
    wanted = {"search": search, **chosen}
    context = {
        "here": "records",
        "info": info,
        "columns": columns,
        "rows": shown,
        "is_wide": is_wide,
        "fixed": FIXED_COLUMNS,
        "cell_words": cell_words,
        "row_words": row_words,
        "titles": {key: source.title for key, source in current_tables().sources.items()},
        "said": {column.name: column.title for column in columns},
        "search": search,
        "finds": finds,
        "is_narrowed": bool(search or chosen),
        "words": f"{start + 1} to {end} of {len(rows)} rows" if rows else "no row",
        "before": _page(table, wanted, max(0, start - a_page)) if start else "",
        "after": _page(table, wanted, end) if end < len(rows) else "",
        "can_own": table != SOURCES,
        "history": own_figures(table)[:MOST_ENTRIES],
    }
    return render(request, "office/tables_one.html", context)


@dataclass(frozen=True, slots=True)
class Find:
    """A part of the key to find rows by: its name, words, what can be chosen and what is."""

    name: str
    title: str
    choices: tuple[tuple[str, str], ...]
    value: str


def _finds(request: HttpRequest, table: str, rows: Sequence[TableRow]) -> tuple[Find, ...]:
    """The columns of the key, and fibre and stage, in which many rows share a few values."""
    keys = [
        field.name
        for field in fields(TABLES[table].row_type)
        if field.metadata["rule"].is_key or field.name in ALSO_FOUND_BY
    ]
    found = []
    for name in keys if len(rows) > ROWS_OF_WIDE else ():
        values = sorted({cell.value for row in rows for cell in row.cells if cell.column == name})
        if 1 < len(values) <= min(MOST_CHOICES, len(rows) - 1):
            choices = tuple((value, cell_words(name, value)) for value in values)
            value = request.GET.get(name, "")
            found.append(Find(name, column_of(name, table).title, choices, value if value in values else ""))
    return tuple(found)


def _has(row: TableRow, chosen: Mapping[str, str]) -> bool:
    values = {cell.column: cell.value for cell in row.cells}
    return all(values[name] == value for name, value in chosen.items())


def _info(name: str) -> Any:
    if name not in TABLES:
        raise NotFoundError("table", name, f"There are {', '.join(TABLES)}")
    return TABLES[name]


def _holds(row: TableRow, words: Sequence[str]) -> bool:
    text = " ".join(cell.value for cell in row.cells).casefold().replace("_", " ")
    return all(word.replace("_", " ") in text for word in words)


def _page(name: str, asked: Mapping[str, str], start: int) -> str:
    wanted = {key: value for key, value in (*asked.items(), ("from", start)) if value}
    return f"/records/tables/{name}/" + (f"?{urlencode(wanted)}" if wanted else "")


def _row(name: str, key: str) -> TableRow:
    _info(name)
    found = next((row for row in table_rows(name) if row.key == key), None)
    if found is None:
        raise NotFoundError(f"row in the table {TABLES[name].title}", key, "Choose one from the table")
    return found


@require_http_methods(["GET", "POST"])
def edit(request: HttpRequest, table: str) -> HttpResponse:
    """`/records/tables/regain/row/?key=wool/carded/eu_agreed`: several own figures of one row at once."""
    row = _row(table, request.GET.get("key", ""))
    rules = {column: rule for column, rule in own_columns(TABLES[table].row_type).items() if table != SOURCES}
    errors: dict[str, str] = {}
    if request.method == "POST":
        try:
            override_row(
                acting(request),
                table=table,
                row=row.key,
                values=_typed(request, row, rules),
                reason=request.POST.get("reason", "").strip(),
                key=key_of(request),
            )
            return redirect(_page(table, {}, 0))
        except TableError as wrong:
            errors[wrong.column if wrong.column in rules else "__all__"] = _sentence(table, wrong)
        except InputError as wrong:
            errors["__all__"] = str(wrong)
    own = [_field(request, row, column_of(column, table), rule) for column, rule in rules.items()]
    context = {
        "here": "records",
        "info": TABLES[table],
        "row": row,
        "fields": own,
        "shipped": _shipped(table, row),
        "row_words": row_words,
        "titles": {cell.column: column_of(cell.column, table).title for cell in row.cells},
        "words": {cell.column: cell.value for cell in row.cells if cell.column in FIXED_COLUMNS},
        "source": current_tables().original.sources[_shipped_source(table, row.key)],
        "errors": errors,
        "reason": request.POST.get("reason", ""),
        "key": request.POST.get("key") or fresh_key(),
        "history": [figure for figure in own_figures(table) if figure.row == row.key],
        "may_write": may(acting(request), Right.TABLES),
    }
    return render(request, "office/tables_row.html", context, status=422 if errors else 200)


def _shipped(table: str, row: TableRow) -> list[tuple[str, str, str]]:
    """Title, shipped value and unit of each cell."""
    cells = [(column_of(cell.column, table), cell) for cell in row.cells if cell.column not in FIXED_COLUMNS]
    return [
        (said.title, cell_words(said.name, cell.value if cell.shipped is None else cell.shipped), said.unit)
        for said, cell in cells
    ]


def _shipped_source(name: str, key: str) -> str:
    row = current_tables().original.table(name)[key]
    return str(getattr(row, "source", key))


def _sentence(table: str, wrong: TableError) -> str:
    return f"{column_of(wrong.column, table).title}: expected {wrong.expected}."


def _typed(request: HttpRequest, row: TableRow, rules: dict[str, Rule]) -> dict[str, str]:
    """Every cell as typed; a decimal comma is understood."""
    now = {cell.column: cell.value for cell in row.cells}
    typed = {column: request.POST.get(column, now[column]).strip() for column in rules}
    for column, rule in rules.items():
        if rule.is_number and typed[column].count(",") == 1 and "." not in typed[column]:
            typed[column] = typed[column].replace(",", ".")
    return typed


@dataclass(frozen=True, slots=True)
class Field:
    """One cell as a field."""

    column: Column
    value: str
    kind: str  # number, choice, flag or text
    choices: tuple[tuple[str, str], ...]
    hint: str
    is_needed: bool


def _field(request: HttpRequest, row: TableRow, column: Column, rule: Rule) -> Field:
    cell = next(cell for cell in row.cells if cell.column == column.name)
    hints = [f"shipped: {cell.shipped or 'empty'}"] if cell.shipped is not None else []
    if rule.is_number:
        hints.append(f"from {rule.low:g} to {rule.high:g}")
    kind = "number" if rule.is_number else "choice" if rule.choices or rule.is_flag else "text"
    choices = ("yes", "no") if rule.is_flag else rule.choices
    return Field(
        column=column,
        value=request.POST.get(column.name, cell.value),
        kind=kind,
        choices=tuple((choice, choice.replace("_", " ")) for choice in choices),
        hint="; ".join(hints).capitalize(),
        is_needed=not rule.optional,
    )


@require_POST
def withdraw(request: HttpRequest, table: str) -> HttpResponse:
    """Let the shipped figures of a row count again."""
    row = _row(table, request.GET.get("key", ""))
    withdraw_row(acting(request), table=table, row=row.key, reason=request.POST.get("reason", "").strip())
    return redirect(_page(table, {}, 0))


urlpatterns = [
    path("records/tables/", list_page, name="tables"),
    path("records/tables/<str:table>/", one, name="table"),
    path("records/tables/<str:table>/row/", edit, name="table_row"),
    path("records/tables/<str:table>/row/withdraw/", withdraw, name="table_withdraw"),
]
