"""Counts and twists of a yarn from finished back to the front roll, and forward again."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.thickness import thickness_class
from doffer.process.yarn.basis import Basis, State, StrandCount, finished_tex, greige_tex, oil_water_of
from doffer.process.yarn.limits import System, YarnFibre
from doffer.process.yarn.plying import (
    LEAST_TAKE_UP,
    Balance,
    BalanceRule,
    Plied,
    balance,
    plied_tex,
    ply_take_up,
    single_for_ply_tex,
)
from doffer.process.yarn.twist import (
    MOST_STEPS,
    SOLVED,
    Direction,
    Section,
    bobbin_from_roller_tex,
    nearest_turns_tpm,
    roller_tex,
    turns_tpm,
    twist_factor,
)
from doffer.process.yarn.wish import SpinMachine, YarnUse, YarnWish
from doffer.tables.loader import Tables
from doffer.working import Status

M_PER_100G_TEX = 100_000  # by definition: tex is g in 1000 m


@dataclass(frozen=True, slots=True)
class TwistSet:
    """A twist as it is set: turns [turns/m], way, metric factor really obtained, angle [rad]."""

    tpm: float
    direction: Direction
    factor: float
    angle_rad: float


@dataclass(frozen=True, slots=True)
class Usual:
    """What the wish leaves open, filled in from the tables."""

    relaxation_frac: float
    oil_frac: float
    factor: float
    room_regain_frac: float


def usual_of(wish: YarnWish, *, system: System, slippery_frac: float, tables: Tables) -> Usual:
    """The wish's own figures, else those of table yarn_figures."""
    figures = tables.yarn_figures
    relaxation = wish.relaxation_frac
    return Usual(
        relaxation_frac=figures[f"relaxation/{system}"].value if relaxation is None else relaxation,
        oil_frac=figures[f"oil/{system}"].value if wish.oil_frac is None else wish.oil_frac,
        factor=usual_factor(wish, slippery_frac=slippery_frac, tables=tables)
        if wish.twist_factor is None
        else wish.twist_factor,
        room_regain_frac=wish.label_regain_frac if wish.room_regain_frac is None else wish.room_regain_frac,
    )


def usual_factor(wish: YarnWish, *, slippery_frac: float, tables: Tables) -> float:
    """Metric twist factor of the singles that is usual: by thickness, for socks firmer, for a single softer.

    ``factor x (1 + (m - 1) x slippery share)``, m about 1.1. Table yarn_figures, common practice.
    """
    figures = tables.yarn_figures
    item = thickness_class(tables, length_m_per_100g=M_PER_100G_TEX / wish.finished_tex).key
    if wish.plies == 1:
        item = "single"
    elif wish.use is YarnUse.SOCK:
        item = "sock"
    return figures[f"twist_factor/{item}"].value * (
        1 + (figures["slippery_twist/any"].value - 1) * slippery_frac
    )


@dataclass(frozen=True, slots=True)
class Chain:
    """One yarn at all its stages, with the twists that make it; see `YarnPlan` for the fields."""

    finished: StrandCount
    greige: StrandCount
    single: StrandCount
    roller: StrandCount
    single_twist: TwistSet
    ply_twist: TwistSet
    balance: Balance
    plied: Plied
    retraction_frac: float
    take_up: float
    usual: Usual
    section: Section


def section_of(fibre: YarnFibre, tables: Tables) -> Section:
    """Packing and density of the singles, for angles and take-up."""
    return Section(tables.yarn_figures["packing/twist"].value, fibre.density_g_cm3)


def chain_back(wish: YarnWish, fibre: YarnFibre, machine: SpinMachine, tables: Tables) -> Chain:
    """From the finished count back to the front roll, with twists the gears can give.

    Twist follows from the count and the count from the take-up of that twist: solved by repetition, first for
    any twist, then for the nearest the gears give.
    """
    usual = usual_of(wish, system=machine.system, slippery_frac=fibre.slippery_frac, tables=tables)
    section = section_of(fibre, tables)
    oil_water = oil_water_of(tables, oil_frac=usual.oil_frac)
    before_wash_tex = greige_tex(
        finished_tex=wish.finished_tex,
        label_regain_frac=wish.label_regain_frac,
        room_regain_frac=usual.room_regain_frac,
        relaxation_frac=usual.relaxation_frac,
        oil_frac=usual.oil_frac,
        set_loss_frac=wish.set_loss_frac,
        oil_water=oil_water,
    )
    free = _solve(wish, before_wash_tex, usual.factor, section, tables)
    twist_tpm = nearest_turns_tpm(free.twist_tpm, machine.twist_steps_tpm)
    ply_tpm = _ply_twist(wish, twist_tpm, tables).ply_twist_tpm
    if wish.plies > 1:
        ply_tpm = nearest_turns_tpm(ply_tpm, machine.ply_twist_steps_tpm)
    single_tex, plied = _settle(wish, before_wash_tex, twist_tpm, ply_tpm, section)
    contracted = section.retraction_frac(count_tex=single_tex, twist_tpm=twist_tpm)
    room = Basis(State.PLIED, usual.room_regain_frac, usual.oil_frac, oil_water)
    return Chain(
        finished=StrandCount(wish.finished_tex, Basis(State.FINISHED, wish.label_regain_frac)),
        greige=StrandCount(before_wash_tex, room),
        single=StrandCount(single_tex, _at(State.BOBBIN, room)),
        roller=StrandCount(
            roller_tex(bobbin_tex=single_tex, retraction_frac=contracted), _at(State.ROLLER, room)
        ),
        single_twist=_single_twist(wish, single_tex, twist_tpm, section, tables),
        ply_twist=_ply_set(wish, before_wash_tex, ply_tpm, plied, tables),
        balance=_ply_twist(wish, twist_tpm, tables),
        plied=plied,
        retraction_frac=contracted,
        take_up=_take_up(wish, plied),
        usual=usual,
        section=section,
    )


