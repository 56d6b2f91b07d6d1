"""What the yarn verbs print for people."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from doffer.cli.output import aligned

if TYPE_CHECKING:
    from doffer.planning.spread import Spread
    from doffer.planning.yarn.become import Becoming
    from doffer.planning.yarn.first_metres import Corrected
    from doffer.planning.yarn.nearest import Nearest
    from doffer.planning.yarn.reach import Reach
    from doffer.planning.yarn.spin_lot import Frame, SpinLot
    from doffer.process.yarn.basis import StrandCount
    from doffer.process.yarn.limits import YarnFibre
    from doffer.process.yarn.planned import YarnPlan
    from doffer.process.yarn.put_up import Skeins, SkeinWish
    from doffer.tables.loader import Tables

G_PER_KG = 1000
TEX_OF_NM = 1000
M_PER_KG_TEX = 1_000_000
INCHES_PER_M = 39.3701
PERCENT = 100


def frame_hours(plan: YarnPlan, frame: Frame, finished_kg: float | None) -> float | None:
    """Hours on the frame for so much finished yarn; None where a figure is missing."""
    if finished_kg is None:
        return None
    singles_m = finished_kg * M_PER_KG_TEX / plan.finished.tex * plan.singles_m_per_finished_m
    return frame.hours_of(singles_m=singles_m, speed_m_per_min=plan.speed_m_per_min)


def plan_text(plan: YarnPlan, hours: float | None, tables: Tables) -> list[str]:
    """A plan from the finished yarn back to the roving, with its warnings."""
    from doffer.pictures.wording import say
    from doffer.working import STATUS_WORDS

    steps = [
        ("finished", plan.finished),
        ("before the wash", plan.greige),
        ("single on the bobbin", plan.single),
        ("front roll", plan.roller),
    ]
    lines = aligned(("count", "tex", "Nm", "water", "oil"), [_count_row(name, one) for name, one in steps])
    lines += ["", _twist_words(plan), _draft_words(plan)]
    limit = plan.limit_cv_frac * PERCENT
    lines.append(
        f"About {plan.fibres:.0f} fibres across a single; {plan.fewest.hard:.0f} hold, "
        f"{plan.fewest.comfortable:.0f} run well ({STATUS_WORDS[plan.fewest.status]})."
    )
    lines.append(
        f"Unevenness of a single: {plan.single_cv_frac * PERCENT:.1f} % to expect, {limit:.1f} % at best "
        f"(from memory, unverified); plied {plan.plied_cv_frac * PERCENT:.1f} %."
    )
    if hours is not None:
        lines.append(f"On the frame: {hours:.1f} h at {say(plan.speed_m_per_min, 'm_per_min')}.")
    runs = {"ok": "It runs well.", "marginal": "It can be spun, with end breaks.", "no": "It cannot be spun."}
    return [*lines, runs[plan.verdict], *plan.warnings, _relaxation_words(plan, tables)]


def _count_row(name: str, one: StrandCount) -> tuple[object, ...]:
    oil = f"{one.basis.oil_frac * PERCENT:.1f} %" if one.basis.oil_frac else ""
    regain = f"{one.basis.regain_frac * PERCENT:.1f} %"
    return name, f"{one.tex:.1f}", f"{TEX_OF_NM / one.tex:.2f}", regain, oil


def _twist_words(plan: YarnPlan) -> str:
    single = plan.single_twist
    words = (
        f"Twist: {single.tpm:.0f} turns/m ({single.tpm / INCHES_PER_M:.1f} turns/in) {single.direction}, "
        f"angle {math.degrees(single.angle_rad):.0f}°, singles shorten by "
        f"{plan.retraction_frac * PERCENT:.1f} %"
    )
    if plan.wish.plies == 1:
        return f"{words}."
    ply = plan.ply_twist
    return (
        f"{words}; plied {ply.tpm:.0f} turns/m ({ply.tpm / INCHES_PER_M:.1f} turns/in) {ply.direction}, "
        f"by the {plan.balance.rule}."
    )


def _draft_words(plan: YarnPlan) -> str:
    if plan.draft is None:
        low, sweet, high = (tex / TEX_OF_NM for tex in plan.needed_roving_tex)
        return f"Roving that fits: {sweet:.2f} g/m ({low:.2f} to {high:.2f})."
    one = plan.draft
    setting = f", {one.setting}" if one.setting else ""
    off = f"; {one.error_frac * PERCENT:+.1f} % off the count" if abs(one.error_frac) > TOLD_FRAC else ""
    return f"Draft {one.draft:.2f}{setting} from a roving of {one.roving_tex / TEX_OF_NM:.2f} g/m{off}."


TOLD_FRAC = 0.0005


def _relaxation_words(plan: YarnPlan, tables: Tables) -> str:
    if plan.wish.relaxation_frac is not None:
        return f"Length lost in the wash, as given: {plan.relaxation_frac * PERCENT:.1f} %."
    from doffer.working import STATUS_WORDS

    row = tables.yarn_figures[f"relaxation/{plan.machine.system}"]
    low, high = (None if end is None else end * PERCENT for end in (row.low, row.high))
    return (
        f"Length lost in the wash is taken as {plan.relaxation_frac * PERCENT:.1f} % ({low:g} to {high:g} %, "
        f"{STATUS_WORDS[row.status]}): wash a skein and measure it."
    )


def instead_text(found: Nearest) -> list[str]:
    """Why a wish cannot be met, and what comes nearest."""
    if found.is_possible:
        return []
    return ["", found.reason, "Instead:", *(f"- {one.way}: {one.sentence}" for one in found.instead)]


def fibre_text(fibre: YarnFibre, usual: Sequence[str]) -> str:
    """The fibre that is reckoned with, and which of its figures are only usual."""
    parts = "; ".join(
        f"{one.name}{'' if len(fibre.parts) == 1 else f' {one.share_frac * PERCENT:.1f} %'} "
        f"{one.diameter_um:.1f} µm, CV {one.diameter_cv_frac * PERCENT:.0f} %, {one.staple_mm:.0f} mm"
        for one in fibre.parts
    )
    guessed = f" ({', '.join(usual)} as is usual, not measured)" if usual else ""
    return f"Fibre: {parts}{guessed}."


def usual_frame_words(frame: Frame) -> str:
    """That hours are of a frame nobody described."""
    share = (frame.efficiency_frac or 0.0) * PERCENT
    return (
        f"Hours are of a frame with {frame.n_spindles} spindles at {frame.machine.spindle_rpm:.0f} turns/min "
        f"that runs {share:.0f} % of the time: what was not said is common practice, no source."
    )


def become_text(lot: SpinLot, rows: Sequence[Becoming], *, everything: bool) -> list[str]:
    """The list of yarns; one line of each product unless everything is asked."""
    from doffer.planning.yarn.become import one_each, possible

    able = possible(rows)
    shown = rows if everything else one_each(able)
    head = (
        *("yarn", "m/100 g", "plies", "system", "single tex", "fibres", "metres", "skeins", "promise"),
        *("CV plied", "twist", "hours", "risk"),
    )
    lines = [
        f"{lot.name}: {lot.fibre.diameter_um:.1f} µm, {lot.fibre.staple_mm:.0f} mm; "
        f"yarn {_kg_range(lot.plied)} at {lot.label_regain_frac * PERCENT:.1f} % regain.",
        *aligned(head, [_become_row(row) for row in shown]),
    ]
    reasons = dict.fromkeys(reason for row in shown for reason in row.risk.reasons if row.risk.reasons)
    if not able:
        lines.append("No yarn can be spun of it. A batt, a roving for hand-spinning or felting takes it.")
        reasons = dict.fromkeys(reason for row in rows[:1] for reason in row.risk.reasons)
    lines += list(reasons)[:MOST_REASONS]
    lines.append(
        f"{len(rows) - len(able)} of {len(rows)} ways cannot be spun. Limits are common practice until your "
        "own end breaks say better; single counts are on the bobbin, with the water of the label."
    )
    if not any(row.skeins.expected for row in rows):
        lines.append("This gives less than one whole skein of any of them.")
    return lines


MOST_REASONS = 6


def _become_row(row: Becoming) -> tuple[object, ...]:
    skeins = row.skeins
    many = (
        f"{skeins.expected}" if skeins.low == skeins.high else f"{skeins.low}-{skeins.expected}-{skeins.high}"
    )
    return (
        row.product.name,
        f"{row.product.length_m_per_100g:.0f}",
        str(row.plies),
        str(row.frame.machine.system).replace("_", "-"),
        f"{row.single.tex:.1f}",
        f"{row.fibres:.0f}",
        f"{row.length.mean:.0f}",
        many,
        str(skeins.safe),
        f"{row.plied_cv_frac * PERCENT:.1f} %",
        row.softness.twist_words,
        "" if row.frame_h is None else f"{row.frame_h:.1f}",
        str(row.risk.level),
    )


def _kg_range(spread: Spread) -> str:
    if spread.low == spread.high:
        return f"{spread.mean / G_PER_KG:.2f} kg"
    low, high = spread.low / G_PER_KG, spread.high / G_PER_KG
    return f"{spread.mean / G_PER_KG:.2f} kg ({low:.2f} to {high:.2f})"


def reach_text(plan: YarnPlan, found: Sequence[Reach]) -> list[str]:
    """Which lots lift a fibre, the least troublesome first."""
    from doffer.planning.yarn.reach import reach_words

    now = (
        f"As it is a single has about {plan.fibres:.0f} fibres across; {plan.fewest.hard:.0f} hold, "
        f"{plan.fewest.comfortable:.0f} run well."
    )
    if plan.fewest.verdict(plan.fibres) == "ok":
        return [now, "Nothing need be added for it."]
    if not found:
        return [now, "No lot that may be used lifts it: spin thicker, or add a ply of the thicker single."]
    lines = [now]
    for one in found:
        lines += [f"- {reach_words(one)}", *(f"  Mind: {flag}" for flag in one.flags)]
    return [*lines, "Fibre of the mill goes into an owner's lot only with the owner's recorded yes."]


def first_text(done: Corrected, promise: tuple[float, float] | None) -> list[str]:
    """What the first metres say."""
    lines = list(done.sentences)
    if promise is not None:
        left_m, corrected_m = promise
        lines.append(f"Of that weight: {left_m:.0f} m if nothing is changed, {corrected_m:.0f} m corrected.")
    return lines


def put_up_text(found: Skeins, wish: SkeinWish, counts: Mapping[str, float]) -> list[str]:
    """Skeins, what is over, and the count in the usual systems."""
    lines = [
        f"{found.n_skeins} skeins of {wish.mass_g:g} g and {found.over_mass_g:.0f} g over.",
        f"{counts['tex']:.1f} tex, Nm {counts['nm']:.2f}, {counts['yd_per_100g']:.1f} yd/100 g, "
        f"{counts['yd_per_lb']:.0f} yd/lb, {counts['yd_per_4oz']:.0f} yd per 4 oz.",
    ]
    if found.wind_length_m > wish.length_m:
        lines.append(
            f"Wind {found.wind_length_m:.1f} m, so that few are short: {found.given_up} skeins fewer."
        )
    else:
        lines.append(f"Wind {found.wind_length_m:.1f} m each; grams follow the count.")
    return lines
