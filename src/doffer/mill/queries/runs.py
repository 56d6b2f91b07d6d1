"""Runs: the list, one with what it lost, and what a stage should give before it starts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from doffer.errors import InputError, NotFoundError
from doffer.fibre.material import Form
from doffer.mill import bridge
from doffer.mill.clean_fibre import Clean, clean_of, form_in, last_before
from doffer.mill.doubt import Doubt, doubts_from
from doffer.mill.models import JoinDecision, Lot, Machine, Run
from doffer.mill.queries.lots import LotRow, held_now, rows_of
from doffer.mill.queries.orders import RunRow
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.queries.plan_inputs import GATHERED, ways_here
from doffer.mill.riding import finish_in_g, finish_share_now, spray_of
from doffer.planning.spec import LotStart, MachineUse, MillWays
from doffer.planning.stage_ahead import Spray, StageAhead, stage_ahead
from doffer.process.stage import Caution, cautions_for
from doffer.process.stages import STAGES
from doffer.tables.loader import Tables
from doffer.working import Working

NO_SPRAY = Spray()
WET_AFTER = frozenset(
    {"wash", "extract", "dye"}
)  # water hangs in it: its weight says little before it is dry
BY_HAND = frozenset({"skirt", "rest", "dry"})  # stages without a machine that moves


@dataclass(frozen=True, slots=True)
class Part:
    """Fibre of one lot that goes into a stage: as weighed and, where known, oven-dry [g].

    `finish_g` is the oil on it [g]; None: as the lot was weighed last. `form` as it went in; empty: as now.
    """

    lot: str
    mass_g: float
    dry_mass_g: float | None
    finish_g: float | None = None
    form: str = ""


def part_of(row: LotRow, mass_g: float | None = None) -> Part:
    """The whole lot as it stands, or this much of it [g], with the dry fibre in it where that is known."""
    mass = row.mass_g if mass_g is None else mass_g
    if row.dry_mass_g is None or not row.mass_g:
        return Part(row.code, mass, None)
    return Part(row.code, mass, row.dry_mass_g * mass / row.mass_g)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a stage usually gives [g], 9 times in 10 from low to high, by the draws a plan is made of.

    `weighed_*` is what the scale shows as the fibre leaves the stage, or, where it leaves it wet, once it is
    dried to the air; `rested_usual_g` once it lies at rest in the work room. Losses count fibre at agreed
    regain before and after; for fibre in the grease from its weight as it came.
    """

    in_g: float
    is_raw: bool
    weighed_low_g: float
    weighed_usual_g: float
    weighed_high_g: float
    rested_usual_g: float
    dry_low_g: float
    dry_usual_g: float
    dry_high_g: float
    loss_low_frac: float
    loss_usual_frac: float
    loss_high_frac: float
    loss_usual_g: float
    working: Working
    dripping_low_g: float | None  # straight out of the bath, where the stage leaves fibre wet
    dripping_high_g: float | None
    stays_raw: bool  # grease in and grease out: counted as weighed
    settles: bool  # it takes on the water of the work room meanwhile
    agreed_regain_frac: float
    spray: Spray
    dry_sure_g: tuple[float, float]  # 99 times in 100
    weighed_sure_g: tuple[float, float]
    guessed: tuple[str, ...] = ()  # lots whose dry weight nobody weighed yet: by the usual yield

    def lost_g(self, outs: Sequence[Part]) -> float | None:
        """What was lost [g] when this came out, counted as the usual range is; None without a dry weight."""
        if self.stays_raw:
            return self.in_g - sum(part.mass_g for part in outs)
        if not outs or any(part.dry_mass_g is None for part in outs):
            return None
        dry_g = sum(part.dry_mass_g or 0.0 for part in outs)
        return self.in_g - dry_g * (1 + self.agreed_regain_frac)

    def loss_frac(self, outs: Sequence[Part]) -> float | None:
        """Share lost [frac], as `lost_g`."""
        lost_g = self.lost_g(outs)
        return None if lost_g is None else lost_g / self.in_g


@dataclass(frozen=True, slots=True)
class WasteRow:
    """A stream that was swept up."""

    kind: str
    mass_g: float


