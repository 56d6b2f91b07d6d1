"""Figures of how machines mix: which there are, what is usual, and what a machine of this mill has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from doffer.errors import InputError
from doffer.mill.evenness_facts import MICRO
from doffer.mill.models import EvennessTrial, Machine, MachineFigure
from doffer.mill.models.evenness import Found
from doffer.planning.evenness.figures import WORDS
from doffer.tables.loader import Tables
from doffer.working import Status

# figures of the table that belong to a machine, in the order a machine's page shows them
STAGES_OF = {
    "picker_hold_up": ("pick",),
    "clump_fed": ("pick",),
    "clump_after_1": ("pick",),
    "clump_after_2": ("pick",),
    "clump_after_3": ("pick",),
    "layer_weighing_sd": ("pick",),
    "bin_grab": ("pick", "rest"),
    "card_hold_up": ("card",),
    "end_correlation": ("draw",),
}
SHARES = ("end_correlation",)  # from 0 to 1
STAGE_WORDS = {"pick": "picker", "card": "card", "draw": "drawing", "rest": "bin"}
HOLD_UP_OF_STAGE = {"pick": "picker_hold_up", "card": "card_hold_up"}


@dataclass(frozen=True, slots=True)
class Usual:
    """A figure as the tables give it: value, ends, unit, and on whose word."""

    key: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    status: Status
    note: str


@dataclass(frozen=True, slots=True)
class FigureEntry:
    """One figure written down for a machine; `is_doubtful` when a trial it rests on was corrected."""

    id: int
    value: float
    low: float
    high: float
    found: str
    found_words: str
    n: int | None
    trials: tuple[int, ...]
    note: str
    made_at: datetime
    person: str
    is_doubtful: bool


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure that counts for a machine: its own, or the usual one while nobody found another.

    `is_guess` stays true for a figure of the mill's that was guessed; `history` is the newest first, what
    counts now included.
    """

    key: str
    words: str
    value: float
    low: float
    high: float
    unit: str
    is_own: bool
    is_guess: bool
    usual: Usual
    now: FigureEntry | None
    history: tuple[FigureEntry, ...] = ()


def usual_figure(key: str, tables: Tables) -> Usual:
    """The usual figure of this key; InputError names those that a machine can have."""
    if key not in STAGES_OF or key not in tables.evenness_figures:
        raise InputError("figure of the machine", key, f"one of {', '.join(STAGES_OF)}")
    row = tables.evenness_figures[key]
    low = row.value if row.low is None else row.low
    high = row.value if row.high is None else row.high
    return Usual(key, row.value, low, high, row.unit, row.source, row.status, row.note)


def figures_of_stage(stage: str, tables: Tables) -> tuple[str, ...]:
    """Keys of the figures that a machine of this stage has."""
    return tuple(
        key for key, stages in STAGES_OF.items() if stage in stages and key in tables.evenness_figures
    )


def say_figure(key: str) -> str:
    """A figure in words of a mill."""
    return WORDS.get(key, key.replace("_", " "))


def entry_of(row: MachineFigure, corrected: Iterable[int]) -> FigureEntry:
    """One written figure; `corrected` are numbers of trials that were corrected since."""
    return FigureEntry(
        id=row.pk,
        value=row.value_micro / MICRO,
        low=row.low_micro / MICRO,
        high=row.high_micro / MICRO,
        found=row.found,
        found_words=Found(row.found).label,
        n=row.n,
        trials=tuple(row.trials),
        note=row.note,
        made_at=row.made_at,
        person=row.person.name,
        is_doubtful=not set(row.trials).isdisjoint(corrected),
    )


def figure_row(usual: Usual, now: FigureEntry | None, history: tuple[FigureEntry, ...] = ()) -> FigureRow:
    """What counts: the entry, or the usual figure without one."""
    counts = usual if now is None else now
    return FigureRow(
        key=usual.key,
        words=say_figure(usual.key),
        value=counts.value,
        low=counts.low,
        high=counts.high,
        unit=usual.unit,
        is_own=now is not None,
        is_guess=now is None or now.found == Found.GUESS,
        usual=usual,
        now=now,
        history=history,
    )


def figures_now(machines: Iterable[Machine]) -> dict[int, dict[str, FigureEntry]]:
    """What counts of each machine (by id) by key; two queries."""
    rows = list(
        MachineFigure.objects.filter(machine__in=[one.pk for one in machines], superseded_by=None)
        .select_related("person")
        .order_by("pk")
    )
    corrected = corrected_trials(rows)
    found: dict[int, dict[str, FigureEntry]] = {}
    for row in rows:
        found.setdefault(row.machine_id, {})[row.key] = entry_of(row, corrected)
    return found


def corrected_trials(rows: Iterable[MachineFigure]) -> frozenset[int]:
    """Of the trials these figures rest on those that were corrected since; one query."""
    named = {number for row in rows for number in row.trials}
    if not named:
        return frozenset()
    return frozenset(EvennessTrial.objects.filter(corrects__in=named).values_list("corrects_id", flat=True))
