"""How fast machines work [kg/h]: frames from count and twist, cards and drafters from what they deliver.

What a machine's own record says comes first; the usual figures of the tables stand in until then.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from doffer.errors import InputError
from doffer.process.yarn.twist import spin_speed_m_per_min
from doffer.tables.loader import Tables
from doffer.tables.rows import MachineKind

MIN_PER_H = 60
SECONDS_PER_MIN = 60
G_PER_KG = 1000
MM_PER_M = 1000
TEX_PER_KG_PER_M = 1_000_000  # by definition: tex is g in 1000 m


class FibreGroup(StrEnum):
    """Groups of fibre by which the record of a machine tells its rates."""

    WOOL = "wool"
    CAMELID = "camelid"
    ANGORA = "angora"


_GROUPS = {"alpaca": FibreGroup.CAMELID, "angora_rabbit": FibreGroup.ANGORA}  # groups of table stage_losses


def fibre_groups(fibres: Sequence[str], tables: Tables) -> frozenset[FibreGroup]:
    """Groups of the fibres of a lot or blend; what is neither camelid nor angora runs like wool."""
    return frozenset(_GROUPS.get(tables.fibres[one].losses_as, FibreGroup.WOOL) for one in fibres)


@dataclass(frozen=True, slots=True)
class MachineFigures:
    """A machine as far as time asks; None and empty: nobody gave it, the usual of the tables stands in.

    Parameters
    ----------
    rates_kg_per_h : mapping
        By fibre group ("wool", "camelid", "angora"), as fibre goes in.
    spindles, spindle_rpm, roll_speed_cap_m_per_min : int or None, float or None
    efficiency_frac : float or None
        Own share of the shift that spindles turn, doffing and breaks taken off [frac].
    bobbin_mass_g, doff_min : float or None
        Yarn on a full bobbin [g], minutes to doff the whole frame.
    breaks_per_spindle_h, break_wait_min : float or None
    charge_mass_g, charge_min : float or None
        What a tub, rack or vessel takes at once [g], and how long one charge takes.
    setup_min, clean_light_to_dark_min, clean_dark_to_light_min, clean_new_owner_min : float or None
    ring_mm : float or None
        Ring diameter of a ring frame [mm].
    """

    rates_kg_per_h: Mapping[str, float] = field(default_factory=dict)
    spindles: int | None = None
    spindle_rpm: float | None = None
    roll_speed_cap_m_per_min: float | None = None
    efficiency_frac: float | None = None
    bobbin_mass_g: float | None = None
    doff_min: float | None = None
    breaks_per_spindle_h: float | None = None
    break_wait_min: float | None = None
    charge_mass_g: float | None = None
    charge_min: float | None = None
    setup_min: float | None = None
    clean_light_to_dark_min: float | None = None
    clean_dark_to_light_min: float | None = None
    clean_new_owner_min: float | None = None
    ring_mm: float | None = None


def usual_kind(stage: str, tables: Tables) -> MachineKind | None:
    """The first kind of machine of a stage in table machine_kinds."""
    return next((row for row in tables.machine_kinds.values() if row.stage == stage), None)


def strand_rate_kg_per_h(
    *, speed_m_per_min: float, count_tex: float, strands: int = 1, efficiency_frac: float = 1.0
) -> float:
    """What strands weigh that come off in an hour [kg/h]: ``n 60 v tex / 1e6 eff``.

    For a frame (n spindles), a drafter (n 1) and a card that delivers roving.

    >>> round(strand_rate_kg_per_h(speed_m_per_min=12, count_tex=100), 3)
    0.072

    Raises
    ------
    InputError
        A speed, count or number that is not above zero, or an efficiency outside 0 to 1.
    """
    _check_above_zero(speed=speed_m_per_min, count=count_tex, strands=strands)
    if not 0 < efficiency_frac <= 1:
        raise InputError("efficiency", efficiency_frac, "above 0 and at most 1")
    return strands * MIN_PER_H * speed_m_per_min * count_tex / TEX_PER_KG_PER_M * efficiency_frac


def spindle_rate_kg_per_h(
    *,
    spindles: int,
    spindle_rpm: float,
    twist_tpm: float,
    count_tex: float,
    efficiency_frac: float,
    roll_speed_cap_m_per_min: float = math.inf,
) -> float:
    """What a spinning or plying frame makes [kg/h]: ``n min(rpm / T, cap) 60 tex / 1e6 eff``.

    Source: arithmetic. More twist is slower; at a given twist factor the rate goes as tex^1.5.

    >>> rate = spindle_rate_kg_per_h(
    ...     spindles=8, spindle_rpm=3000, twist_tpm=310, count_tex=76.1, efficiency_frac=0.8
    ... )
    >>> round(rate, 3)
    0.283
    """
    _check_above_zero(spindles=spindles)
    speed_m_per_min = spin_speed_m_per_min(
        spindle_rpm=spindle_rpm, twist_tpm=twist_tpm, roll_speed_cap_m_per_min=roll_speed_cap_m_per_min
    )
    return strand_rate_kg_per_h(
        speed_m_per_min=speed_m_per_min,
        count_tex=count_tex,
        strands=spindles,
        efficiency_frac=efficiency_frac,
    )


def web_rate_kg_per_h(*, web_g_per_m2: float, width_m: float, speed_m_per_min: float) -> float:
    """What a card delivers as a web [kg/h]: ``g/m2 x width x v x 0.06``.

    >>> round(web_rate_kg_per_h(web_g_per_m2=12, width_m=0.9, speed_m_per_min=8), 1)
    5.2
    """
    _check_above_zero(web=web_g_per_m2, width=width_m, speed=speed_m_per_min)
    return web_g_per_m2 * width_m * speed_m_per_min * MIN_PER_H / G_PER_KG


def bobbin_run_min(*, bobbin_mass_g: float, speed_m_per_min: float, count_tex: float) -> float:
    """Minutes until a bobbin is full: ``1000 g / (v tex)``."""
    _check_above_zero(bobbin=bobbin_mass_g, speed=speed_m_per_min, count=count_tex)
    return bobbin_mass_g * G_PER_KG / (speed_m_per_min * count_tex)


def running_efficiency_frac(
    *, run_min: float, doff_min: float, breaks_per_spindle_h: float, break_wait_min: float
) -> float:
    """Share of the shift that spindles turn: ``t_run / (t_run + t_doff) / (1 + b t_wait)``.

    Source: arithmetic; breaks per hour that a spindle turns, all spindles doffed together.

    >>> one = running_efficiency_frac(run_min=38.8, doff_min=8, breaks_per_spindle_h=0.5, break_wait_min=1)
    >>> round(one, 2)
    0.82
    """
    _check_above_zero(run=run_min)
    if min(doff_min, breaks_per_spindle_h, break_wait_min) < 0:
        raise InputError("stops", (doff_min, breaks_per_spindle_h, break_wait_min), "zero or more")
    return run_min / (run_min + doff_min) / (1 + breaks_per_spindle_h * break_wait_min / MIN_PER_H)


def operator_load_frac(
    *, spindles: int, breaks_per_spindle_h: float, piece_min: float, run_min: float, doff_min: float
) -> float:
    """Share of one person's time a frame takes: ``N b t_piece + doffing``; over 1 it waits for hands."""
    _check_above_zero(run=run_min)
    return spindles * breaks_per_spindle_h * piece_min / MIN_PER_H + doff_min / (run_min + doff_min)


