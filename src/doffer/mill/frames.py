"""Machines of the mill as the sciences ask for them: limits, figures for minutes, frames for yarn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.mill.machine_values import MachineSettings
from doffer.mill.models import Machine
from doffer.process.rates import MachineFigures
from doffer.process.settings.facts import MachineLimits
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import System
from doffer.process.yarn.wish import SpinMachine

LEAST_DRAWN_ENDS = 2
G_PER_KG = 1_000


@dataclass(frozen=True, slots=True)
class Times:
    """Rates and minutes that a machine's record tells; None: nobody gave them."""

    rates_kg_per_h: dict[str, float]
    setup_min: float | None = None
    clean_light_to_dark_min: float | None = None
    clean_dark_to_light_min: float | None = None
    clean_new_owner_min: float | None = None


def times_of(row: Machine) -> Times:
    """What a machine's record tells of time."""
    rates = {
        "wool": row.rate_wool_g_per_h,
        "camelid": row.rate_camelid_g_per_h,
        "angora": row.rate_angora_g_per_h,
    }
    return Times(
        {name: rate / G_PER_KG for name, rate in rates.items() if rate},
        row.setup_min,
        row.clean_light_to_dark_min,
        row.clean_dark_to_light_min,
        row.clean_new_owner_min,
    )


def limits_of(machine: MachineSettings) -> MachineLimits:
    """What a machine can be set to, as suggestions of settings ask for it; guesses stand in."""
    ratch = machine.all_of("ratch")
    ends = machine.value("ends")
    return MachineLimits(
        name=machine.name,
        beater_steps_rpm=machine.all_of("beater_steps"),
        ratch_low_mm=ratch[0] if ratch else None,
        ratch_high_mm=ratch[1] if ratch else None,
        most_ends=None if ends is None else int(ends),
        spindle_rpm=machine.value("spindle_rpm"),
        most_spindle_rpm=machine.value("most_spindle_rpm"),
        roll_speed_cap_m_per_min=machine.value("roll_speed_cap"),
        ring_mm=machine.value("ring"),
        reel_circumference_m=machine.value("reel_circumference"),
    )


def figures_of(
    machine: MachineSettings, times: Times | None = None, *, breaks_per_spindle_h: float | None = None
) -> MachineFigures:
    """A machine as rates and minutes ask for it.

    Parameters
    ----------
    machine : MachineSettings
        Efficiency only where it is the mill's own: the usual one is reckoned from doffing and breaks.
    times : Times or None
        Rates and minutes of its record.
    breaks_per_spindle_h : float or None
        As counted in past runs on it.
    """
    spindles = machine.value("spindles")
    return MachineFigures(
        rates_kg_per_h={} if times is None else times.rates_kg_per_h,
        setup_min=times.setup_min if times else None,
        clean_light_to_dark_min=times.clean_light_to_dark_min if times else None,
        clean_dark_to_light_min=times.clean_dark_to_light_min if times else None,
        clean_new_owner_min=times.clean_new_owner_min if times else None,
        spindles=None if spindles is None else int(spindles),
        spindle_rpm=machine.value("spindle_rpm"),
        roll_speed_cap_m_per_min=machine.value("roll_speed_cap"),
        efficiency_frac=_own(machine, "efficiency"),
        bobbin_mass_g=machine.value("bobbin_holds"),
        doff_min=machine.value("doff"),
        breaks_per_spindle_h=breaks_per_spindle_h,
        ring_mm=machine.value("ring"),
    )


def _own(machine: MachineSettings, key: str) -> float | None:
    return machine.value(key) if machine.has(key) and machine.of(key).is_own else None


def spin_machine_of(frame: MachineSettings, machines: Sequence[MachineSettings]) -> SpinMachine:
    """A frame as planning a yarn asks for it, with the first plyer, drafter and card beside it.

    Ways of drawing: not at all, once with as many ends as the drafter takes or fewer, twice with all ends.
    """
    first: dict[str, MachineSettings] = {}
    for one in machines:
        first.setdefault(one.stage, one)
    ply, draw, card = first.get("ply"), first.get("draw"), first.get("card")
    ends = int(draw.value("ends") or 0) if draw else 0
    once = tuple((n,) for n in range(ends, LEAST_DRAWN_ENDS - 1, -1))
    ways = ((), *once, (ends, ends)) if once else ()
    word = frame.of("system").word if frame.has("system") else ""
    return SpinMachine(
        name=frame.name,
        system=System(word) if word else System.SEMI_WORSTED,
        gears=gears_of(frame),
        rovings_tex=frame.all_of("roving_weights"),
        twist_steps_tpm=twist_steps_tpm(frame),
        ply_twist_steps_tpm=twist_steps_tpm(ply) if ply else (),
        spindle_rpm=frame.value("spindle_rpm"),
        roll_speed_cap_m_per_min=frame.value("roll_speed_cap"),
        card_tex=card.value("card_roving") if card else None,
        doublings=ways,
        drafter_window=_own_window(draw),
    )


def _own_window(drafter: MachineSettings | None) -> tuple[float, float] | None:
    """Drafts of a drafter that somebody gave; None while they are only guessed."""
    if drafter is None or not drafter.has("draft_window") or not drafter.of("draft_window").is_own:
        return None
    low, high = drafter.all_of("draft_window")
    return low, high


def gears_of(frame: MachineSettings) -> Gears | None:
    """Drafts of a frame; None while window and pinions are only guessed, so that the usual ones hold."""
    window = frame.all_of("draft_window")
    constant, teeth = frame.value("draft_constant"), frame.all_of("draft_teeth")
    if not window or (not frame.of("draft_window").is_own and constant is None):
        return None
    has_pinions = constant is not None and bool(teeth)
    return Gears(
        low_draft=window[0],
        high_draft=window[1],
        constant=constant if has_pinions else None,
        teeth=tuple(int(one) for one in teeth) if has_pinions else (),
    )


def twist_steps_tpm(frame: MachineSettings) -> tuple[float, ...]:
    """Turns per metre the twist pinions give, rising; empty where constant or pinions are unknown."""
    constant = frame.value("twist_constant")
    if constant is None:
        return ()
    return tuple(sorted(constant / teeth for teeth in frame.all_of("twist_teeth")))
