"""How the mill's machines mix: the figures that count with their history, and the trials behind them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from doffer.errors import NotFoundError
from doffer.mill import bridge
from doffer.mill.evenness_facts import Facts, TrialResult, read_facts, read_result
from doffer.mill.evenness_figures import (
    FigureRow,
    corrected_trials,
    entry_of,
    figure_row,
    figures_of_stage,
    usual_figure,
)
from doffer.mill.models import EvennessTrial, Machine, MachineFigure, OrderLot
from doffer.mill.models.evenness import Found, TrialKind
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of

FOUND_WORDS: dict[str, str] = dict(Found.choices)
KIND_WORDS: dict[str, str] = dict(TrialKind.choices)


@dataclass(frozen=True, slots=True)
class MachineFigures:
    """A machine and how it mixes; `figures` in the order of the table, none where its stage mixes nothing."""

    code: str
    name: str
    stage: str
    figures: tuple[FigureRow, ...]

    def figure(self, key: str) -> FigureRow:
        """One of them; NotFoundError when this machine has no such figure."""
        found = next((row for row in self.figures if row.key == key), None)
        if found is None:
            raise NotFoundError("figure of this machine", key, "Look at what the machine does")
        return found

    @property
    def n_own(self) -> int:
        """How many of them the mill found itself."""
        return sum(not row.is_guess for row in self.figures)


def machine_figures(machine: str) -> MachineFigures:
    """How a machine mixes, with the newest fifty figures of each key; five queries.

    Raises
    ------
    NotFoundError
        No such machine.
    """
    row = Machine.objects.filter(code=machine).first()
    if row is None:
        raise NotFoundError("machine", machine, "Choose a machine from the list")
    tables = bridge.current_tables()
    keys = figures_of_stage(row.stage, tables)
    written = MachineFigure.objects.filter(machine=row, key__in=keys).select_related("person").order_by("-pk")
    # what counts is read by itself: fifty newer figures of one key must not hide the only one of another
    counting = {one.key: one for one in written.filter(superseded_by=None)}
    newest = list(written[: ROWS_A_PAGE * max(1, len(keys))])
    corrected = corrected_trials([*newest, *counting.values()])
    figures = []
    for key in keys:
        history = [entry_of(one, corrected) for one in newest if one.key == key][:ROWS_A_PAGE]
        now = entry_of(counting[key], corrected) if key in counting else None
        figures.append(figure_row(usual_figure(key, tables), now, tuple(history)))
    return MachineFigures(row.code, row.name, row.stage, tuple(figures))


@dataclass(frozen=True, slots=True)
class TrialRow:
    """One trial; `corrects` and `corrected_by` are numbers of other trials, codes are "" where nothing is."""

    id: int
    kind: str
    kind_words: str
    lot: str
    order: str
    run: str
    machine: str
    machine_name: str
    stage: str
    passes: int
    facts: Facts
    result: TrialResult
    photo: int | None
    photo_name: str
    note: str
    corrects: int | None
    corrected_by: int | None
    taken_at: datetime
    recorded_at: datetime
    person: str

    @property
    def counts(self) -> bool:
        """Nobody corrected it."""
        return self.corrected_by is None


def trials(
    *, lot: str = "", order: str = "", machine: str = "", run: str = "", after: int | None = None
) -> Page[TrialRow]:
    """Trials of a lot, an order (with its lots and runs), a machine or a run, newest first; one query.

    Fifty a page; without a name: all of the mill.
    """
    rows = EvennessTrial.objects.all()
    if lot:
        rows = rows.filter(lot__code=lot)
    if order:
        of_its_lots = Q(lot__in=OrderLot.objects.filter(order__code=order).values("lot_id"))
        rows = rows.filter(Q(order__code=order) | Q(run__order__code=order) | of_its_lots)
    if machine:
        rows = rows.filter(Q(machine__code=machine) | Q(machine=None, run__machine__code=machine))
    if run:
        rows = rows.filter(run__code=run)
    if after is not None:
        rows = rows.filter(pk__lt=after)
    found = _with_names(rows).order_by("-pk")[: ROWS_A_PAGE + 1]
    return page_of([(row.pk, _trial_row(row)) for row in found])


def one_trial(trial: int) -> TrialRow:
    """One trial by its number; NotFoundError when there is none."""
    row = _with_names(EvennessTrial.objects.filter(pk=trial)).first()
    if row is None:
        raise NotFoundError("trial", trial, "Open the machine or the lot and choose it there")
    return _trial_row(row)


def _with_names(rows: QuerySet[EvennessTrial]) -> QuerySet[EvennessTrial]:
    return rows.select_related("lot", "order", "run", "machine", "photo", "person", "corrected_by")


def _trial_row(row: EvennessTrial) -> TrialRow:
    later = getattr(row, "corrected_by", None)
    return TrialRow(
        id=row.pk,
        kind=row.kind,
        kind_words=TrialKind(row.kind).label,
        lot=row.lot.code if row.lot else "",
        order=row.order.code if row.order else "",
        run=row.run.code if row.run else "",
        machine=row.machine.code if row.machine else "",
        machine_name=row.machine.name if row.machine else "",
        stage=row.stage,
        passes=row.passes,
        facts=read_facts(row.kind, row.facts),
        result=read_result(row.result),
        photo=row.photo_id,
        photo_name=row.photo.name if row.photo else "",
        note=row.note,
        corrects=row.corrects_id,
        corrected_by=later.pk if later else None,
        taken_at=row.taken_at,
        recorded_at=row.recorded_at,
        person=row.person.name,
    )