def spin_hours_per_kg(
    *, plies: int, finished_tex: float, take_up: float, relaxation_frac: float, frame_m_per_h: float
) -> float:
    """Frame hours for a finished kg: ``1e6 n / (tex_fin lambda (1 - s)) / (60 v N eff)``.

    Parameters
    ----------
    plies, finished_tex, take_up, relaxation_frac
        Of the finished yarn; take-up is plied over singles length.
    frame_m_per_h : float
        Singles that all spindles of the frame make in an hour, stops taken off [m/h].
    """
    _check_above_zero(count=finished_tex, take_up=take_up, frame=frame_m_per_h, relaxed=1 - relaxation_frac)
    singles_m = TEX_PER_KG_PER_M * plies / (finished_tex * take_up * (1 - relaxation_frac))
    return singles_m / frame_m_per_h


def traveller_speed_m_per_s(*, ring_mm: float, spindle_rpm: float) -> float:
    """Speed of the traveller on its ring [m/s]: ``pi D rpm / 60``.

    >>> round(traveller_speed_m_per_s(ring_mm=75, spindle_rpm=6000), 1)
    23.6
    """
    return math.pi * ring_mm / MM_PER_M * spindle_rpm / SECONDS_PER_MIN


@dataclass(frozen=True, slots=True)
class FrameRate:
    """How a frame runs on one count.

    Parameters
    ----------
    speed_m_per_min : float
        Of the yarn.
    is_capped : bool
        Whether the rolls and not the spindles set the speed.
    turning_kg_per_h, efficiency_frac : float
        While all spindles turn, and the share of the shift that they do.
    bobbin_run_min, bobbin_mass_g, doff_min, spindles
        As reckoned with.
    is_doff_bound : bool
        Whether doffing and breaks leave less than the usual efficiency.
    """

    speed_m_per_min: float
    is_capped: bool
    turning_kg_per_h: float
    efficiency_frac: float
    bobbin_run_min: float
    bobbin_mass_g: float
    doff_min: float
    spindles: int
    is_doff_bound: bool

    @property
    def kg_per_h(self) -> float:
        """Over the whole shift."""
        return self.turning_kg_per_h * self.efficiency_frac


