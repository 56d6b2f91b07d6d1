"""The tables as the mill uses them: shipped rows with its own figures beside them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

from doffer.errors import TableError
from doffer.mill.bridge import current_tables, own_figures_left_out
from doffer.mill.models import TableOverride
from doffer.tables.catalogue import TABLES
from doffer.tables.loader import columns

__all__ = [
    "Cell",
    "OwnFigure",
    "TableRow",
    "current_tables",
    "own_figures",
    "own_figures_left_out",
    "table_columns",
    "table_rows",
]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what counts, and the shipped value where the mill put its own (else None)."""

    column: str
    value: str
    shipped: str | None


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a table; `is_own` when a figure of the mill stands in it."""

    key: str
    cells: tuple[Cell, ...]
    source: str
    status: str
    is_own: bool


@dataclass(frozen=True, slots=True)
class OwnFigure:
    """One entry in the history of own figures; `value` None took the figure back."""

    id: int
    table: str
    row: str
    column: str
    value: str | None
    reason: str
    made_at: datetime
    made_by: str


def table_columns(table: str) -> tuple[str, ...]:
    """Column names of a table; TableError when there is none."""
    if table not in TABLES:
        raise TableError(table, "-", "-", f"one of the tables {', '.join(TABLES)}")
    return tuple(columns(TABLES[table].row_type))


def table_rows(table: str) -> tuple[TableRow, ...]:
    """All rows of one table; one query. (Tables are short, so they are shown whole.)"""
    names = table_columns(table)
    tables = current_tables()
    shipped = tables.original.table(table)
    rows = []
    for key, row in tables.table(table).items():
        cells = tuple(_cell(name, row, shipped[key]) for name in names)
        is_own = row is not shipped[key] and row != shipped[key]
        source, status = (getattr(row, name, "") for name in ("source", "status"))
        rows.append(TableRow(key, cells, str(source), str(status), is_own))
    return tuple(rows)


def _cell(name: str, row: object, shipped: object) -> Cell:
    value, before = getattr(row, name), getattr(shipped, name)
    changed = value != before and name not in ("source", "place", "status", "note")
    return Cell(name, _shown(value), _shown(before) if changed else None)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def own_figures(table: str = "") -> tuple[OwnFigure, ...]:
    """The history of own figures, newest first; one query."""
    rows = TableOverride.objects.order_by("-pk")
    if table:
        rows = rows.filter(table=table)
    fields = [field.name for field in dataclasses.fields(OwnFigure)]
    fields[fields.index("made_by")] = "made_by__name"
    return tuple(OwnFigure(*values) for values in rows.values_list(*fields)[:200])
