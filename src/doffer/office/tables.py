"""The tables behind every figure: each row with its source, the mill's own figure beside the shipped one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
from doffer.people.rights import Right, may
from doffer.tables.catalogue import TABLES
from doffer.tables.loader import FIXED_COLUMNS, own_columns
from doffer.tables.rows import Rule

ROWS_A_PAGE = 50
UNIT_WORDS = {
    "pct": "%",
    "um": "micron",
    "mm": "mm",
    "g": "g",
    "min": "min",
    "kg_per_h": "kg/h",
    "g_cm3": "g/cm³",
    "c": "°C",
    "tex": "tex",
}
SOURCES = "sources"


@dataclass(frozen=True, slots=True)
class Column:
    """A column as it is said: "regain_low_pct" is "Regain low" in %."""

    name: str
    title: str
    unit: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """One table in the list."""

    name: str
    title: str
    purpose: str
    n_rows: int
    n_own: int


def column_of(name: str) -> Column:
    """A column's name taken apart into words and unit."""
    for ending in sorted(UNIT_WORDS, key=len, reverse=True):
        if name.endswith(f"_{ending}"):
            words = name.removesuffix(f"_{ending}")
            return Column(name, words.replace("_", " ").capitalize(), UNIT_WORDS[ending])
    return Column(name, name.replace("_", " ").capitalize(), "")


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
    """`/records/tables/regain/`: its rows, fifty a page, those that hold every typed word."""
    info = _info(table)
    search = request.GET.get("search", "").strip()
    rows = [row for row in table_rows(table) if _holds(row, search.casefold().split())]
    start = number_after(request, "from") or 0
    shown = rows[start : start + ROWS_A_PAGE]
    end = start + len(shown)
    columns = [
        column_of(cell.column) for cell in (rows[0].cells if rows else ()) if cell.column not in FIXED_COLUMNS
    ]
    context = {
        "here": "records",
        "info": info,
        "columns": columns,
        "rows": shown,
        "fixed": FIXED_COLUMNS,
        "titles": {key: source.title for key, source in current_tables().sources.items()},
        "search": search,
        "words": f"{start + 1} to {end} of {len(rows)} rows" if rows else "no row",
        "before": _page(table, search, max(0, start - ROWS_A_PAGE)) if start else "",
        "after": _page(table, search, end) if end < len(rows) else "",
        "can_own": table != SOURCES,
        "history": own_figures(table)[:ROWS_A_PAGE],
    }
    return render(request, "office/tables_one.html", context)


def _info(name: str) -> Any:
    if name not in TABLES:
        raise NotFoundError("table", name, f"There are {', '.join(TABLES)}")
    return TABLES[name]


def _holds(row: TableRow, words: Sequence[str]) -> bool:
    text = " ".join(cell.value for cell in row.cells).casefold().replace("_", " ")
    return all(word.replace("_", " ") in text for word in words)


def _page(name: str, search: str, start: int) -> str:
    wanted = {key: value for key, value in (("search", search), ("from", start)) if value}
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
            return redirect(_page(table, "", 0))
        except TableError as wrong:
            errors[wrong.column if wrong.column in rules else "__all__"] = _sentence(wrong)
        except InputError as wrong:
            errors["__all__"] = str(wrong)
    fields = [_field(request, row, column, rule) for column, rule in rules.items()]
    context = {
        "here": "records",
        "info": TABLES[table],
        "row": row,
        "fields": fields,
        "shipped": _shipped(row),
        "titles": {cell.column: column_of(cell.column).title for cell in row.cells},
        "source": current_tables().original.sources[_shipped_source(table, row.key)],
        "errors": errors,
        "reason": request.POST.get("reason", ""),
        "key": request.POST.get("key") or fresh_key(),
        "history": [figure for figure in own_figures(table) if figure.row == row.key],
        "may_write": may(acting(request), Right.TABLES),
    }
    return render(request, "office/tables_row.html", context, status=422 if errors else 200)


def _shipped(row: TableRow) -> list[tuple[str, str, str]]:
    """Title, shipped value and unit of each cell."""
    cells = [(column_of(cell.column), cell) for cell in row.cells if cell.column not in FIXED_COLUMNS]
    return [
        (said.title, cell.value if cell.shipped is None else cell.shipped, said.unit) for said, cell in cells
    ]


def _shipped_source(name: str, key: str) -> str:
    row = current_tables().original.table(name)[key]
    return str(getattr(row, "source", key))


def _sentence(wrong: TableError) -> str:
    return f"{column_of(wrong.column).title}: expected {wrong.expected}."


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


def _field(request: HttpRequest, row: TableRow, column: str, rule: Rule) -> Field:
    cell = next(cell for cell in row.cells if cell.column == column)
    hints = [f"shipped: {cell.shipped or 'empty'}"] if cell.shipped is not None else []
    if rule.is_number:
        hints.append(f"from {rule.low:g} to {rule.high:g}")
    kind = "number" if rule.is_number else "choice" if rule.choices or rule.is_flag else "text"
    choices = ("yes", "no") if rule.is_flag else rule.choices
    return Field(
        column=column_of(column),
        value=request.POST.get(column, cell.value),
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
    return redirect(_page(table, "", 0))


urlpatterns = [
    path("records/tables/", list_page, name="tables"),
    path("records/tables/<str:table>/", one, name="table"),
    path("records/tables/<str:table>/row/", edit, name="table_row"),
    path("records/tables/<str:table>/row/withdraw/", withdraw, name="table_withdraw"),
]