def frame_rate(
    stage: str, machine: MachineFigures, tables: Tables, *, twist_tpm: float, count_tex: float
) -> FrameRate:
    """How a spinning or plying frame runs on a count: its own figures first, else the usual ones.

    Efficiency is the machine's own; else the usual one, or what doffing and end breaks leave where that is
    less: coarse yarn fills its bobbins in minutes.

    Parameters
    ----------
    stage : str
        "spin" or "ply".
    twist_tpm, count_tex : float
        Of what it makes: single or plied yarn on the bobbin [turns/m, tex].
    """
    spindle_rpm = _own_or(machine.spindle_rpm, tables, "spindle_rpm", stage)
    spindles = round(_own_or(machine.spindles, tables, "spindles", stage))
    bobbin_mass_g = _own_or(machine.bobbin_mass_g, tables, "bobbin_holds", stage)
    cap = machine.roll_speed_cap_m_per_min or tables.yarn_figures["roll_speed_cap/any"].value
    speed = spin_speed_m_per_min(spindle_rpm=spindle_rpm, twist_tpm=twist_tpm, roll_speed_cap_m_per_min=cap)
    run_min = bobbin_run_min(bobbin_mass_g=bobbin_mass_g, speed_m_per_min=speed, count_tex=count_tex)
    doff_min = usual(tables, "doff", stage) if machine.doff_min is None else machine.doff_min
    left_frac = running_efficiency_frac(
        run_min=run_min,
        doff_min=doff_min,
        breaks_per_spindle_h=_or(machine.breaks_per_spindle_h, usual(tables, "breaks", stage)),
        break_wait_min=_or(machine.break_wait_min, usual(tables, "break_wait", stage)),
    )
    usual_frac = tables.machine_settings[f"efficiency/{stage}"].value or 1.0
    return FrameRate(
        speed_m_per_min=speed,
        is_capped=twist_tpm * cap <= spindle_rpm,
        turning_kg_per_h=strand_rate_kg_per_h(speed_m_per_min=speed, count_tex=count_tex, strands=spindles),
        efficiency_frac=_or(machine.efficiency_frac, min(usual_frac, left_frac)),
        bobbin_run_min=run_min,
        bobbin_mass_g=bobbin_mass_g,
        doff_min=doff_min,
        spindles=spindles,
        is_doff_bound=machine.efficiency_frac is None and left_frac < usual_frac,
    )


def machine_rate_kg_per_h(
    stage: str, machine: MachineFigures, groups: frozenset[FibreGroup], tables: Tables
) -> float | None:
    """What a machine takes in an hour by its record, else by its kind [kg/h]; None: nobody knows.

    The slowest fibre of a blend rules. A fibre its record has no rate for runs at the usual one of its kind.
    """
    kind = usual_kind(stage, tables)
    usual_rates = {} if kind is None else {group: getattr(kind, f"rate_{group}_kg_per_h") for group in groups}
    rates = [machine.rates_kg_per_h.get(group) or usual_rates.get(group) for group in groups]
    known = [rate for rate in rates if rate]
    return min(known) if known and len(known) == len(rates) else None


def usual(tables: Tables, figure: str, stage: str, item: str = "any") -> float:
    """The value of table rates for a stage, else for any stage."""
    row = (
        tables.rates.get(f"{figure}/{stage}/{item}")
        or tables.rates.get(f"{figure}/{stage}/any")
        or tables.rates[f"{figure}/any/any"]
    )
    return row.value


def _own_or(own: float | None, tables: Tables, setting: str, stage: str) -> float:
    """The machine's own figure, else the usual of table machine_settings."""
    return _or(own, tables.machine_settings[f"{setting}/{stage}"].value or 0.0)


def _or(own: float | None, other: float) -> float:
    return other if own is None else own


def _check_above_zero(**given: float) -> None:
    for name, value in given.items():
        if not value > 0:
            raise InputError(name, value, "above zero")
