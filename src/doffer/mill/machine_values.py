"""What a machine of this mill can be set to: its own figures, or the usual ones marked as guesses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from doffer.errors import NotFoundError
from doffer.mill.models import Machine, MachineSetting
from doffer.mill.models.yarn import Known
from doffer.mill.set_values import machine_row, names_of, read, say_setting, word_of
from doffer.tables import rows
from doffer.tables.loader import Tables
from doffer.working import Status


@dataclass(frozen=True, slots=True)
class ValueEntry:
    """One setting written down for a machine."""

    id: int
    values: tuple[float, ...]
    known: str
    known_words: str
    note: str
    made_at: datetime
    person: str


@dataclass(frozen=True, slots=True)
class MachineValue:
    """A setting that counts for a machine: its own, or the usual one while nobody wrote another down.

    Parameters
    ----------
    values : tuple of float
        In `unit`: one figure, two ends, named steps, or a list; empty: nobody knows and none is usual.
    usual : tuple of float
        What the tables guess, with their `source` and `status`.
    low, high : float or None
        Ends of what is usual, for a single figure.
    is_own : bool
        The mill wrote it down; `is_guess` stays true when it was guessed by the mill.
    """

    key: str
    words: str
    shape: str
    unit: str
    names: tuple[str, ...]
    values: tuple[float, ...]
    word: str
    usual: tuple[float, ...]
    low: float | None
    high: float | None
    is_own: bool
    is_guess: bool
    source: str
    status: Status
    note: str
    now: ValueEntry | None
    history: tuple[ValueEntry, ...] = ()

    @property
    def value(self) -> float | None:
        """The only figure, or the first; None where none is known."""
        return self.values[0] if self.values else None


@dataclass(frozen=True, slots=True)
class MachineSettings:
    """A machine and what it can be set to, in the order of the table; empty where its stage has none."""

    code: str
    name: str
    stage: str
    values: tuple[MachineValue, ...]

    def has(self, key: str) -> bool:
        """Whether this machine has such a setting."""
        return any(one.key == key for one in self.values)

    def of(self, key: str) -> MachineValue:
        """One of them; NotFoundError when this machine has no such setting."""
        found = next((one for one in self.values if one.key == key), None)
        if found is None:
            raise NotFoundError("setting of this machine", key, "Look at what the machine does")
        return found

    def value(self, key: str) -> float | None:
        """Its figure; None where nobody knows it or the machine has no such setting."""
        return self.of(key).value if self.has(key) else None

    def all_of(self, key: str) -> tuple[float, ...]:
        """Its figures; empty where nobody knows them or the machine has no such setting."""
        return self.of(key).values if self.has(key) else ()

    @property
    def n_own(self) -> int:
        """How many of them the mill knows itself."""
        return sum(not one.is_guess for one in self.values)


@dataclass(frozen=True, slots=True)
class _Guess:
    low: float | None
    value: float | None
    high: float | None
    source: str
    status: Status

    def values(self, row: rows.MachineSetting) -> tuple[float, ...]:
        """The guess in the row's shape; empty where an end is missing."""
        ends = {"range": (self.low, self.high), "steps": (self.low, self.value, self.high), "list": ()}
        given = ends.get(row.shape, (self.value,))
        known = tuple(one for one in given if one is not None)
        return known if len(known) == len(given) else ()


def settings_of_stage(stage: str, tables: Tables) -> tuple[rows.MachineSetting, ...]:
    """Rows of what a machine of this stage can be set to."""
    return tuple(row for row in tables.machine_settings.values() if row.stage == stage)


def _guess_of(row: rows.MachineSetting, tables: Tables) -> _Guess:
    """The usual figure, from the row or from where it points to, so that it stands in one place only."""
    if not row.usual_from:
        return _Guess(row.low, row.value, row.high, row.source, row.status)
    table, key = row.usual_from.split(":")
    other = tables.table(table)[key]
    return _Guess(other.low, other.value, other.high, other.source, other.status)


def usual_values(tables: Tables, *, key: str, stage: str) -> tuple[float, ...]:
    """What the tables guess of a setting."""
    row = machine_row(tables, key=key, stage=stage)
    return _guess_of(row, tables).values(row)


def entry_of(row: MachineSetting) -> ValueEntry:
    """One written setting."""
    return ValueEntry(
        id=row.pk,
        values=read(row.values_micro),
        known=row.known,
        known_words=Known(row.known).label,
        note=row.note,
        made_at=row.made_at,
        person=row.person.name,
    )


def value_row(
    row: rows.MachineSetting, tables: Tables, now: ValueEntry | None, history: tuple[ValueEntry, ...] = ()
) -> MachineValue:
    """What counts: the entry, or the usual setting without one."""
    guess = _guess_of(row, tables)
    usual = guess.values(row)
    values = usual if now is None else now.values
    return MachineValue(
        key=row.setting,
        words=say_setting(row.setting),
        shape=row.shape,
        unit=row.unit,
        names=names_of(row),
        values=values,
        word=word_of(row, values),
        usual=usual,
        low=guess.low,
        high=guess.high,
        is_own=now is not None,
        is_guess=now is None or now.known == Known.GUESS,
        source=tables.sources[guess.source].title if now is None else "the mill's own",
        status=guess.status if now is None else Status.OWN,
        note=row.note if now is None else now.note,
        now=now,
        history=history,
    )


def settings_now(machines: Iterable[Machine], tables: Tables) -> tuple[MachineSettings, ...]:
    """What counts of each machine, without history; one query."""
    wanted = list(machines)
    found: dict[int, dict[str, ValueEntry]] = {}
    for row in MachineSetting.objects.filter(
        machine__in=[one.pk for one in wanted], superseded_by=None
    ).select_related("person"):
        found.setdefault(row.machine_id, {})[row.key] = entry_of(row)
    return tuple(
        MachineSettings(
            one.code,
            one.name,
            one.stage,
            tuple(
                value_row(row, tables, found.get(one.pk, {}).get(row.setting))
                for row in settings_of_stage(one.stage, tables)
            ),
        )
        for one in wanted
    )
