"""The mill's own figures over shipped table rows; the shipped ones stay visible."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from doffer.errors import InputError, NotFoundError
from doffer.mill import bridge, clock
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.models import TableOverride
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.loader import Override


def override_cell(
    by: Person | None, *, table: str, row: str, column: str, value: str, reason: str = ""
) -> int:
    """Put the mill's own figure into one cell, also one equal to the shipped; gives the entry's number."""
    person = require(by, Right.TABLES)
    with write():
        figures, _ = _put_in(table, row, {column: value})
        return _entry(person, table, row, column, figures[column], reason)


def override_row(
    by: Person | None,
    *,
    table: str,
    row: str,
    values: Mapping[str, str],
    reason: str = "",
    key: uuid.UUID | None = None,
) -> tuple[int, ...]:
    """Put the mill's own figures into a row, all or none; gives the numbers of the entries.

    They are checked together, so that low, usual and high may move past the shipped ones in one go. Values
    that count already make no entry.

    Raises
    ------
    TableError
        No such table, row or column, or a value outside what the column allows.
    InputError
        No value differs from what counts now.
    """
    person = require(by, Right.TABLES)
    with write():
        body: dict[str, object] = {"cell": [table, row], "values": dict(values), "reason": reason}
        earlier = done_before(key, "override_row", body)
        if earlier:
            return tuple(earlier["entries"])
        figures, after = _put_in(table, row, values)
        before = bridge.current_tables().table(table)[row]
        news = [column for column in figures if getattr(after, column) != getattr(before, column)]
        if not news:
            raise InputError("figures", "", "at least one cell that differs from what counts now")
        entries = tuple(_entry(person, table, row, column, figures[column], reason) for column in news)
        remember(key, "override_row", body, {"entries": list(entries)}, person)
        return entries


def _put_in(table: str, row: str, values: Mapping[str, str]) -> tuple[dict[str, str], Any]:
    """The figures as they would be kept, and the row as it would be; TableError when it cannot be."""
    figures = {column: value.strip() for column, value in values.items()}
    others = [
        o for o in bridge.overrides_in_force() if (o.table, o.row) != (table, row) or o.column not in figures
    ]
    new = [Override(table, row, column, value) for column, value in figures.items()]
    return figures, bridge.load_tables().override([*others, *new]).table(table)[row]


def _entry(person: Person, table: str, row: str, column: str, value: str | None, reason: str) -> int:
    entry = TableOverride.objects.create(
        table=table,
        row=row,
        column=column,
        value=value,
        reason=reason,
        made_at=clock.now(),
        made_by=person,
    )
    what = f"{column} as shipped again" if value is None else f"{column} is now {value}"
    announce(person, "table", f"{table}/{row}"[:40], f"{what}: {reason}"[:300])
    return entry.pk


def withdraw_cell(by: Person | None, *, table: str, row: str, column: str, reason: str = "") -> int:
    """Go back to the shipped figure of a cell; both entries stay in the history. See `withdraw_row`."""
    return withdraw_row(by, table=table, row=row, columns=(column,), reason=reason)[0]


def withdraw_row(
    by: Person | None, *, table: str, row: str, columns: Sequence[str] = (), reason: str = ""
) -> tuple[int, ...]:
    """Go back to the shipped figures of a row, in these columns or in all; gives the numbers of the entries.

    Raises
    ------
    NotFoundError
        No figure of the mill's own stands there.
    TableError
        What is left of the mill's own figures would not fit the shipped ones beside it.
    """
    person = require(by, Right.TABLES)
    with write():
        in_force = bridge.overrides_in_force()
        own = [
            o for o in in_force if (o.table, o.row) == (table, row) and (not columns or o.column in columns)
        ]
        missing = [column for column in columns if column not in {o.column for o in own}]
        if missing or not own:
            raise NotFoundError("figure of the mill's own", "/".join((table, row, *missing)))
        bridge.load_tables().override([o for o in in_force if o not in own])
        return tuple(_entry(person, table, row, o.column, None, reason) for o in own)
