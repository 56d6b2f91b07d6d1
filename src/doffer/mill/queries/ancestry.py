"""Where a lot came from and where it went, as a small graph with oven-dry masses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from doffer.errors import NotFoundError
from doffer.mill import bridge
from doffer.mill.models import Lot, RunInput, RunOutput, RunWaste
from doffer.mill.queries.lots import Lab, lab_of

MOST_STEPS = 60  # generations walked each way: far more than a fibre can take


@dataclass(frozen=True, slots=True)
class LotNode:
    """A lot in the picture."""

    code: str
    owner: str
    fibre: str
    colour_name: str
    lab: Lab | None
    form: str
    mass_g: float
    dry_mass_g: float | None


@dataclass(frozen=True, slots=True)
class RunNode:
    """A run in the picture with its losses: waste that was weighed, and what nobody saw go (dry [g])."""

    code: str
    stage: str
    machine: str
    started_at: datetime
    ended_at: datetime | None
    dry_in_g: float | None
    dry_out_g: float | None
    dry_waste_g: float
    unseen_loss_g: float | None
    cleaned_before: str
    note: str


@dataclass(frozen=True, slots=True)
class Edge:
    """Fibre that went from a lot into a run (`into` True) or out of a run into a lot."""

    lot: str
    run: str
    into: bool
    mass_g: float
    dry_mass_g: float | None


@dataclass(frozen=True, slots=True)
class Ancestry:
    """Lots and runs joined by edges; runs in the order they began. `lot` is the one asked about."""

    lot: str
    lots: tuple[LotNode, ...]
    runs: tuple[RunNode, ...]
    edges: tuple[Edge, ...]


def ancestry(code: str) -> Ancestry:
    """All runs that a lot's fibre went through, before and after; two queries a generation and four more.

    Raises
    ------
    NotFoundError
        No lot has this number.
    """
    start = Lot.objects.filter(code=code).values_list("pk", flat=True).first()
    if start is None:
        raise NotFoundError("lot", code, "Search the list of lots")
    runs = _walk(start, backward=True) | _walk(start, backward=False)
    ins = list(_rows(RunInput, runs))
    outs = list(_rows(RunOutput, runs))
    edges = [_edge(row, into=True) for row in ins] + [_edge(row, into=False) for row in outs]
    wastes: dict[int, list[tuple[int, int | None]]] = {}
    for run, mass_mg, dry_mg in RunWaste.objects.filter(run__in=runs).values_list(
        "run_id", "mass_mg", "dry_mg"
    ):
        wastes.setdefault(run, []).append((mass_mg, dry_mg))
    nodes = {start} | {row[1] for row in ins} | {row[1] for row in outs}
    return Ancestry(code, _lots(nodes), _runs(ins, outs, wastes), tuple(edges))


_RUN_COLUMNS = ("run__code", "run__stage", "run__machine__name", "run__started_at", "run__ended_at")
_RUN_NOTES = ("run__cleaned_before", "run__note")


def _rows(model: type[RunInput] | type[RunOutput], runs: set[int]) -> Iterable[tuple]:
    return (
        model.objects.filter(run__in=runs)
        .order_by("run__started_at", "run_id", "pk")
        .values_list("run_id", "lot_id", "lot__code", "mass_mg", "dry_mg", *_RUN_COLUMNS, *_RUN_NOTES)
    )


Moment = tuple[datetime, int]  # when a run began; its number settles what began at the same time


def _walk(start: int, *, backward: bool) -> set[int]:
    """Runs reached from a lot: against the fibre's way through outputs, or with it through inputs.

    A lot keeps its number through many runs, so each is entered only from the moment at which the fibre that
    is followed was in it: backward the runs before, forward the runs after.
    """
    enter, leave = (RunOutput, RunInput) if backward else (RunInput, RunOutput)
    seen_runs: set[int] = set()
    reached: dict[int, Moment | None] = {start: None}  # lot -> from which moment on; None: any
    front = {start}
    for _ in range(MOST_STEPS):
        steps = enter.objects.filter(lot__in=front).values_list("lot_id", "run_id", "run__started_at")
        runs = {
            run: (at, run)
            for lot, run, at in steps
            if run not in seen_runs and _is_beyond((at, run), reached[lot], backward=backward)
        }
        if not runs:
            break
        seen_runs |= set(runs)
        front = set()
        for lot, run in leave.objects.filter(run__in=runs).values_list("lot_id", "run_id"):
            if lot not in reached or not _is_beyond(runs[run], reached[lot], backward=backward):
                reached[lot] = runs[run]
                front.add(lot)
    return seen_runs


def _is_beyond(moment: Moment, limit: Moment | None, *, backward: bool) -> bool:
    """Whether a run lies on the far side of the moment at which its lot was reached."""
    return limit is None or (moment < limit if backward else moment > limit)


def _edge(row: tuple, *, into: bool) -> Edge:
    _, _, lot, mass_mg, dry_mg, run, *_ = row
    return Edge(lot, run, into, bridge.grams(mass_mg), bridge.maybe_grams(dry_mg))


def _lots(nodes: set[int]) -> tuple[LotNode, ...]:
    found = Lot.objects.filter(pk__in=nodes).order_by("pk")
    return tuple(
        LotNode(code, owner, fibre, colour, lab_of(*lab), form, bridge.grams(mass), bridge.maybe_grams(dry))
        for code, owner, fibre, colour, *lab, form, mass, dry in found.values_list(
            "code",
            "customer__code",
            "fibre",
            "colour_name",
            "lab_l_centi",
            "lab_a_centi",
            "lab_b_centi",
            "now_form",
            "now_mass_mg",
            "now_dry_mg",
        )
    )


def _runs(ins: list[tuple], outs: list[tuple], wastes: dict[int, list]) -> tuple[RunNode, ...]:
    heads = {row[0]: row[5:] for row in ins + outs}
    nodes = []
    for run, (code, stage, machine, started_at, ended_at, cleaned, note) in heads.items():
        dry_in = _sum([row[4] for row in ins if row[0] == run])
        dry_out = _sum([row[4] for row in outs if row[0] == run]) if ended_at else None
        waste_mg = sum(mass if dry is None else dry for mass, dry in wastes.get(run, []))
        unseen = None if dry_in is None or dry_out is None else dry_in - dry_out - bridge.grams(waste_mg)
        nodes.append(
            RunNode(
                code=code,
                stage=stage,
                machine=machine or "",
                started_at=started_at,
                ended_at=ended_at,
                dry_in_g=dry_in,
                dry_out_g=dry_out,
                dry_waste_g=bridge.grams(waste_mg),
                unseen_loss_g=unseen,
                cleaned_before=cleaned,
                note=note,
            )
        )
    return tuple(sorted(nodes, key=lambda node: (node.started_at, node.code)))


def _sum(masses_mg: list[int | None]) -> float | None:
    return (
        None
        if None in masses_mg or not masses_mg
        else bridge.grams(sum(m for m in masses_mg if m is not None))
    )
