"""Which other lot, in what share, lifts a fibre to a finer count; of fibre that may be used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.process.yarn.chain import chain_back
from doffer.process.yarn.limits import (
    Verdict,
    YarnFibre,
    blended,
    effective_staple_mm,
    fewest_fibres,
    is_tender,
    length_gate,
    mismatches,
    share_to_reach,
)
from doffer.process.yarn.plan import fibre_only_tex, plan_yarn
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.wish import SpinMachine, YarnWish
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working, percent

OWN = ""  # owner of the mill's own fibre, where no records say otherwise
STEPS_OF_ONE = 1000  # shares are told, and weighed out, in tenths of a percent, rounded up
MOST_ROUNDS = 50
SETTLED = 1e-9


@dataclass(frozen=True, slots=True)
class Partner:
    """A lot that might be added: whose it is, its fibre, how much is free, oven-dry [g], whether it snaps."""

    name: str
    owner: str
    fibre: YarnFibre
    dry_mass_g: float
    snaps: bool = False


@dataclass(frozen=True, slots=True)
class Lift:
    """The share of a partner that brings so many fibres across, rounded up to a tenth of a percent.

    Parameters
    ----------
    wanted_fibres : float
        Across a single.
    share_frac : float
        Of the oven-dry blend [frac].
    dry_mass_g : float
        Of the partner, oven-dry, added to all of the lot [g].
    is_enough : bool
        Whether there is so much of it.
    plan : YarnPlan
        The wish from that blend.
    working : Working
    """

    wanted_fibres: float
    share_frac: float
    dry_mass_g: float
    is_enough: bool
    plan: YarnPlan
    working: Working


@dataclass(frozen=True, slots=True)
class Reach:
    """What one partner can do: to hold, to run well (None: no share does), and what speaks against it."""

    partner: Partner
    holds: Lift | None
    runs_well: Lift | None
    flags: tuple[str, ...]

    @property
    def best(self) -> Lift | None:
        """The lift to aim at: so that it runs well where there is enough for it, else so that it holds."""
        if self.runs_well is not None and (self.runs_well.is_enough or self.holds is None):
            return self.runs_well
        return self.holds


def lots_that_reach(
    wish: YarnWish,
    fibre: YarnFibre,
    partners: Sequence[Partner],
    *,
    owners: frozenset[str],
    machine: SpinMachine,
    dry_mass_g: float,
    tables: Tables,
) -> tuple[Reach, ...]:
    """Partners that lift a fibre to a wished count, the least troublesome first; empty where none is needed.

    ``x = (n / T - 1/f1) / (1/f2 - 1/f1)`` by oven-dry mass, T the front-roll count of the blend itself (its
    twist and density change a little with x, so it is solved by repetition).

    Parameters
    ----------
    wish : YarnWish
        The finished yarn.
    fibre : YarnFibre
        Of the lot that is too coarse for it.
    partners : sequence of Partner
        Every lot there is; those of other owners than `owners` are passed over in silence.
    owners : frozenset of str
        Whose fibre may be used: the lot's own owner, the mill where that is agreed, those who said yes.
    machine : SpinMachine
    dry_mass_g : float
        Oven-dry fibre of the lot [g], > 0.
    tables : Tables

    Notes
    -----
    Ranked by the number of flags, whether there is enough, then the least share. A finer partner cures
    neither short nor tender fibre: that is said as a flag, not hidden.
    """
    if not dry_mass_g > 0:
        raise InputError("fibre of the lot", dry_mass_g, "above zero grams, oven-dry")
    fewest = fewest_fibres(tables, system=machine.system, short_fibre_frac=fibre.short_fibre_frac)
    have = plan_yarn(wish, fibre, machine, tables).fibres
    if have >= fewest.comfortable:
        return ()
    found = []
    for partner in partners:
        if partner.owner not in owners or not partner.dry_mass_g > 0:
            continue
        asked = _Asked(wish, fibre, partner, machine, dry_mass_g, tables)
        holds = _lift(asked, wanted_fibres=fewest.hard) if have < fewest.hard else None
        well = _lift(asked, wanted_fibres=fewest.comfortable)
        if holds is not None or well is not None:
            found.append(Reach(partner, holds, well, _flags(asked, holds or well)))
    return tuple(sorted(found, key=_rank))


def _rank(reach: Reach) -> tuple[int, bool, float, str]:
    best = reach.best
    if best is None:
        return len(reach.flags), True, 1.0, reach.partner.name
    return len(reach.flags), not best.is_enough, best.share_frac, reach.partner.name


@dataclass(frozen=True, slots=True)
class _Asked:
    wish: YarnWish
    fibre: YarnFibre
    partner: Partner
    machine: SpinMachine
    dry_mass_g: float
    tables: Tables


def _lift(asked: _Asked, *, wanted_fibres: float) -> Lift | None:
    """The least share that brings so many fibres across; None where no share does."""
    share, bare_tex = 0.0, 0.0
    for _ in range(MOST_ROUNDS):
        bare_tex = _bare_tex(asked, share_frac=share)
        found = share_to_reach(
            wanted_fibres=wanted_fibres,
            fibre_only_tex=bare_tex,
            coarse=asked.fibre,
            fine=asked.partner.fibre,
        )
        if not found.is_possible:
            return None
        if abs(found.share_frac - share) < SETTLED:
            break
        share = found.share_frac
    told = math.ceil(share * STEPS_OF_ONE - SETTLED * STEPS_OF_ONE) / STEPS_OF_ONE
    if told >= 1:
        return None
    added_g = asked.dry_mass_g * told / (1 - told)
    blend = blended(asked.fibre, asked.partner.fibre, second_share_frac=told)
    return Lift(
        wanted_fibres=wanted_fibres,
        share_frac=told,
        dry_mass_g=added_g,
        is_enough=added_g <= asked.partner.dry_mass_g,
        plan=plan_yarn(asked.wish, blend, asked.machine, asked.tables),
        working=_working(asked, wanted_fibres=wanted_fibres, bare_tex=bare_tex, share_frac=told),
    )


def _bare_tex(asked: _Asked, *, share_frac: float) -> float:
    """Front roll without oil [tex] of the wish from a blend."""
    blend = blended(asked.fibre, asked.partner.fibre, second_share_frac=share_frac)
    chain = chain_back(asked.wish, blend, asked.machine, asked.tables)
    return fibre_only_tex(chain, label_regain_frac=asked.wish.label_regain_frac)


def _working(asked: _Asked, *, wanted_fibres: float, bare_tex: float, share_frac: float) -> Working:
    return Working(
        title=f"Share of {asked.partner.name}",
        formula="(fibres ÷ front roll − 1 ÷ coarse fibre) ÷ (1 ÷ fine fibre − 1 ÷ coarse fibre)",
        inputs=(
            Term("fibres across", wanted_fibres, "", "common practice until your own end breaks say better"),
            Term("front roll without oil", bare_tex, "tex"),
            Term("mean coarse fibre", asked.fibre.fibre_tex, "tex"),
            Term(f"mean fibre of {asked.partner.name}", asked.partner.fibre.fibre_tex, "tex"),
        ),
        result=Term("share of the oven-dry blend", share_frac, "frac", "rounded up"),
        source="geometry of round fibres, shares by mass",
        status=Status.COMPUTED,
    )


def _flags(asked: _Asked, lift: Lift | None) -> tuple[str, ...]:
    """What speaks against a blend, in sentences."""
    if lift is None:
        return ()
    tables, fibre = asked.tables, asked.fibre
    said = [f"{one}." for one in mismatches(lift.plan.fibre, tables)]
    if asked.partner.snaps or is_tender(asked.partner.fibre, tables):
        said.append(f"{asked.partner.name} is tender: it breaks in the card and the frame.")
    if is_tender(fibre, tables):
        said.append("A finer partner does not cure tender fibre: it still breaks.")
    gate = length_gate(tables, system=asked.machine.system, staple_mm=effective_staple_mm(fibre, tables))
    if gate.verdict is Verdict.NO:
        said.append(f"A finer partner does not cure short fibre: {gate.reason}.")
    return tuple(said)


def reach_words(reach: Reach) -> str:
    """One partner in a sentence."""
    lift = reach.best
    if lift is None:
        return f"{reach.partner.name} cannot lift it."
    kg = lift.dry_mass_g / G_PER_KG
    free_kg = reach.partner.dry_mass_g / G_PER_KG
    how = {
        Verdict.OK: "it runs well",
        Verdict.MARGINAL: "it can be spun, with end breaks",
        Verdict.NO: f"still not, for {lift.plan.length.reason}",
    }[lift.plan.verdict]
    there = "" if lift.is_enough else f"; only {free_kg:.2f} kg of it is free"
    return (
        f"{percent(lift.share_frac, digits=1)} of {reach.partner.name} ({kg:.2f} kg oven-dry): {how}, "
        f"about {lift.plan.fibres:.0f} fibres across{there}."
    )


G_PER_KG = 1000
