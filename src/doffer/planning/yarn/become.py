"""What a lot can become: yarns, finest first, with metres, skeins, softness, risk and hours.

Angle, contraction and take-up hang on the twist factor alone, not on the count, so each is found once for a
twist and every count of a list follows by scaling, all in one go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.count import TEX_M
from doffer.fibre.thickness import ThicknessClass, thickness_class
from doffer.planning.put_up import M_PER_100G_TEX, WHOLE_DUST
from doffer.planning.spread import Spread
from doffer.planning.yarn.risk import Risk, Softness, order_of_risk, risk_of, softness_of
from doffer.planning.yarn.spin_lot import Frame, SpinLot
from doffer.process.yarn.basis import Basis, State, StrandCount
from doffer.process.yarn.chain import chain_back, usual_factor
from doffer.process.yarn.limits import (
    FewestFibres,
    LengthGate,
    Verdict,
    effective_staple_mm,
    expected_cv_frac,
    fewest_fibres,
    length_gate,
    limit_cv_frac,
    mismatches,
    plied_cv_frac,
    worse,
)
from doffer.process.yarn.plan import fibre_only_tex
from doffer.process.yarn.twist import spin_speed_m_per_min
from doffer.process.yarn.wish import YarnWish
from doffer.tables.loader import Tables

USUAL_PLIES = (2, 3, 4, 1)  # of one yarn, the way it is usually made first
PROBE_TEX = 1000.0  # any count will do: nothing that is read off it depends on it


@dataclass(frozen=True, slots=True)
class Product:
    """A yarn by its usual name and its length [m in 100 g, finished, at label regain]."""

    name: str
    length_m_per_100g: float

    @property
    def finished_tex(self) -> float:
        """Its count [tex]."""
        return M_PER_100G_TEX / self.length_m_per_100g


@dataclass(frozen=True, slots=True)
class Skeins:
    """Whole skeins of a length: at the ends of the range, expected, and safe to promise."""

    length_m: float
    low: int
    expected: int
    high: int
    safe: int
    over_mass_g: float


@dataclass(frozen=True, slots=True)
class Becoming:
    """One yarn a lot can become, or cannot.

    Parameters
    ----------
    product : Product
    thickness : ThicknessClass
    plies : int
    frame : Frame
        Frame, with its way of spinning.
    wish : YarnWish
        What `process.yarn.plan.plan_yarn` is asked to plan it in full, gears and all.
    finished, single : StrandCount
        Finished yarn and single on the bobbin, each with its basis.
    fibre_only_tex : float
        Front roll without oil at label regain [tex]; fibres are counted in it.
    single_twist_tpm, ply_twist_tpm : float
        Turns, before gears [turns/m].
    fibres, fewest_hard, fewest_comfortable : float
        Fibres across a single, how many hold and how many run well.
    single_cv_frac, plied_cv_frac : float
        Unevenness to expect [frac].
    length : Spread
        Metres of finished yarn [m].
    skeins : Skeins
    softness : Softness
    verdict : Verdict
        Of fibres across and staple.
    risk : Risk
    frame_h : float or None
        Hours on the frame for all of the lot, expected; None where rpm, spindles or efficiency are not known.
    """

    product: Product
    thickness: ThicknessClass
    plies: int
    frame: Frame
    wish: YarnWish
    finished: StrandCount
    single: StrandCount
    fibre_only_tex: float
    single_twist_tpm: float
    ply_twist_tpm: float
    fibres: float
    fewest_hard: float
    fewest_comfortable: float
    single_cv_frac: float
    plied_cv_frac: float
    length: Spread
    skeins: Skeins
    softness: Softness
    verdict: Verdict
    risk: Risk
    frame_h: float | None

    @property
    def is_possible(self) -> bool:
        """Whether it can be spun at all."""
        return self.verdict is not Verdict.NO


def usual_products(tables: Tables) -> tuple[Product, ...]:
    """Yarns by name with their usual length, finest first: table yarn_figures, common practice."""
    rows = [row for row in tables.yarn_figures.values() if row.figure == PRODUCT]
    found = (Product(row.item.replace("_", " "), row.value) for row in rows)
    return tuple(sorted(found, key=lambda one: (-one.length_m_per_100g, one.name)))


PRODUCT = "product"


class RankBy(StrEnum):
    """In which order yarns of equal risk are told."""

    FINEST = "finest"
    SOFTEST = "softest"
    EVENEST = "evenest"
    QUICKEST = "quickest"


def becomings(
    lot: SpinLot,
    frames: Sequence[Frame],
    tables: Tables,
    *,
    products: Sequence[Product] | None = None,
    plies: Sequence[int] = USUAL_PLIES,
    skein_mass_g: float = 100.0,
    rank_by: RankBy = RankBy.FINEST,
) -> tuple[Becoming, ...]:
    """Every yarn of the usual ones, in every number of plies, on every frame: possible ones first.

    Ranked by risk, then as asked (finest first: coarser yarn can always be made), then by the usual number of
    plies, then by way of spinning. The order does not hang on the order in which frames are given.

    Parameters
    ----------
    lot : SpinLot
        Fibre and finished weight.
    frames : sequence of Frame
        Frames of the mill.
    tables : Tables
    products : sequence of Product or None
        Yarns to try; None: the usual ones.
    plies : sequence of int
    skein_mass_g : float
        Weight of a skein at agreed regain [g]; it is wound by its length.
    rank_by : RankBy

    Notes
    -----
    Counts are before gears: `plan_yarn` of `Becoming.wish` says what the frame can really be set to. Finer
    fibre or longer staple never takes a yarn off the list of possible ones.

    Raises
    ------
    InputError
        No frame, or a skein of nothing.
    """
    if not frames:
        raise InputError("spinning frames", None, "one or more, each with its way of spinning")
    if not skein_mass_g > 0:
        raise InputError("weight of a skein", skein_mass_g, "above zero grams")
    tried = usual_products(tables) if products is None else tuple(products)
    found = [
        one
        for frame in frames
        for number in dict.fromkeys(plies)
        for one in _of_frame(_Tried(lot, frame, number, skein_mass_g, tables), tried)
    ]
    return tuple(sorted(found, key=partial(_rank, rank_by=rank_by)))


def possible(rows: Sequence[Becoming]) -> tuple[Becoming, ...]:
    """Those that can be spun, in their order."""
    return tuple(row for row in rows if row.is_possible)


def one_each(rows: Sequence[Becoming]) -> tuple[Becoming, ...]:
    """The first of every product, in their order: the short list."""
    first: dict[str, Becoming] = {}
    for row in rows:
        first.setdefault(row.product.name, row)
    return tuple(first.values())


def _rank(row: Becoming, rank_by: RankBy) -> tuple[object, ...]:
    usual = USUAL_PLIES.index(row.plies) if row.plies in USUAL_PLIES else row.plies
    by = {
        RankBy.FINEST: -row.product.length_m_per_100g,
        RankBy.SOFTEST: round(row.softness.angle_rad, RANK_DIGITS),
        RankBy.EVENEST: round(row.plied_cv_frac, RANK_DIGITS),
        RankBy.QUICKEST: math.inf if row.frame_h is None else round(row.frame_h, RANK_DIGITS),
    }[rank_by]
    machine = row.frame.machine
    finest = -row.product.length_m_per_100g
    return (order_of_risk(row.risk), by, finest, usual, str(machine.system), machine.name, row.product.name)


RANK_DIGITS = 9  # equal to the last digit but some counts as equal


def wish_for(lot: SpinLot, frame: Frame, *, finished_tex: float, plies: int, factor: float) -> YarnWish:
    """The wish for a yarn of this lot on a frame, with what is known of the yarns of that frame."""
    return YarnWish(
        finished_tex=finished_tex,
        plies=plies,
        label_regain_frac=lot.label_regain_frac,
        twist_factor=factor,
        relaxation_frac=frame.relaxation_frac,
        oil_frac=frame.oil_frac,
    )


@dataclass(frozen=True, slots=True)
class _Tried:
    """One lot on one frame in one number of plies."""

    lot: SpinLot
    frame: Frame
    plies: int
    skein_mass_g: float
    tables: Tables


def _of_frame(tried: _Tried, products: Sequence[Product]) -> list[Becoming]:
    """All products at once."""
    lot, system = tried.lot, tried.frame.machine.system
    fewest = fewest_fibres(tried.tables, system=system, short_fibre_frac=lot.fibre.short_fibre_frac)
    gate = length_gate(tried.tables, system=system, staple_mm=effective_staple_mm(lot.fibre, tried.tables))
    apart = mismatches(lot.fibre, tried.tables)
    columns = _columns(tried, products)
    return [
        _row(tried, product, columns, place, (fewest, gate, apart)) for place, product in enumerate(products)
    ]


@dataclass(frozen=True, slots=True)
class _Columns:
    """Figures of all products, shape (k,); lengths and skeins at low, mean, high and safe, shape (4, k)."""

    basis: Basis
    wishes: tuple[YarnWish, ...]
    angle_rad: Floats
    single_tex: Floats
    bare_tex: Floats
    twist_tpm: Floats
    ply_tpm: Floats
    fibres: Floats
    cv_frac: Floats
    length_m: Floats
    n_skeins: Floats
    over_mass_g: Floats
    frame_h: Floats


def _columns(tried: _Tried, products: Sequence[Product]) -> _Columns:
    finished_tex = np.array([product.finished_tex for product in products])
    wishes = tuple(_usual_wish(tried, float(tex)) for tex in finished_tex)
    of_factor = {factor: _probe(tried, factor) for factor in {wish.twist_factor or 0.0 for wish in wishes}}
    probes = [of_factor[wish.twist_factor or 0.0] for wish in wishes]
    scale = {
        name: np.array([getattr(probe, name) for probe in probes])
        for name in ("single", "bare", "turns", "ply_ratio", "singles_per_m", "angle_rad")
    }
    single_tex, bare_tex = finished_tex * scale["single"], finished_tex * scale["bare"]
    twist_tpm = scale["turns"] / np.sqrt(single_tex)
    limit_frac = limit_cv_frac(tried.lot.fibre, fibre_only_tex=1.0) / np.sqrt(bare_tex)
    length_m, n_skeins, over_g = _put_up(tried, finished_tex)
    return _Columns(
        basis=probes[0].basis,
        wishes=wishes,
        angle_rad=scale["angle_rad"],
        single_tex=single_tex,
        bare_tex=bare_tex,
        twist_tpm=twist_tpm,
        ply_tpm=twist_tpm * scale["ply_ratio"],
        fibres=bare_tex / tried.lot.fibre.fibre_tex,
        cv_frac=expected_cv_frac(tried.tables, limit_cv_frac=1.0, system=tried.frame.machine.system)
        * limit_frac,
        length_m=length_m,
        n_skeins=n_skeins,
        over_mass_g=over_g,
        frame_h=_hours(tried, length_m[MEAN] * scale["singles_per_m"], twist_tpm),
    )


LOW, MEAN, HIGH, SAFE = range(4)


@dataclass(frozen=True, slots=True)
class _Probe:
    """What one twist factor gives whatever the count: ratios of counts to the finished one, and the angle.

    `turns` is turns per metre times the root of the single's tex.
    """

    basis: Basis
    single: float
    bare: float
    turns: float
    ply_ratio: float
    singles_per_m: float
    angle_rad: float


def _probe(tried: _Tried, twist_factor: float) -> _Probe:
    frame = tried.frame
    wish = wish_for(tried.lot, frame, finished_tex=PROBE_TEX, plies=tried.plies, factor=twist_factor)
    machine = replace(frame.machine, twist_steps_tpm=(), ply_twist_steps_tpm=())
    chain = chain_back(wish, tried.lot.fibre, machine, tried.tables)
    bare_tex = fibre_only_tex(chain, label_regain_frac=wish.label_regain_frac)
    twist_tpm = chain.single_twist.tpm
    return _Probe(
        basis=chain.single.basis,
        single=chain.single.tex / PROBE_TEX,
        bare=bare_tex / PROBE_TEX,
        turns=twist_tpm * math.sqrt(chain.single.tex),
        ply_ratio=chain.ply_twist.tpm / twist_tpm if twist_tpm > 0 else 0.0,
        singles_per_m=tried.plies / (chain.take_up * (1 - chain.usual.relaxation_frac)),
        angle_rad=chain.single_twist.angle_rad,
    )


def _usual_wish(tried: _Tried, finished_tex: float) -> YarnWish:
    """The yarn at its usual twist."""
    open_wish = YarnWish(finished_tex=finished_tex, plies=tried.plies)
    factor = usual_factor(open_wish, slippery_frac=tried.lot.fibre.slippery_frac, tables=tried.tables)
    return wish_for(tried.lot, tried.frame, finished_tex=finished_tex, plies=tried.plies, factor=factor)


def _put_up(tried: _Tried, finished_tex: Floats) -> tuple[Floats, Floats, Floats]:
    """Metres [m], whole skeins, and what is over [g], shape (4, k); the ends stay on the bobbins."""
    figures = tried.tables.yarn_figures
    lot, frame = tried.lot, tried.frame
    finished = lot.finished(plies=tried.plies)
    ends_g = 0.0 if lot.are_ends_taken else figures["bobbin_end/any"].value * (frame.n_spindles or 0)
    mass_g = np.array([finished.low, finished.mean, finished.high, finished.safe])[:, None]
    left_g = np.maximum(mass_g - ends_g, 0.0)
    tie_g = figures["skein_tie/any"].value * finished_tex / TEX_M
    each_g = tried.skein_mass_g + tie_g
    n_skeins = np.floor(left_g / each_g + WHOLE_DUST)
    over_g = np.maximum(left_g - n_skeins * each_g, 0.0)
    return np.asarray(left_g * TEX_M / finished_tex), n_skeins, over_g


def _hours(tried: _Tried, singles_m: Floats, twist_tpm: Floats) -> Floats:
    """Hours on the frame, shape (k,); not a number where rpm, spindles or efficiency are not known."""
    machine, frame = tried.frame.machine, tried.frame
    if machine.spindle_rpm is None:
        return np.full(len(singles_m), np.nan)
    cap = machine.roll_speed_cap_m_per_min or tried.tables.yarn_figures["roll_speed_cap/any"].value
    speeds = [
        spin_speed_m_per_min(spindle_rpm=machine.spindle_rpm, twist_tpm=turns, roll_speed_cap_m_per_min=cap)
        for turns in twist_tpm
    ]
    found = [
        frame.hours_of(singles_m=float(length_m), speed_m_per_min=speed)
        for length_m, speed in zip(singles_m, speeds, strict=True)
    ]
    return np.array([np.nan if hours is None else hours for hours in found])


def _row(
    tried: _Tried,
    product: Product,
    columns: _Columns,
    place: int,
    limits: tuple[FewestFibres, LengthGate, tuple[str, ...]],
) -> Becoming:
    fewest, gate, apart = limits
    lot = tried.lot
    fibres, cv_frac = float(columns.fibres[place]), float(columns.cv_frac[place])
    hours = float(columns.frame_h[place])
    length_m = [float(value) for value in columns.length_m[:, place]]
    skeins = [int(value) for value in columns.n_skeins[:, place]]
    return Becoming(
        product=product,
        thickness=thickness_class(tried.tables, length_m_per_100g=product.length_m_per_100g),
        plies=tried.plies,
        frame=tried.frame,
        wish=columns.wishes[place],
        finished=StrandCount(product.finished_tex, Basis(State.FINISHED, lot.label_regain_frac)),
        single=StrandCount(float(columns.single_tex[place]), columns.basis),
        fibre_only_tex=float(columns.bare_tex[place]),
        single_twist_tpm=float(columns.twist_tpm[place]),
        ply_twist_tpm=float(columns.ply_tpm[place]),
        fibres=fibres,
        fewest_hard=fewest.hard,
        fewest_comfortable=fewest.comfortable,
        single_cv_frac=cv_frac,
        plied_cv_frac=plied_cv_frac(single_cv_frac=cv_frac, plies=tried.plies),
        length=Spread(length_m[MEAN], length_m[LOW], length_m[HIGH], length_m[SAFE]),
        skeins=Skeins(
            length_m=tried.skein_mass_g / 100 * product.length_m_per_100g,
            low=skeins[LOW],
            expected=skeins[MEAN],
            high=skeins[HIGH],
            safe=skeins[SAFE],
            over_mass_g=float(columns.over_mass_g[MEAN, place]),
        ),
        softness=softness_of(lot, tried.tables, angle_rad=float(columns.angle_rad[place])),
        verdict=worse(fewest.verdict(fibres), gate.verdict),
        risk=risk_of(fewest, gate, apart, fibres=fibres, is_tender=lot.is_tender),
        frame_h=None if math.isnan(hours) else hours,
    )
