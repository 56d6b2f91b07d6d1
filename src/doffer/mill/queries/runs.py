"""Runs: the list, one with what it lost, and what a stage should give before it starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError, NotFoundError
from doffer.fibre.material import Form, Material, join
from doffer.fibre.moisture import agreed_regain_frac
from doffer.mill import bridge
from doffer.mill.models import JoinDecision, Lot, Machine, Run
from doffer.mill.queries.lots import LotRow, held_now, rows_of
from doffer.mill.queries.orders import RunRow
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.planning.start import yield_triangle_frac
from doffer.process.losses import loss_range
from doffer.process.stage import Caution, StageSettings, cautions_for
from doffer.process.stages import STAGES
from doffer.tables.loader import Tables
from doffer.working import Working

LOW, USUAL, HIGH = 0, 1, 2  # the three samples an expectation is worked out in
WET_AFTER = frozenset(
    {"wash", "extract", "dye"}
)  # water hangs in it: its weight says little before it is dry
BY_HAND = frozenset({"skirt", "rest", "dry"})  # stages without a machine that moves


@dataclass(frozen=True, slots=True)
class Part:
    """Fibre of one lot that goes into a stage: as weighed and, where known, oven-dry [g]."""

    lot: str
    mass_g: float
    dry_mass_g: float | None


def part_of(row: LotRow, mass_g: float | None = None) -> Part:
    """The whole lot as it stands, or this much of it [g], with the dry fibre in it where that is known."""
    mass = row.mass_g if mass_g is None else mass_g
    if row.dry_mass_g is None or not row.mass_g:
        return Part(row.code, mass, None)
    return Part(row.code, mass, row.dry_mass_g * mass / row.mass_g)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a stage usually gives [g], low to high: as weighed when dry to the air, and oven-dry.

    `loss_low_frac` to `loss_high_frac` is what the tables and the machine's hold-up call usual. For fibre in
    the grease the loss counts from its weight as it came.
    """

    in_g: float
    is_raw: bool
    weighed_low_g: float
    weighed_usual_g: float
    weighed_high_g: float
    dry_low_g: float
    dry_usual_g: float
    dry_high_g: float
    loss_low_frac: float
    loss_usual_frac: float
    loss_high_frac: float
    working: Working
    dripping_low_g: float | None  # straight out of the bath, where the stage leaves fibre wet
    dripping_high_g: float | None
    stays_raw: bool  # grease in and grease out: counted as weighed
    agreed_regain_frac: float

    def loss_frac(self, outs: Sequence[Part]) -> float | None:
        """Share lost [frac] when this came out, counted as the usual range is; None without a dry weight."""
        if self.stays_raw:
            return 1 - sum(part.mass_g for part in outs) / self.in_g
        if not outs or any(part.dry_mass_g is None for part in outs):
            return None
        dry_g = sum(part.dry_mass_g or 0.0 for part in outs)
        return 1 - dry_g * (1 + self.agreed_regain_frac) / self.in_g


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
    note: str
    expected: Expected | None
    loss_frac: float | None
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
        Run.objects.select_related("machine", "person")
        .prefetch_related("inputs__lot__customer", "outputs__lot", "outputs__container", "wastes")
        .filter(code=code)
        .first()
    )
    if run is None:
        raise NotFoundError("run", code, "Look in the list of runs")
    row = _row(run)
    parts = [Part(lot, mass, dry) for lot, mass, dry in row.ins]
    expected = expected_out(run.stage, parts, machine=run.machine.code if run.machine else "")
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
        note=run.note,
        expected=expected,
        loss_frac=expected.loss_frac(outs) if expected and run.ended_at else None,
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
    )


def _decision(rows: Sequence[LotRow]) -> int | None:
    """The newest owners' agreement that names all of these lots."""
    if len({row.owner for row in rows}) < 2:
        return None
    codes = {row.code for row in rows}
    decisions = JoinDecision.objects.order_by("-pk").values_list("pk", "lots")[:ROWS_A_PAGE]
    return next((pk for pk, named in decisions if codes <= set(named)), None)