def finished_forward(chain: Chain, wish: YarnWish, *, roller_tex: float) -> StrandCount:
    """Finished count that a front-roll count gives with the twists of this chain; its inverse."""
    twist_tpm = chain.single_twist.tpm
    single_tex = bobbin_from_roller_tex(roller_tex=roller_tex, twist_tpm=twist_tpm, section=chain.section)
    plied = _plied(wish, single_tex, twist_tpm, chain.ply_twist.tpm, chain.section)
    before_wash_tex = plied_tex(singles_tex=(single_tex,) * wish.plies, take_up=_take_up(wish, plied))
    tex = finished_tex(
        greige_tex=before_wash_tex,
        label_regain_frac=wish.label_regain_frac,
        room_regain_frac=chain.usual.room_regain_frac,
        relaxation_frac=chain.usual.relaxation_frac,
        oil_frac=chain.usual.oil_frac,
        set_loss_frac=wish.set_loss_frac,
        oil_water=chain.greige.basis.oil_water,
    )
    return StrandCount(tex, chain.finished.basis)


@dataclass(frozen=True, slots=True)
class _Free:
    """A single solved for any twist."""

    twist_tpm: float


def _solve(wish: YarnWish, before_wash_tex: float, factor: float, section: Section, tables: Tables) -> _Free:
    """The twist that goes with the single it makes."""
    tex = before_wash_tex / wish.plies
    for _ in range(MOST_STEPS):
        twist_tpm = turns_tpm(tables, factor=factor, count_tex=tex)
        ply_tpm = _ply_twist(wish, twist_tpm, tables).ply_twist_tpm
        plied = _plied(wish, tex, twist_tpm, ply_tpm, section)
        found_tex = single_for_ply_tex(
            plied_tex=before_wash_tex, plies=wish.plies, take_up=_take_up(wish, plied)
        )
        if abs(found_tex - tex) <= SOLVED * tex:
            break
        tex = found_tex
    return _Free(twist_tpm)


def _settle(
    wish: YarnWish, before_wash_tex: float, twist_tpm: float, ply_tpm: float, section: Section
) -> tuple[float, Plied]:
    """The single that gives the count with twists that are set."""
    tex = before_wash_tex / wish.plies
    for _ in range(MOST_STEPS):
        plied = _plied(wish, tex, twist_tpm, ply_tpm, section)
        found_tex = single_for_ply_tex(
            plied_tex=before_wash_tex, plies=wish.plies, take_up=_take_up(wish, plied)
        )
        if abs(found_tex - tex) <= SOLVED * tex:
            return found_tex, plied
        tex = found_tex
    raise _curls(twist_tpm, ply_tpm)


def _plied(wish: YarnWish, single_tex: float, twist_tpm: float, ply_tpm: float, section: Section) -> Plied:
    if wish.plies == 1:
        return Plied(1.0, twist_tpm, 0.0)
    plied = ply_take_up(
        single_tex=single_tex,
        single_twist_tpm=twist_tpm,
        ply_twist_tpm=ply_tpm,
        plies=wish.plies,
        section=section,
        single_direction=wish.single_direction,
        ply_direction=ply_direction(wish),
    )
    if wish.take_up is None and plied.take_up <= LEAST_TAKE_UP:
        raise _curls(twist_tpm, ply_tpm)
    return plied


def _curls(twist_tpm: float, ply_tpm: float) -> InputError:
    said = f"{twist_tpm:.0f} turns per metre in the singles and {ply_tpm:.0f} in the ply"
    return InputError("twist", said, "low enough that the yarn does not curl up on itself")


def ply_direction(wish: YarnWish) -> Direction:
    """Way of the ply twist: as wished, else against the singles."""
    return wish.ply_direction or wish.single_direction.opposite


def _take_up(wish: YarnWish, plied: Plied) -> float:
    return plied.take_up if wish.take_up is None else wish.take_up


def _ply_twist(wish: YarnWish, twist_tpm: float, tables: Tables) -> Balance:
    if wish.plies > 1 and wish.ply_ratio is not None:
        return Balance(twist_tpm * wish.ply_ratio, BalanceRule.USUAL, Status.OWN, "ratio as wished")
    return balance(tables, single_twist_tpm=twist_tpm, plies=wish.plies, ply_back_tpm=wish.ply_back_tpm)


def _single_twist(
    wish: YarnWish, single_tex: float, twist_tpm: float, section: Section, tables: Tables
) -> TwistSet:
    return TwistSet(
        tpm=twist_tpm,
        direction=wish.single_direction,
        factor=twist_factor(tables, twist_tpm=twist_tpm, count_tex=single_tex),
        angle_rad=section.angle_rad(count_tex=single_tex, twist_tpm=twist_tpm),
    )


def _ply_set(
    wish: YarnWish, plied_count_tex: float, ply_tpm: float, plied: Plied, tables: Tables
) -> TwistSet:
    return TwistSet(
        tpm=ply_tpm,
        direction=ply_direction(wish),
        factor=twist_factor(tables, twist_tpm=ply_tpm, count_tex=plied_count_tex),
        angle_rad=plied.helix_angle_rad,
    )


def _at(state: State, basis: Basis) -> Basis:
    return Basis(state, basis.regain_frac, basis.oil_frac, basis.oil_water)