@dataclass(frozen=True, slots=True)
class OneRun:
    """A run with what it should have given; `loss_frac` None while it runs or a dry weight lacks."""

    row: RunRow
    tags: tuple[tuple[str, str], ...]  # lot, tag of the container it came out in and is still in
    wastes: tuple[WasteRow, ...]
    cleaned_before: str
    confirmation: str
    doubts: tuple[Doubt, ...]  # what `confirmation` answers
    answered_by: str
    note: str
    expected: Expected | None
    loss_frac: float | None
    lost_g: float | None
    spray: Spray
    owners: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachineChoice:
    """A machine that can do a stage."""

    code: str
    name: str


@dataclass(frozen=True, slots=True)
class StageFacts:
    """What the form of a stage shows before anything is typed."""

    stage: str
    lots: tuple[LotRow, ...]
    machines: tuple[MachineChoice, ...]
    cautions: tuple[Caution, ...]
    general: tuple[Caution, ...]  # what holds at every machine
    moves: bool  # a machine moves: the screen does not stop it
    owners: tuple[str, ...]
    decision: int | None  # an owners' agreement that covers these lots
    wet: frozenset[str] = frozenset()  # lots that drip: nobody weighed them dry since the bath


def list_runs(*, state: str = "all", stage: str = "", after: int | None = None) -> Page[RunRow]:
    """Runs, newest first; `state` is running, ended or all; five queries."""
    runs = Run.objects.order_by("-pk")
    if state == "running":
        runs = runs.filter(ended_at=None)
    elif state == "ended":
        runs = runs.exclude(ended_at=None)
    if stage:
        runs = runs.filter(stage=stage)
    if after is not None:
        runs = runs.filter(pk__lt=after)
    rows = runs.select_related("machine", "person").prefetch_related("inputs__lot", "outputs__lot")
    return page_of([(run.pk, _row(run)) for run in rows[: ROWS_A_PAGE + 1]])


def _row(run: Run) -> RunRow:
    ins, outs = (
        tuple((r.lot.code, bridge.grams(r.mass_mg), bridge.maybe_grams(r.dry_mg)) for r in rows)
        for rows in (run.inputs.all(), run.outputs.all())
    )
    machine = run.machine.name if run.machine else ""
    return RunRow(run.code, run.stage, machine, run.started_at, run.ended_at, ins, outs, run.person.name)


def one_run(code: str) -> OneRun:
    """One run; a fixed number of queries.

    Raises
    ------
    NotFoundError
        No run has this number.
    """
    run = (
        Run.objects.select_related("machine", "person", "order")
        .prefetch_related(
            "inputs__lot__customer", "inputs__weighing", "outputs__lot", "outputs__container", "wastes"
        )
        .filter(code=code)
        .first()
    )
    if run is None:
        raise NotFoundError("run", code, "Look in the list of runs")
    row = _row(run)
    spray = spray_of(run)
    finish = finish_in_g(run)
    inputs = list(run.inputs.all())
    before = last_before(run, inputs)
    parts = [
        Part(lot, mass, dry, finish[lot], form_in(went, before))
        for went, (lot, mass, dry) in zip(inputs, row.ins, strict=True)
    ]
    expected = expected_out(
        run.stage,
        parts,
        machine=run.machine.code if run.machine else "",
        order=run.order.code if run.order else "",
        spray=spray,
        run=run,
    )
    outs = [Part(lot, mass, dry) for lot, mass, dry in row.outs]
    return OneRun(
        row=row,
        tags=tuple(
            (out.lot.code, out.container.tag)
            for out in run.outputs.all()
            if out.container and out.container.lot_id == out.lot_id
        ),
        wastes=tuple(WasteRow(w.kind, bridge.grams(w.mass_mg)) for w in run.wastes.all()),
        cleaned_before=run.cleaned_before,
        confirmation=run.confirmation,
        doubts=doubts_from(run.settings.get("asked")),
        answered_by=str(run.settings.get("answered_by", "")),
        note=run.note,
        expected=expected,
        loss_frac=expected.loss_frac(outs) if expected and run.ended_at else None,
        lost_g=expected.lost_g(outs) if expected and run.ended_at else None,
        spray=spray,
        owners=tuple(dict.fromkeys(i.lot.customer.name for i in run.inputs.all())),
    )


