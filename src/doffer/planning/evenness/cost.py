"""What every stage of a passage costs: oven-dry fibre lost and minutes at the machine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.process.evenness.passage import Card, Draw, Passage, Pick, Step
from doffer.process.losses import loss_range
from doffer.process.rates import MachineFigures, fibre_groups, machine_rate_kg_per_h
from doffer.tables.loader import Tables

MIN_PER_H = 60
G_PER_KG = 1000
MACHINE_KINDS = {"pick": "picker", "card": "card", "draw": "pin_drafter"}


@dataclass(frozen=True, slots=True)
class MachineRate:
    """How a machine runs: oven-dry kg an hour (None: not known), set-up minutes of a sitting."""

    kg_per_h: float | None
    setup_min: float


@dataclass(frozen=True, slots=True)
class StageCost:
    """What a stage costs: oven-dry fibre lost [g] and minutes at the machine; None: not known."""

    lost_g: float | None = None
    minutes: float | None = None


def usual_rates(tables: Tables, fibres: Sequence[str]) -> dict[str, MachineRate]:
    """Usual rates of picker, card and drawing (machine_kinds): the slowest fibre of a blend rules."""
    return {
        stage: MachineRate(
            machine_rate_kg_per_h(stage, MachineFigures(), fibre_groups(fibres, tables), tables),
            tables.machine_kinds[kind].setup_min,
        )
        for stage, kind in MACHINE_KINDS.items()
    }


def mean_loss_frac(tables: Tables, *, stage: str, fibres: Sequence[str], shares: Sequence[float]) -> float:
    """Share a blend loses at one pass of a stage [frac]: the mean of its fibres' ranges by oven-dry mass."""
    return sum(
        share * loss_range(tables, stage=stage, fibre=fibre).mean_frac
        for fibre, share in zip(fibres, shares, strict=True)
    )


def stage_of(step: Step) -> str:
    """What a step is called in code: pick, toss, card or draw."""
    match step:
        case Pick():
            return "pick"
        case Card():
            return "card"
        case Draw():
            return "draw"
    return "toss"


def stage_costs(
    passage: Passage,
    tables: Tables,
    fibres: Sequence[str],
    *,
    rates: Mapping[str, MachineRate] | None = None,
) -> tuple[StageCost, ...]:
    """Cost of the feed (nothing) and of every step, in the order of `Passage.stages()`.

    Set-up counts at the first pass of each machine; what a machine keeps once is not counted here.

    Parameters
    ----------
    fibres : sequence of str
        Fibre key of every part, in its order.
    rates : mapping, optional
        By stage; the usual rates of the fibres where not given.

    Raises
    ------
    InputError
        Another number of fibres than parts.
    """
    if len(fibres) != len(passage.feed.parts):
        raise InputError("fibres", len(fibres), f"one for each of the {len(passage.feed.parts)} lots")
    shares = passage.feed.shares.tolist()
    rates = rates or usual_rates(tables, fibres)
    mass_g, seen, costs = passage.feed.lot_dry_mass_g, set(), [StageCost(0.0, 0.0)]
    for step in passage.steps:
        stage = stage_of(step)
        lost_g = mass_g * mean_loss_frac(tables, stage=stage, fibres=fibres, shares=shares)
        rate = rates.get(stage)
        costs.append(StageCost(lost_g, _minutes(rate, mass_g, is_first=stage not in seen)))
        seen.add(stage)
        mass_g -= lost_g
    return tuple(costs)


def _minutes(rate: MachineRate | None, mass_g: float, *, is_first: bool) -> float | None:
    if rate is None:
        return 0.0
    if rate.kg_per_h is None:
        return None
    return mass_g / G_PER_KG / rate.kg_per_h * MIN_PER_H + (rate.setup_min if is_first else 0.0)


def lost_and_minutes(costs: Sequence[StageCost]) -> StageCost:
    """All stages together; not known when one of them is not."""
    lost = [one.lost_g for one in costs]
    minutes = [one.minutes for one in costs]
    return StageCost(
        None if None in lost else float(np.sum(np.array(lost, dtype=np.float64))),
        None if None in minutes else float(np.sum(np.array(minutes, dtype=np.float64))),
    )
