"""A wish that cannot be met: why in a sentence, and what comes nearest to it, from this fibre or a blend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from doffer.fibre.thickness import thickness_class
from doffer.planning.put_up import M_PER_100G_TEX
from doffer.planning.yarn.reach import Partner, Reach, lots_that_reach, reach_words
from doffer.process.yarn.limits import Verdict, YarnFibre, effective_staple_mm, is_tender
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.plan_words import finest_length_m
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.plying import MOST_PLIES
from doffer.process.yarn.roving import system_words
from doffer.process.yarn.wish import SpinMachine, YarnWish
from doffer.tables.loader import Tables

STEP_M = 5.0  # metres in 100 g are offered in steps of five
MOST_STEPS = 20
MOST_BLENDS = 3


class WayOut(StrEnum):
    """How a wish is changed so that it can be met."""

    FEWER_PLIES = "fewer plies"
    OTHER_SYSTEM = "other way of spinning"
    BLEND = "blend"
    THICKER = "thicker"
    MORE_PLIES = "more plies, thicker"
    NO_YARN = "batt, roving or felt"


@dataclass(frozen=True, slots=True)
class Instead:
    """One thing to make instead: how, in a sentence, with its plan; `reach` for a blend."""

    way: WayOut
    sentence: str
    length_m_per_100g: float | None = None
    plan: YarnPlan | None = None
    reach: Reach | None = None


@dataclass(frozen=True, slots=True)
class Nearest:
    """Whether a wish can be met, why not, and what comes nearest, nearest first."""

    plan: YarnPlan
    is_possible: bool
    reason: str
    instead: tuple[Instead, ...]


def nearest_yarns(
    wish: YarnWish,
    fibre: YarnFibre,
    machines: Sequence[SpinMachine],
    tables: Tables,
    *,
    dry_mass_g: float = 1000.0,
    partners: Sequence[Partner] = (),
    owners: frozenset[str] = frozenset(),
) -> Nearest:
    """Plan a wish on the first machine; where it cannot be spun, say why and what comes nearest.

    In this order: the same count in fewer plies, by another way of spinning, from a blend; then thicker yarn,
    the least change first; last what asks for no spinning at all.

    Parameters
    ----------
    wish : YarnWish
    fibre : YarnFibre
    machines : sequence of SpinMachine
        The frame it is wished on, then the other frames of the mill.
    tables : Tables
    dry_mass_g : float
        Oven-dry fibre of the lot [g], for the grams of a blend.
    partners, owners
        Lots that might be added, and whose fibre may be used; see `lots_that_reach`.

    Notes
    -----
    What is offered was planned in full and has the verdict that is said of it. Limits are common practice.
    """
    machine, others = machines[0], machines[1:]
    plan = plan_yarn(wish, fibre, machine, tables)
    if plan.verdict is not Verdict.NO:
        return Nearest(plan, is_possible=True, reason="", instead=())
    asked = _Asked(wish, fibre, tables)
    same = [*_fewer_plies(asked, machine)]
    for other in others:
        same += _other_system(asked, other)
    same += _blends(asked, machine, partners, owners, dry_mass_g)
    thicker = [one for each in machines for one in _thicker(asked, each, machine)]
    thicker.sort(key=lambda one: -(one.length_m_per_100g or 0.0))
    return Nearest(plan, False, reason_why_not(plan, tables), (*same, *thicker, _no_yarn(asked)))


@dataclass(frozen=True, slots=True)
class _Asked:
    wish: YarnWish
    fibre: YarnFibre
    tables: Tables


def reason_why_not(plan: YarnPlan, tables: Tables) -> str:
    """Why a yarn cannot be spun, in one sentence; empty where it can."""
    because = []
    if plan.fewest.verdict(plan.fibres) is Verdict.NO:
        because.append(
            f"a single would have about {plan.fibres:.0f} fibres across where {plan.fewest.hard:.0f} "
            "hold together"
        )
    if plan.length.verdict is Verdict.NO:
        because.append(plan.length.reason)
    if not because:
        return ""
    staple_mm = effective_staple_mm(plan.fibre, tables)
    return (
        f"{yarn_words(plan.wish)} cannot be spun {system_words(plan.machine.system)} from "
        f"{plan.fibre.diameter_um:.0f} µm, {staple_mm:.0f} mm staple: {'; and '.join(because)}."
    )


def yarn_words(wish: YarnWish) -> str:
    """A wished yarn in words: "2-ply of 800 m in 100 g (lace)"."""
    length_m = M_PER_100G_TEX / wish.finished_tex
    plies = "A single" if wish.plies == 1 else f"{wish.plies}-ply"
    return f"{plies} of {length_m:.0f} m in 100 g"


def _how_well(plan: YarnPlan, tables: Tables) -> str:
    name = thickness_class(tables, length_m_per_100g=M_PER_100G_TEX / plan.wish.finished_tex).name.lower()
    runs = "runs well" if plan.verdict is Verdict.OK else "can be spun, with end breaks"
    return f"{runs}, about {plan.fibres:.0f} fibres across ({name})"


def _instead(way: WayOut, plan: YarnPlan, tables: Tables) -> Instead:
    length_m = M_PER_100G_TEX / plan.wish.finished_tex
    how = system_words(plan.machine.system)
    return Instead(way, f"{yarn_words(plan.wish)}, {how}, {_how_well(plan, tables)}.", length_m, plan)


def _fewer_plies(asked: _Asked, machine: SpinMachine) -> list[Instead]:
    """The same count in the most plies that can be spun."""
    for plies in range(asked.wish.plies - 1, 0, -1):
        wish = replace(asked.wish, plies=plies)
        plan = plan_yarn(wish, asked.fibre, machine, asked.tables)
        if plan.verdict is not Verdict.NO:
            return [_instead(WayOut.FEWER_PLIES, plan, asked.tables)]
    return []


def _other_system(asked: _Asked, machine: SpinMachine) -> list[Instead]:
    plan = plan_yarn(asked.wish, asked.fibre, machine, asked.tables)
    return [] if plan.verdict is Verdict.NO else [_instead(WayOut.OTHER_SYSTEM, plan, asked.tables)]


def _blends(
    asked: _Asked,
    machine: SpinMachine,
    partners: Sequence[Partner],
    owners: frozenset[str],
    dry_mass_g: float,
) -> list[Instead]:
    """The best few lots to blend with; none where a blend would still not be spun."""
    found = lots_that_reach(
        asked.wish,
        asked.fibre,
        partners,
        owners=owners,
        machine=machine,
        dry_mass_g=dry_mass_g,
        tables=asked.tables,
    )
    length_m = M_PER_100G_TEX / asked.wish.finished_tex
    return [
        Instead(WayOut.BLEND, " ".join((reach_words(one), *one.flags)), length_m, one.best.plan, one)
        for one in found[:MOST_BLENDS]
        if one.best is not None and one.best.plan.verdict is not Verdict.NO
    ]


def _thicker(asked: _Asked, machine: SpinMachine, wished: SpinMachine) -> list[Instead]:
    """The finest that runs well and the finest that holds, in these plies; and one ply more of it."""
    found = []
    for verdict in (Verdict.OK, Verdict.MARGINAL):
        plan = _finest(asked, machine, asked.wish.plies, verdict)
        if plan is not None:
            found.append(_instead(WayOut.THICKER, plan, asked.tables))
    if machine is wished and asked.wish.plies < MOST_PLIES:
        plan = _finest(asked, machine, asked.wish.plies + 1, Verdict.OK)
        if plan is not None:
            found.append(_instead(WayOut.MORE_PLIES, plan, asked.tables))
    return found


def _finest(asked: _Asked, machine: SpinMachine, plies: int, verdict: Verdict) -> YarnPlan | None:
    """The finest yarn of a verdict, in whole steps of metres, planned; None where there is none."""
    plan = plan_yarn(replace(asked.wish, plies=plies), asked.fibre, machine, asked.tables)
    if plan.length.verdict is Verdict.NO or (verdict is Verdict.OK and plan.length.verdict is not Verdict.OK):
        return None
    front_tex = plan.finest_comfortable_tex if verdict is Verdict.OK else plan.finest_hard_tex
    length_m = math.floor(finest_length_m(plan, front_tex=front_tex) / STEP_M + 1) * STEP_M
    for _ in range(MOST_STEPS):
        if length_m < STEP_M:
            return None
        wish = replace(asked.wish, plies=plies, finished_tex=M_PER_100G_TEX / length_m)
        plan = plan_yarn(wish, asked.fibre, machine, asked.tables)
        if plan.verdict is verdict:
            return plan
        length_m -= STEP_M
    return None


def _no_yarn(asked: _Asked) -> Instead:
    """What always works: no frame, no limit."""
    why = (
        "tender fibre breaks in card and frame, and is often best so"
        if is_tender(asked.fibre, asked.tables)
        else "it asks for no fibres across and takes any staple the card takes"
    )
    return Instead(WayOut.NO_YARN, f"A batt, a roving for hand-spinning or felting: {why}.")
