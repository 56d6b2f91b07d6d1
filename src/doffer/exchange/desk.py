"""The line of a list on the desk, and what is known beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from doffer.errors import InputError, NotFoundError
from doffer.exchange.headings import Column
from doffer.exchange.numbers import PLAIN, Cell, Habits, is_blank
from doffer.fibre.kinds import Kind, find_kind
from doffer.tables.loader import Tables

T = TypeVar("T")

MOST_SIGNS = {"tag": 20, "owner": 80, "colour": 60, "note": 400, "breed": 80, "fibre": 80}


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What is known beside the file.

    Parameters
    ----------
    tables : Tables
        Of the mill, with its own figures.
    today : date
        No bag was received after it.
    owner : str
        Number of the owner of every line that names none; "" when each line must.
    owners : mapping or None
        Number by owner's name, to check names against; None: not checked.
    new_owners, same_owners : mapping
        What a person said of owners the mill does not know, by `owners.name_key`: the name under which one is
        to be recorded, or the number of the owner it is.
    owner_mend : str
        How an unknown owner is mended where the list is read.
    taken_tags : frozenset of str
        Lot numbers of the mill.
    units : str
        "metric" or "us": the units meant where none stand.
    habits : Habits
        How numbers and dates are written, if the sender said so.
    """

    tables: Tables
    today: date
    owner: str = ""
    owners: Mapping[str, str] | None = None
    new_owners: Mapping[str, str] = field(default_factory=dict)
    same_owners: Mapping[str, str] = field(default_factory=dict)
    owner_mend: str = "Correct the name or record the owner first."
    taken_tags: frozenset[str] = frozenset()
    units: str = "metric"
    habits: Habits = PLAIN

    @property
    def mass_unit(self) -> str:
        """Unit of weights without one."""
        return "lb" if self.units == "us" else "kg"

    @property
    def length_unit(self) -> str:
        """Unit of lengths without one."""
        return "in" if self.units == "us" else "mm"


@dataclass(slots=True)
class Desk:
    """The line on the desk: its cells by what they are for, what is wrong with it, what was assumed."""

    beside: Beside
    columns: Mapping[str, Column]
    cells: Mapping[str, Cell]
    extras: tuple[tuple[str, Cell], ...] = ()
    kinds: dict[str, Kind | NotFoundError] = field(default_factory=dict)  # found in earlier lines
    sentences: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    to_keep: list[str] = field(default_factory=list)  # words for the note, so that nothing is lost

    def has(self, name: str) -> bool:
        """Whether the line says anything in this column."""
        return not is_blank(self.cells.get(name))

    def kind(self, typed: str) -> Kind:
        """Fibre and breed of a word; a list says the same few words on every line."""
        found = self.kinds.get(typed)
        if found is None:
            try:
                found = find_kind(self.beside.tables, typed)
            except NotFoundError as missing:
                found = missing
            self.kinds[typed] = found
        if isinstance(found, NotFoundError):
            raise NotFoundError(found.kind, found.key, found.hint)
        return found

    def heading(self, name: str) -> str:
        """The column's heading as the sender wrote it."""
        return self.columns[name].heading if name in self.columns else name

    def take(self, name: str, read: Callable[..., T], **named: object) -> T | None:
        """What a reader makes of a cell; None when empty or, with a sentence, when it cannot be read."""
        if not self.has(name):
            return None
        try:
            return read(self.cells[name], self.heading(name), habits=self.beside.habits, **named)
        except InputError as wrong:
            self.sentences.append(str(wrong))
            return None

    def unit(self, name: str, otherwise: str = "") -> str:
        """The unit in the column's heading."""
        return (self.columns[name].unit if name in self.columns else "") or otherwise

    def text(self, name: str) -> str:
        """A cell as one line of text, within its length; only a note may be “not known”."""
        is_said = self.has(name) or (name == "note" and name in self.columns)
        text = clean(self.cells.get(name)) if is_said else ""
        if len(text) > MOST_SIGNS.get(name, len(text)):
            self.sentences.append(
                f"{self.heading(name)} has {len(text)} signs; {MOST_SIGNS[name]} fit: shorten it."
            )
            return ""
        return text


def clean(cell: Cell) -> str:
    """A cell as one line of text: no line ends, no signs that cannot be printed."""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    if isinstance(cell, date):
        cell = cell.isoformat()[:10]
    printable = "".join(sign if sign.isprintable() else " " for sign in str("" if cell is None else cell))
    return " ".join(printable.split())