def expected_out(stage: str, parts: Sequence[Part], *, machine: str = "") -> Expected | None:
    """What these lots usually give at a stage, from the tables and the machine's hold-up.

    Fibre in the grease counts by its usual clean yield. None where nothing goes in; a fixed number
    of queries.
    """
    parts = [part for part in parts if part.mass_g > 0]
    if not parts:
        return None
    tables = bridge.current_tables()
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=[part.lot for part in parts])}
    held_mg = Machine.objects.filter(code=machine).values_list("holdup_mg", flat=True).first() or 0
    origins = bridge.origins_of(list(lots.values()))
    if any(p.dry_mass_g is None and lots[p.lot].now_form not in bridge.RAW_FORMS for p in parts):
        return None  # wet fibre whose dry weight nobody knows: the tables say nothing about it
    is_raw = any(part.dry_mass_g is None for part in parts)
    material = join([_material(lots[p.lot], origins[lots[p.lot].pk], p, tables) for p in parts])
    spans = {c.fibre: loss_range(tables, stage=stage, fibre=c.fibre) for c in material.constituents}
    losses = {
        fibre: np.array([span.high_frac, span.mode_frac, span.low_frac]) for fibre, span in spans.items()
    }
    settings = StageSettings(held_dry_mass_g=bridge.grams(held_mg))
    result = STAGES[stage](material, settings, losses, tables)
    dry = np.broadcast_to(result.material.total_dry_mass_g, (3,))
    weighed = np.broadcast_to(result.material.weighed_mass_g, (3,))
    agreed = agreed_regain_frac(tables, material.constituents[0].fibre)
    is_wet = stage in WET_AFTER
    rested = dry * (1 + agreed) if is_wet else weighed
    in_g = sum(p.mass_g if is_raw else p.dry_mass_g or 0.0 for p in parts)
    counted = agreed if is_raw else 0.0
    stays_raw = is_raw and result.material.form in bridge.RAW_FORMS
    lost = 1 - (weighed if stays_raw else dry * (1 + counted)) / in_g
    return Expected(
        in_g=in_g,
        is_raw=is_raw,
        weighed_low_g=float(rested[LOW]),
        weighed_usual_g=float(rested[USUAL]),
        weighed_high_g=float(rested[HIGH]),
        dry_low_g=float(dry[LOW]),
        dry_usual_g=float(dry[USUAL]),
        dry_high_g=float(dry[HIGH]),
        loss_low_frac=float(lost[HIGH]),
        loss_usual_frac=float(lost[USUAL]),
        loss_high_frac=float(lost[LOW]),
        working=result.working[0],
        dripping_low_g=float(weighed[LOW]) if is_wet else None,
        dripping_high_g=float(weighed[HIGH]) if is_wet else None,
        stays_raw=stays_raw,
        agreed_regain_frac=counted,
    )


def _material(lot: Lot, origins: Sequence[bridge.Origin], part: Part, tables: Tables) -> Material:
    """Three samples of what goes in: low, usual and high clean yield, alike where dry weight is known."""
    shares = np.array([origin.share_frac for origin in origins])[:, None]
    regain = bridge.maybe_frac(lot.now_regain_ppm)
    if regain is None:
        regain = tables.fibres[lot.fibre].regain65_pct / 100
    if part.dry_mass_g is None:
        agreed = agreed_regain_frac(tables, lot.fibre)
        washed = np.array(yield_triangle_frac(bridge.lot_start_of(lot, origins, tables), tables))
        dry = part.mass_g * washed / (1 + agreed)
        foreign = np.maximum(0.0, part.mass_g - dry * (1 + regain))
    else:
        dry = np.full(3, part.dry_mass_g)
        foreign = np.zeros(3)
    return Material(
        constituents=tuple(bridge.constituent_of(origin.lot, tables) for origin in origins),
        dry_mass_g=shares * dry,
        foreign_mass_g=shares * foreign,
        finish_mass_g=np.zeros((len(origins), 3)),
        actual_regain_frac=regain,
        form=Form(lot.now_form),
    )
