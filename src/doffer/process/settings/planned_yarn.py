"""What the plan of a yarn sets: roving, ends, draft, twist, speeds, turns of the reel."""

from __future__ import annotations

from collections.abc import Mapping

from doffer.process.rates import traveller_speed_m_per_s
from doffer.process.settings.facts import MachineLimits
from doffer.process.settings.suggestion import Suggestion
from doffer.process.yarn.plan import TwistSet, YarnPlan
from doffer.process.yarn.put_up import reel_turns
from doffer.process.yarn.roving import drafter_window, gears_of, texs_words
from doffer.process.yarn.twist import spin_speed_m_per_min
from doffer.tables.loader import Tables
from doffer.working import Status

PLANNED = "Reckoned from the wanted yarn"
G_PER_KM_TEX = 1000  # by definition: tex is g in 1000 m


def planned(
    stage: str, yarn: YarnPlan | None, machine: MachineLimits, tables: Tables, *, piece_mass_g: float | None
) -> dict[str, Suggestion]:
    """Suggestions the wanted yarn makes for a stage, by setting; none without a plan of a yarn."""
    if yarn is None:
        return {}
    found = {
        "card": lambda: _card(yarn, tables),
        "draw": lambda: _draw(yarn, machine, tables),
        "spin": lambda: _spin(yarn, machine, tables),
        "ply": lambda: _ply(yarn, machine, tables),
        "set": lambda: _set(yarn, tables),
        "skein": lambda: _skein(yarn, machine, piece_mass_g),
    }.get(stage)
    return {one.setting: one for one in found()} if found else {}


def _one(
    setting: str,
    value: float | None,
    unit: str,
    reason: str,
    *,
    low: float | None = None,
    high: float | None = None,
    words: str = "",
) -> Suggestion:
    return Suggestion(setting, low, value, high, unit, reason, PLANNED, Status.COMPUTED, words)


def roving_for_spinning_tex(yarn: YarnPlan) -> float:
    """Roving the frame is fed with [tex]: the chosen one, else the one to make."""
    return yarn.needed_roving_tex[1] if yarn.to_set is None else yarn.to_set.roving_tex


def _fed_words(yarn: YarnPlan) -> str:
    """What stands beside the roving of the frame: none that is there fits, so it is to be made."""
    if yarn.draft is not None or not yarn.machine.rovings_tex:
        return ""
    return f"to be made: of {texs_words(yarn.machine.rovings_tex)} none fits"


def card_roving_tex(yarn: YarnPlan, tables: Tables) -> float:
    """Roving off the card [tex]: what the chain of drawings begins with, else the machine's or the usual."""
    if yarn.drawings:
        return yarn.drawings[0].in_tex
    return yarn.machine.card_tex or tables.yarn_figures["card_tex/any"].value


def _card(yarn: YarnPlan, tables: Tables) -> list[Suggestion]:
    usual = tables.yarn_figures["card_tex/any"]
    reason = "what the drawings begin with" if yarn.drawings else "what a small card condenses well"
    return [
        _one("roving", card_roving_tex(yarn, tables), "tex", reason, low=usual.low, high=usual.high),
    ]


def _draw(yarn: YarnPlan, machine: MachineLimits, tables: Tables) -> list[Suggestion]:
    reason = "what the frame is fed with for the wanted count"
    fed_tex = roving_for_spinning_tex(yarn)
    found = [_one("roving", fed_tex, "tex", reason, words=_fed_words(yarn))]
    if not yarn.drawings and yarn.can_be_drawn:
        return found
    if not yarn.drawings:
        times = card_roving_tex(yarn, tables) / fed_tex
        said = f"no ends and draft of this drafter fit: the draft would have to be {times:.2f} × the ends"
        return [_one(key, None, "", said, words="none fits") for key in ("ends", "draft")] + found
    first = yarn.drawings[0]
    low, high = drafter_window(yarn.machine, tables)
    count = len(yarn.drawings)
    ends = " then ".join(str(one.doublings) for one in yarn.drawings)
    return [
        _one(
            "ends",
            first.doublings,
            "ends",
            "from the card's roving to that of the frame",
            high=machine.most_ends,
            words=ends if count > 1 else "",
        ),
        _one("draft", first.draft, "ratio", "ends × roving in / roving out", low=low, high=high),
        _one("passes", count, "passes", "so many drawings bring it to the frame's roving"),
        *found,
    ]


