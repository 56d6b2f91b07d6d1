"""What machines can be set to, what went well before with like fibre, and the tests of yarn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce

from doffer.errors import NotFoundError
from doffer.mill import bridge
from doffer.mill.machine_values import MachineSettings, entry_of, settings_of_stage, value_row
from doffer.mill.models import Machine, MachineSetting, OrderLot, Run, RunOutput, RunSettings, YarnTest
from doffer.mill.models.yarn import YarnState
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.set_values import read, say_setting, word_of
from doffer.mill.yarn_facts import YarnTestFacts, read_columns
from doffer.tables.loader import Tables

MIN_PER_H = 60
MILLI = 1_000
GOOD_RATING = 4
MIDDLE_RATING = 3  # where a run stands that nobody rated
MOST_PAST_RUNS = 5


def machine_settings(machine: str) -> MachineSettings:
    """What a machine can be set to, with the newest fifty of each key as history; four queries.

    Raises
    ------
    NotFoundError
        No such machine.
    """
    row = Machine.objects.filter(code=machine).first()
    if row is None:
        raise NotFoundError("machine", machine, "Choose a machine from the list")
    tables = bridge.current_tables()
    rules = settings_of_stage(row.stage, tables)
    keys = [rule.setting for rule in rules]
    written = (
        MachineSetting.objects.filter(machine=row, key__in=keys).select_related("person").order_by("-pk")
    )
    # what counts is read by itself: many newer settings of one key must not hide the only one of another
    counting = {one.key: entry_of(one) for one in written.filter(superseded_by=None)}
    newest = [(one.key, entry_of(one)) for one in written[: ROWS_A_PAGE * max(1, len(keys))]]
    return MachineSettings(
        row.code,
        row.name,
        row.stage,
        tuple(
            value_row(
                rule,
                tables,
                counting.get(rule.setting),
                tuple(entry for key, entry in newest if key == rule.setting)[:ROWS_A_PAGE],
            )
            for rule in rules
        ),
    )


@dataclass(frozen=True, slots=True)
class SetTo:
    """One setting of a run: its figures in `unit`, and the word they stand for where it is one."""

    key: str
    words: str
    values: tuple[float, ...]
    unit: str
    word: str

    @property
    def value(self) -> float:
        """The only figure, or the first."""
        return self.values[0]


@dataclass(frozen=True, slots=True)
class PastRun:
    """What a run was set to and what it gave; figures nobody told are None.

    `why` says in words why it is shown as a good one, "" where nothing says so.
    """

    id: int
    run: str
    stage: str
    machine: str
    machine_name: str
    fibre: str
    diameter_um: float | None
    staple_mm: int | None
    settings: tuple[SetTo, ...]
    breaks: int | None
    breaks_per_kg: float | None
    spindle_h: float | None
    cv_frac: float | None
    rating: int | None
    rated_by: str
    note: str
    ended_at: datetime | None
    made_at: datetime
    person: str
    why: str

    def of(self, key: str) -> SetTo | None:
        """One of its settings; None where nobody told it."""
        return next((one for one in self.settings if one.key == key), None)

    @property
    def breaks_per_spindle_h(self) -> float | None:
        """End breaks in a spindle-hour."""
        if self.breaks is None or not self.spindle_h:
            return None
        return self.breaks / self.spindle_h


def best_settings(
    stage: str,
    *,
    fibre: str,
    diameter_um: float | None = None,
    machine: str = "",
    within_um: float | None = None,
) -> tuple[PastRun, ...]:
    """The mill's own good runs of this stage with like fibre, the best first, at most five; two queries.

    Like fibre: the same kind, its diameter at most `within_um` away (table plan_defaults, 2 um). Good: rated
    4 or 5, or not rated and with no more end breaks than table plan_defaults calls good. The better rating
    goes first (not rated stands in the middle), then fewer breaks, then the newer run.
    """
    tables = bridge.current_tables()
    rows = _good(fibre, diameter_um, within_um, tables).filter(stage=stage)
    if machine:
        rows = rows.filter(machine__code=machine)
    return tuple(_past_run(row, tables) for row in rows[:MOST_PAST_RUNS])


def best_by_stage(tables: Tables, *, fibre: str, diameter_um: float | None = None) -> tuple[PastRun, ...]:
    """The same for all stages at once, the best run of each first; one query, the best fifty runs."""
    rows = _good(fibre, diameter_um, None, tables)[:ROWS_A_PAGE]
    return tuple(_past_run(row, tables) for row in rows)


def _good(
    fibre: str, diameter_um: float | None, within_um: float | None, tables: Tables
) -> QuerySet[RunSettings]:
    few = tables.plan_defaults["breaks_per_kg"].value
    rows = _counting().filter(fibre=fibre)
    rows = rows.filter(Q(rating__gte=GOOD_RATING) | Q(rating=None, breaks_milli_per_kg__lte=few * MILLI))
    if diameter_um is not None:
        away_um = tables.plan_defaults["like_diameter"].value if within_um is None else within_um
        ends_nm = [round((diameter_um + sign * away_um) * bridge.NM_PER_UM) for sign in (-1, 1)]
        rows = rows.filter(diameter_nm__range=ends_nm)
    return rows.order_by(
        Coalesce("rating", MIDDLE_RATING).desc(), F("breaks_milli_per_kg").asc(nulls_last=True), "-pk"
    )


def run_settings(run: str) -> PastRun | None:
    """What a run was set to and gave; None where nobody told it; three queries.

    Raises
    ------
    NotFoundError
        No such run.
    """
    if not Run.objects.filter(code=run).exists():
        raise NotFoundError("run", run, "Look in the list of runs")
    row = _counting().filter(run__code=run).first()
    return None if row is None else _past_run(row, bridge.current_tables())


def past_runs(stage: str, *, machine: str = "", after: int | None = None) -> Page[PastRun]:
    """Every run of a stage whose settings or outcome were told, good or bad, newest first; two queries."""
    rows = _counting().filter(stage=stage)
    if machine:
        rows = rows.filter(machine__code=machine)
    if after is not None:
        rows = rows.filter(pk__lt=after)
    tables = bridge.current_tables()
    found = rows.order_by("-pk")[: ROWS_A_PAGE + 1]
    return page_of([(row.pk, _past_run(row, tables)) for row in found])


def _counting() -> QuerySet[RunSettings]:
    return RunSettings.objects.filter(superseded_by=None).select_related(
        "run", "machine", "person", "rated_by"
    )


def _past_run(row: RunSettings, tables: Tables) -> PastRun:
    return PastRun(
        id=row.pk,
        run=row.run.code,
        stage=row.stage,
        machine=row.machine.code if row.machine else "",
        machine_name=row.machine.name if row.machine else "",
        fibre=row.fibre,
        diameter_um=None if row.diameter_nm is None else row.diameter_nm / bridge.NM_PER_UM,
        staple_mm=row.staple_mm,
        settings=_set_to(row.settings_micro, row.stage, tables),
        breaks=row.breaks,
        breaks_per_kg=None if row.breaks_milli_per_kg is None else row.breaks_milli_per_kg / MILLI,
        spindle_h=None if row.spindle_min is None else row.spindle_min / MIN_PER_H,
        cv_frac=bridge.maybe_frac(row.cv_ppm),
        rating=row.rating,
        rated_by=row.rated_by.name if row.rated_by else "",
        note=row.note,
        ended_at=row.run.ended_at,
        made_at=row.made_at,
        person=row.person.name,
        why=_why(row, tables.plan_defaults["breaks_per_kg"].value),
    )


def _set_to(settings_micro: Mapping[str, list[int]], stage: str, tables: Tables) -> tuple[SetTo, ...]:
    """Settings in the order of the table; one that the tables no longer know keeps its figures."""
    rules = [row for row in tables.run_settings.values() if row.stage == stage]
    found = []
    for rule in rules:
        if rule.setting in settings_micro:
            values = read(settings_micro[rule.setting])
            words = say_setting(rule.setting)
            found.append(SetTo(rule.setting, words, values, rule.unit, word_of(rule, values)))
    known = {rule.setting for rule in rules}
    found += [
        SetTo(key, say_setting(key), read(values), "", "")
        for key, values in settings_micro.items()
        if key not in known
    ]
    return tuple(found)


def _why(row: RunSettings, few_per_kg: float) -> str:
    said = []
    if row.rating is not None and row.rating >= GOOD_RATING and row.rated_by:
        said.append(f"{row.rated_by.name} gave it {row.rating} of 5")
    if row.breaks_milli_per_kg is not None and row.breaks_milli_per_kg <= few_per_kg * MILLI:
        said.append(f"{row.breaks_milli_per_kg / MILLI:.2g} end breaks in a kilogram")
    return ", ".join(said)


@dataclass(frozen=True, slots=True)
class YarnTestRow:
    """One test of yarn; codes are "" where it tells of no such thing, `corrects` and `corrected_by` numbers.

    `facts` gives count_tex, cv_frac, relaxation_frac, ply_ratio and the turns per metre.
    """

    id: int
    lot: str
    order: str
    run: str
    state: str
    state_words: str
    facts: YarnTestFacts
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


def yarn_tests(
    *, lot: str = "", order: str = "", run: str = "", after: int | None = None
) -> Page[YarnTestRow]:
    """Tests of a lot (with the run it came from), an order (with its lots and runs) or a run; one query.

    Newest first, fifty a page; without a name: all of the mill.
    """
    rows = YarnTest.objects.all()
    if lot:
        made_in = RunOutput.objects.filter(lot__code=lot).values("run_id")
        rows = rows.filter(Q(lot__code=lot) | Q(lot=None, run__in=made_in))
    if order:
        of_its_lots = Q(lot__in=OrderLot.objects.filter(order__code=order).values("lot_id"))
        rows = rows.filter(Q(order__code=order) | Q(run__order__code=order) | of_its_lots)
    if run:
        rows = rows.filter(run__code=run)
    if after is not None:
        rows = rows.filter(pk__lt=after)
    found = _with_names(rows).order_by("-pk")[: ROWS_A_PAGE + 1]
    return page_of([(row.pk, _test_row(row)) for row in found])


def one_yarn_test(test: int) -> YarnTestRow:
    """One test by its number; NotFoundError when there is none."""
    row = _with_names(YarnTest.objects.filter(pk=test)).first()
    if row is None:
        raise NotFoundError("test of yarn", test, "Open the lot or the order and choose it there")
    return _test_row(row)


def _with_names(rows: QuerySet[YarnTest]) -> QuerySet[YarnTest]:
    return rows.select_related("lot", "order", "run", "person", "corrected_by")


def _test_row(row: YarnTest) -> YarnTestRow:
    later = getattr(row, "corrected_by", None)
    return YarnTestRow(
        id=row.pk,
        lot=row.lot.code if row.lot else "",
        order=row.order.code if row.order else "",
        run=row.run.code if row.run else "",
        state=row.state,
        state_words=YarnState(row.state).label,
        facts=read_columns(row),
        note=row.note,
        corrects=row.corrects_id,
        corrected_by=later.pk if later else None,
        taken_at=row.taken_at,
        recorded_at=row.recorded_at,
        person=row.person.name,
    )