def stage_facts(stage: str, lots: Sequence[str] = ()) -> StageFacts:
    """What the form of a stage needs; a fixed number of queries.

    Raises
    ------
    InputError, NotFoundError
        No such stage, or a lot that is not there.
    """
    if stage not in STAGES:
        raise InputError("stage", stage, f"one of {', '.join(STAGES)}")
    tables = bridge.current_tables()
    found = {row.code: row for _, row in rows_of(Lot.objects.filter(code__in=lots), held_now())}
    missing = [code for code in lots if code not in found]
    if missing:
        raise NotFoundError("lot", ", ".join(missing), "Scan the tag again or look in the list of lots")
    machines = Machine.objects.filter(archived_at=None, stage=stage).order_by("pk")
    rows = tuple(found[code] for code in dict.fromkeys(lots))
    return StageFacts(
        stage=stage,
        lots=rows,
        machines=tuple(MachineChoice(*pair) for pair in machines.values_list("code", "name")),
        cautions=cautions_for(tables, stage=stage),
        general=cautions_for(tables, stage="any"),
        moves=stage not in BY_HAND,
        owners=tuple(dict.fromkeys(row.owner_name for row in rows)),
        decision=_decision(rows),
        wet=_wet(rows),
    )


def _wet(rows: Sequence[LotRow]) -> frozenset[str]:
    """Lots that lie there wet, or damp from the spray: no water of the air belongs to their weight."""
    clean = [row.code for row in rows if row.form not in bridge.RAW_FORMS and row.mass_g > 0]
    found = Lot.objects.filter(code__in=clean, now_regain_ppm=None)
    return frozenset(found.values_list("code", flat=True))


def _decision(rows: Sequence[LotRow]) -> int | None:
    """The newest owners' agreement that names all of these lots."""
    if len({row.owner for row in rows}) < 2:
        return None
    codes = {row.code for row in rows}
    decisions = JoinDecision.objects.order_by("-pk").values_list("pk", "lots")[:ROWS_A_PAGE]
    return next((pk for pk, named in decisions if codes <= set(named)), None)


def expected_out(
    stage: str,
    parts: Sequence[Part],
    *,
    machine: str = "",
    order: str = "",
    spray: Spray | None = NO_SPRAY,
    run: Run | None = None,
) -> Expected | None:
    """What these lots usually give at a stage, as a plan of `order` (or of this mill) works it out.

    `spray` None counts the dose of that plan in. Fibre in the grease counts by its usual clean yield, and wet
    fibre that nobody weighed dry by what went into the run it came from (before `run`, where that is said).
    None where nothing goes in or nothing is known of it; a fixed number of queries where all was weighed dry.
    """
    parts = [part for part in parts if part.mass_g > 0]
    if not parts:
        return None
    tables = bridge.current_tables()
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=[part.lot for part in parts])}
    origins = bridge.origins_of(list(lots.values()))
    guesses = {p.lot: _guess(lots[p.lot], p, tables, run) for p in parts if _is_unknown(lots[p.lot], p)}
    if None in guesses.values():
        return None  # wet fibre of which nobody knows what went into it: the tables say nothing about it
    found = {lot: guess for lot, guess in guesses.items() if guess is not None}
    parts = [
        replace(p, dry_mass_g=found[p.lot].usual_g, finish_g=0.0) if p.lot in found else p for p in parts
    ]
    ways = _on_machine(ways_here(order=order), stage, machine)
    oil = finish_share_now(lots.values()) if any(p.finish_g is None for p in parts) else {}
    parts = [replace(p, finish_g=p.mass_g * oil.get(p.lot, 0.0)) if p.finish_g is None else p for p in parts]
    starts = [_start(lots[p.lot], origins[lots[p.lot].pk], p, tables) for p in parts]
    expected = _expected(stage, stage_ahead(stage, starts, ways, tables, spray=spray))
    return _widened(expected, parts, found) if found else expected


def _is_unknown(lot: Lot, part: Part) -> bool:
    return part.dry_mass_g is None and (part.form or lot.now_form) not in bridge.RAW_FORMS