def _spin(yarn: YarnPlan, machine: MachineLimits, tables: Tables) -> list[Suggestion]:
    found = [
        _one("count", yarn.single.tex, "tex", "single on the bobbin, greige, with its twist"),
        _one("roving", roving_for_spinning_tex(yarn), "tex", "fed to the frame", words=_fed_words(yarn)),
        *_twist(yarn.single_twist, "singles twist for the count"),
        *_speeds(yarn.single_twist.tpm, yarn.retraction_frac, "spin", machine, tables),
    ]
    if yarn.to_set is None:
        return found
    gears = gears_of(yarn.machine, tables)
    reason = "roving / front-roll count"
    if abs(yarn.count_error_frac) >= TELL_ERROR_FRAC:
        reason += f"; the yarn comes out {yarn.count_error_frac:+.1%} of the wanted count".replace("%", " %")
    draft = yarn.to_set
    return [
        _one(
            "draft",
            draft.draft,
            "ratio",
            reason,
            low=gears.low_draft,
            high=gears.high_draft,
            words=draft.setting,
        ),
        *found,
    ]


TELL_ERROR_FRAC = 0.005  # half the last digit a skein is told in


def _twist(twist: TwistSet, reason: str) -> list[Suggestion]:
    said = f"{reason}, factor {twist.factor:.0f} turns per m for Nm 1"
    return [
        _one("twist", twist.tpm, "tpm", said),
        _one("twist_way", None, "", "the way the spindle turns", words=str(twist.direction)),
    ]


def _speeds(
    twist_tpm: float, retraction_frac: float, stage: str, machine: MachineLimits, tables: Tables
) -> list[Suggestion]:
    """Spindles and front rolls that fit together; the slower of the two sets the pace."""
    usual = tables.machine_settings[f"spindle_rpm/{stage}"]
    wished_rpm = machine.spindle_rpm or usual.value or 0.0
    most_rpm = machine.most_spindle_rpm or usual.high
    cap = machine.roll_speed_cap_m_per_min or tables.yarn_figures["roll_speed_cap/any"].value
    free_m_per_min = spin_speed_m_per_min(spindle_rpm=wished_rpm, twist_tpm=twist_tpm)
    roll_m_per_min = min(free_m_per_min / (1 - retraction_frac), cap)
    fed_rpm = roll_m_per_min * (1 - retraction_frac) * twist_tpm
    rpm, reason = wished_rpm, "usual speed of this frame"
    if 0 < fed_rpm < wished_rpm * (1 - SAME_SPEED):
        rpm = fed_rpm
        reason = f"the rolls give no more than {cap:g} m/min; a faster spindle would put in too much twist"
    if machine.ring_mm is not None:
        reason += _traveller_words(machine.ring_mm, rpm, tables)
    return [
        _one("spindle_rpm", rpm, "rpm", reason, low=min(usual.low or rpm, rpm), high=most_rpm),
        _one("roll_speed", roll_m_per_min, "m_per_min", "turns a minute / turns a metre", high=cap),
    ]


SAME_SPEED = 1e-9


def _traveller_words(ring_mm: float, spindle_rpm: float, tables: Tables) -> str:
    limit = tables.yarn_limits["traveller_speed/wool_ring"].value or 0.0
    speed = traveller_speed_m_per_s(ring_mm=ring_mm, spindle_rpm=spindle_rpm)
    said = "within" if speed <= limit else "above"
    return f"; the traveller runs {speed:.0f} m/s, {said} the {limit:.0f} m/s of a lubricated ring"


def _ply(yarn: YarnPlan, machine: MachineLimits, tables: Tables) -> list[Suggestion]:
    if yarn.wish.plies == 1:
        return []
    reason = f"ply twist for {yarn.wish.plies} singles"
    return [
        _one("plies", yarn.wish.plies, "plies", "as wished"),
        *_twist(yarn.ply_twist, reason),
        _one("count", yarn.greige.tex, "tex", "plied, before the wash"),
        *_speeds(yarn.ply_twist.tpm, 0.0, "ply", machine, tables),
    ]


def _set(yarn: YarnPlan, tables: Tables) -> list[Suggestion]:
    usual = tables.yarn_figures[f"relaxation/{yarn.machine.system}"]
    reason = "length the yarn loses in the wash; reel 10 m three times before and after and put in yours"
    return [_one("shrinks", yarn.relaxation_frac, "frac", reason, low=usual.low, high=usual.high)]


def _skein(yarn: YarnPlan, machine: MachineLimits, piece_mass_g: float | None) -> list[Suggestion]:
    if piece_mass_g is None:
        return []
    length_m = piece_mass_g * G_PER_KM_TEX / yarn.finished.tex
    found = [_one("skein_length", length_m, "m", f"{piece_mass_g:g} g of the wanted count")]
    if machine.reel_circumference_m:
        turns = reel_turns(length_m=length_m, circumference_m=machine.reel_circumference_m)
        found.append(_one("turns", turns, "turns", f"on a reel of {machine.reel_circumference_m:g} m"))
    return found


def decided(found: Mapping[str, Suggestion]) -> frozenset[str]:
    """Settings the wanted yarn decides, so that no old run overrules them; spindles may run as they did."""
    if not found:
        return frozenset()
    return (frozenset(found) | PINIONS) - {"spindle_rpm"}


PINIONS = frozenset({"draft_teeth", "twist_teeth"})  # told with draft and twist
