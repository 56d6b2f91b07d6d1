"""The mill's own figures over shipped table rows; the shipped ones stay visible."""

from __future__ import annotations

from doffer.errors import NotFoundError
from doffer.mill import bridge, clock
from doffer.mill.booking import announce
from doffer.mill.models import TableOverride
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.loader import Override


def override_cell(
    by: Person | None, *, table: str, row: str, column: str, value: str, reason: str = ""
) -> int:
    """Put the mill's own figure into one cell; gives the number of the entry.

    Raises
    ------
    TableError
        No such table, row or column, or a value outside what the column allows.
    """
    person = require(by, Right.TABLES)
    with write():
        figure = Override(table, row, column, value.strip())
        others = [
            o for o in bridge.overrides_in_force() if (o.table, o.row, o.column) != (table, row, column)
        ]
        bridge.load_tables().override([*others, figure])
        entry = TableOverride.objects.create(
            table=table,
            row=row,
            column=column,
            value=figure.value,
            reason=reason,
            made_at=clock.now(),
            made_by=person,
        )
        announce(person, "table", f"{table}/{row}"[:40], f"{column} is now {value}: {reason}"[:300])
        return entry.pk


def withdraw_cell(by: Person | None, *, table: str, row: str, column: str, reason: str = "") -> int:
    """Go back to the shipped figure of a cell; both entries stay in the history."""
    person = require(by, Right.TABLES)
    with write():
        if not any((o.table, o.row, o.column) == (table, row, column) for o in bridge.overrides_in_force()):
            raise NotFoundError("figure of the mill's own", f"{table}/{row}/{column}")
        entry = TableOverride.objects.create(
            table=table,
            row=row,
            column=column,
            value=None,
            reason=reason,
            made_at=clock.now(),
            made_by=person,
        )
        announce(person, "table", f"{table}/{row}"[:40], f"{column} as shipped again: {reason}"[:300])
        return entry.pk
