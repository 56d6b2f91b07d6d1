"""Read the tables, check every cell, and let a mill put its own figures over the shipped ones."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from doffer.errors import TableError
from doffer.tables import colour_rows, rows
from doffer.tables.catalogue import TABLES, TableInfo
from doffer.tables.cells import Rule
from doffer.working import STATUS_WORDS, Status

SHIPPED_STATUSES = tuple(status for status in Status if status is not Status.OWN)
OWN_SOURCE = "own"  # the one source that is used by overrides only
FIXED_COLUMNS = ("source", "place", "status", "note")


@dataclass(frozen=True, slots=True)
class Override:
    """A mill's own value for one cell of a shipped table, as typed."""

    table: str
    row: str
    column: str
    value: str


@dataclass(frozen=True)
class Tables:
    """All tables; each maps a row's key to its row. Never changed: `override` returns another one."""

    fibres: Mapping[str, rows.Fibre]
    breeds: Mapping[str, rows.Breed]
    regain: Mapping[str, rows.Regain]
    sorption: Mapping[str, rows.Sorption]
    isotherm: Mapping[str, rows.IsothermPoint]
    scour_yields: Mapping[str, rows.ScourYield]
    stage_losses: Mapping[str, rows.StageLoss]
    fibre_names: Mapping[str, rows.FibreName]
    counts: Mapping[str, rows.CountSystem]
    wool_grades: Mapping[str, rows.WoolGrade]
    mohair_grades: Mapping[str, rows.MohairGrade]
    alpaca_classes: Mapping[str, rows.AlpacaClass]
    yarn_classes: Mapping[str, rows.YarnClass]
    yarn_limits: Mapping[str, rows.YarnLimit]
    yarn_figures: Mapping[str, rows.YarnFigure]
    rates: Mapping[str, rows.WorkRate]
    settings: Mapping[str, rows.Setting]
    twist: Mapping[str, rows.Twist]
    cross_section: Mapping[str, rows.CrossSection]
    tristimulus: Mapping[str, colour_rows.TristimulusWeight]
    ciede2000: Mapping[str, colour_rows.ColourPair]
    colour_models: Mapping[str, colour_rows.ColourModel]
    grey_scale: Mapping[str, colour_rows.GreyScaleGrade]
    additives: Mapping[str, rows.Additive]
    cautions: Mapping[str, rows.Caution]
    machine_kinds: Mapping[str, rows.MachineKind]
    machine_settings: Mapping[str, rows.MachineSetting]
    run_settings: Mapping[str, rows.RunSetting]
    plan_defaults: Mapping[str, rows.PlanDefault]
    evenness_figures: Mapping[str, rows.EvennessFigure]
    constants: Mapping[str, rows.Constant]
    sources: Mapping[str, rows.Source]
    shipped: Tables | None = None

    def table(self, name: str) -> Mapping[str, Any]:
        """One table by its name; TableError when there is none."""
        if name not in TABLES:
            raise TableError(name, "-", "-", f"one of the tables {', '.join(TABLES)}")
        table: Mapping[str, Any] = getattr(self, name)
        return table

    @property
    def original(self) -> Tables:
        """The shipped tables, without the mill's own figures."""
        return self.shipped or self

    @cached_property
    def sha256(self) -> str:
        """Fingerprint over every cell, so that a plan can say on which figures it rests."""
        digest = hashlib.sha256()
        for name in TABLES:
            for row_key, row in sorted(self.table(name).items()):
                cells = [row_key, *(getattr(row, f.name) for f in dataclasses.fields(row))]
                line = "\x1f".join("" if c is None else str(c) for c in cells)
                digest.update(f"{name}\x1f{line}\n".encode())
        return digest.hexdigest()

    def override(self, overrides: Iterable[Override]) -> Tables:
        """The same tables with the mill's own values: status "own", the note keeps the old value.

        Several values of one row are put in first and then checked against each other, in whatever order they
        come: a low value may rise above the old usual one when the usual one rises with it.

        Raises
        ------
        TableError
            Unknown table, row or column, a key or source column, or a value outside the column's range.
        """
        changed: dict[str, dict[str, Any]] = {}
        touched: dict[tuple[str, str], None] = {}
        for change in overrides:
            table = changed.setdefault(change.table, dict(self.table(change.table)))
            if change.row not in table:
                raise TableError(change.table, change.row, change.column, "a row that exists")
            table[change.row] = _changed_row(table[change.row], change)
            touched[change.table, change.row] = None
        for name, key in touched:  # low, middle and high given together are looked at together
            _check_rising(name, key, changed[name][key])
        if not changed:
            return self
        frozen = {name: MappingProxyType(table) for name, table in changed.items()}
        result = dataclasses.replace(self, **frozen, shipped=self.original)
        check_references(result)
        return result


@cache
def load_tables() -> Tables:
    """The shipped tables, read and checked once."""
    folder = resources.files("doffer.tables")
    return tables_from_texts({name: (folder / f"{name}.csv").read_text(encoding="utf-8") for name in TABLES})


def tables_from_texts(texts: Mapping[str, str]) -> Tables:
    """Tables from the text of each CSV.

    Raises
    ------
    TableError
        The first cell that breaks its rule: table, row (key or line number), column, what was expected.
    """
    parsed: dict[str, Any] = {
        name: MappingProxyType(_read(info, texts[name])) for name, info in TABLES.items()
    }
    tables = Tables(**parsed)
    check_references(tables)
    _check_sources_used(tables)
    return tables