def _guess(lot: Lot, part: Part, tables: Tables, run: Run | None) -> Clean | None:
    guess = clean_of(
        lot, form=part.form or lot.now_form, mass_g=part.mass_g, dry_g=None, tables=tables, run=run
    )
    return guess if guess is not None and guess.usual_g > 0 else None


def _widened(expected: Expected, parts: Sequence[Part], found: Mapping[str, Clean]) -> Expected:
    """The ranges of a stage, as far apart as the dry weight that went in is unknown."""
    usual = sum(part.dry_mass_g or 0.0 for part in parts)
    low = 1 - sum(guess.usual_g - guess.low_g for guess in found.values()) / usual
    high = 1 + sum(guess.high_g - guess.usual_g for guess in found.values()) / usual
    return replace(
        expected,
        weighed_low_g=expected.weighed_low_g * low,
        weighed_high_g=expected.weighed_high_g * high,
        dry_low_g=expected.dry_low_g * low,
        dry_high_g=expected.dry_high_g * high,
        loss_low_frac=1 - (1 - expected.loss_low_frac) * high,
        loss_high_frac=1 - (1 - expected.loss_high_frac) * low,
        dry_sure_g=(expected.dry_sure_g[0] * low, expected.dry_sure_g[1] * high),
        weighed_sure_g=(expected.weighed_sure_g[0] * low, expected.weighed_sure_g[1] * high),
        guessed=tuple(found),
    )


def _on_machine(ways: MillWays, stage: str, code: str) -> MillWays:
    """The mill's ways with this stage run on the machine that was chosen."""
    chosen = Machine.objects.filter(code=code).values_list("name", "holdup_mg").first() if code else None
    if chosen is None:
        others = {name: use for name, use in ways.machines.items() if name != stage}
        return replace(ways, machines=others)
    held_g = 0.0 if stage in GATHERED else bridge.grams(chosen[1])
    return replace(ways, machines={**ways.machines, stage: MachineUse(chosen[0], held_g)})


def _start(lot: Lot, origins: Sequence[bridge.Origin], part: Part, tables: Tables) -> LotStart:
    """A lot as it goes in: its weight and, where known, the dry fibre in it; the rest is oil and water."""
    now = replace(bridge.lot_start_of(lot, origins, tables), form=Form(part.form or lot.now_form))
    if part.dry_mass_g is None:
        return replace(now, weighed_mass_g=part.mass_g, finish_mass_g=0.0)
    finish_g = part.finish_g or 0.0
    form = Form.SCOURED if now.form in bridge.RAW_FORMS else now.form
    regain = (part.mass_g - finish_g) / part.dry_mass_g - 1 if part.dry_mass_g > 0 else 0.0
    return replace(
        now,
        form=form,
        weighed_mass_g=part.mass_g,
        finish_mass_g=finish_g,
        actual_regain_frac=max(0.0, regain),
    )


def _expected(stage: str, ahead: StageAhead) -> Expected:
    is_wet = stage in WET_AFTER
    shown = ahead.rested if is_wet else ahead.weighed
    return Expected(
        in_g=ahead.counted_in_g,
        is_raw=ahead.is_raw,
        weighed_low_g=shown.low,
        weighed_usual_g=shown.mean,
        weighed_high_g=shown.high,
        rested_usual_g=ahead.rested.mean,
        dry_low_g=ahead.dry.low,
        dry_usual_g=ahead.dry.mean,
        dry_high_g=ahead.dry.high,
        loss_low_frac=ahead.lost_frac.low,
        loss_usual_frac=ahead.lost_frac.mean,
        loss_high_frac=ahead.lost_frac.high,
        loss_usual_g=ahead.lost_mass_g,
        working=ahead.working,
        dripping_low_g=ahead.weighed.low if is_wet else None,
        dripping_high_g=ahead.weighed.high if is_wet else None,
        stays_raw=ahead.stays_raw,
        settles=ahead.settles,
        agreed_regain_frac=ahead.agreed_regain_frac,
        spray=ahead.spray,
        dry_sure_g=ahead.dry_sure_g,
        weighed_sure_g=ahead.weighed_sure_g,
    )