def check_references(tables: Tables) -> None:
    """Every cell that points into another table finds its row there; TableError if not."""
    for name, info in TABLES.items():
        for field in dataclasses.fields(info.row_type):
            target = field.metadata["rule"].refers
            if not target:
                continue
            other, column = target.split(".")
            known = {getattr(row, column) for row in tables.table(other).values()}
            for row_key, row in tables.table(name).items():
                value = getattr(row, field.name)
                if value not in known:
                    raise TableError(name, row_key, field.name, f"a value of {target}, not “{value}”")


def row_key(row: Any) -> str:
    """Key of a row: its key columns joined by "/"; numbers without needless zeros."""
    parts = [getattr(row, f.name) for f in dataclasses.fields(row) if f.metadata["rule"].is_key]
    return "/".join(f"{part:g}" if isinstance(part, float) else str(part) for part in parts)


def columns(row_type: type) -> list[str]:
    """Column names of a table in the order of its CSV: source, place, status and note come last."""
    names = [field.name for field in dataclasses.fields(row_type)]
    if row_type is rows.Source:
        return names
    return [n for n in names if n not in FIXED_COLUMNS] + list(FIXED_COLUMNS)


def _read(info: TableInfo, text: str) -> dict[str, Any]:
    """Rows of one CSV by key."""
    lines = csv.reader(io.StringIO(text), strict=True)
    wanted = columns(info.row_type)
    head = next(lines, [])
    if head != wanted:
        raise TableError(info.name, "heading", ",".join(head) or "-", f"the columns {','.join(wanted)}")
    table: dict[str, Any] = {}
    for cells in lines:
        where = f"line {lines.line_num}"
        if len(cells) != len(wanted):
            raise TableError(info.name, where, "-", f"{len(wanted)} cells, not {len(cells)}")
        row = _row(info, where, dict(zip(wanted, cells, strict=True)))
        if row_key(row) in table:
            raise TableError(info.name, where, "key", f"each key once; “{row_key(row)}” is there twice")
        table[row_key(row)] = row
    return table


def _row(info: TableInfo, where: str, cells: Mapping[str, str]) -> Any:
    """One checked row."""
    fields = dataclasses.fields(info.row_type)
    values = {f.name: _cell(info.name, where, f.name, f.metadata["rule"], cells[f.name]) for f in fields}
    if "status" in values:
        if values["status"] not in SHIPPED_STATUSES:
            raise TableError(info.name, where, "status", f"one of {', '.join(SHIPPED_STATUSES)}")
        values["status"] = Status(values["status"])
    row = info.row_type(**values)
    _check_rising(info.name, where, row)
    return row


def _cell(table: str, where: str, column: str, rule: Rule, typed: str) -> str | float | bool | None:
    """The value of a cell, or TableError saying what was expected."""
    typed = typed.strip()
    if not typed:
        if rule.optional:
            return None if rule.is_number else ""
        raise TableError(table, where, column, "a value; the cell is empty")
    if rule.is_flag:
        if typed not in ("yes", "no"):
            raise TableError(table, where, column, f"yes or no, not “{typed}”")
        return typed == "yes"
    if rule.is_number:
        return _number(table, where, column, rule, typed)
    if rule.choices and typed not in rule.choices:
        raise TableError(table, where, column, f"one of {', '.join(rule.choices)}, not “{typed}”")
    return typed


def _number(table: str, where: str, column: str, rule: Rule, typed: str) -> float:
    """A finite number inside the rule's range."""
    expected = f"a number from {rule.low:g} to {rule.high:g}, not “{typed}”"
    try:
        value = float(typed)
    except ValueError:
        raise TableError(table, where, column, expected) from None
    if not math.isfinite(value) or not rule.low <= value <= rule.high:
        raise TableError(table, where, column, expected)
    return value


def _check_rising(table: str, where: str, row: Any) -> None:
    """Low <= middle <= high, as far as they are given."""
    given = [(name, getattr(row, name)) for name in row.rising if getattr(row, name) is not None]
    for (left, smaller), (right, larger) in pairwise(given):
        if smaller > larger:
            raise TableError(table, where, right, f"at least {smaller:g}, the {left}")


def _check_sources_used(tables: Tables) -> None:
    """A source that no row names is a leftover."""
    used = {row.source for name in TABLES if name != "sources" for row in tables.table(name).values()}
    for unused in sorted(set(tables.sources) - used - {OWN_SOURCE}):
        raise TableError("sources", unused, "key", "a source that some row names")


def _changed_row(row: Any, change: Override) -> Any:
    """The row with one cell of the mill's own."""
    own = own_columns(type(row))
    if isinstance(row, rows.Source):
        raise TableError(
            change.table, change.row, change.column, "a table of figures; sources stay as they are"
        )
    if change.column not in own:
        raise TableError(change.table, change.row, change.column, f"one of {', '.join(own)}")
    value = _cell(change.table, change.row, change.column, own[change.column], change.value)
    before = getattr(row, change.column)
    shown = _as_typed(before) or "empty"
    note = f"{change.column} was {shown} ({STATUS_WORDS[row.status]}, {row.source})"
    return dataclasses.replace(
        row,
        **{change.column: value},
        source=OWN_SOURCE,
        place="",
        status=Status.OWN,
        note="; ".join(part for part in (row.note, note) if part),
    )


def _as_typed(value: object) -> str:
    """A cell's value as a person would type it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value or "")


def own_columns(row_type: type) -> dict[str, Rule]:
    """Columns in which a mill may put its own figures, with their rules: not the key, not the last four."""
    rules = {field.name: field.metadata["rule"] for field in dataclasses.fields(row_type)}
    return {name: rule for name, rule in rules.items() if not rule.is_key and name not in FIXED_COLUMNS}
