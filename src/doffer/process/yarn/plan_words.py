"""What to say about a planned yarn, in words of the mill: why not, what to watch, what would help."""

from __future__ import annotations

import math

from doffer.process.yarn.chain import M_PER_100G_TEX, ply_direction
from doffer.process.yarn.limits import System, Verdict, effective_staple_mm, is_tender, mismatches
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.roving import finer_roving_tex, gears_of, system_words, texs_words
from doffer.tables.loader import Tables
from doffer.working import percent

TEX_PER_G_PER_M = 1000


def warnings_of(plan: YarnPlan, tables: Tables) -> tuple[str, ...]:
    """Sentences on a planned yarn, the gravest first; none when all is well."""
    return (
        *_of_fibres(plan),
        *_of_length(plan, tables),
        *_of_draft(plan, tables),
        *_of_twist(plan, tables),
        *(f"{said}." for said in mismatches(plan.fibre, tables)),
        *_of_oil(plan, tables),
    )


def finest_length_m(plan: YarnPlan, *, front_tex: float) -> float:
    """Metres in 100 g of the finished yarn whose front-roll count without oil would be `front_tex`."""
    return M_PER_100G_TEX / (plan.finished.tex * front_tex / plan.fibre_only_tex)


def _of_fibres(plan: YarnPlan) -> list[str]:
    verdict = plan.fewest.verdict(plan.fibres)
    if verdict is Verdict.OK:
        return []
    plies = "a single" if plan.wish.plies == 1 else f"{plan.wish.plies}-ply"
    if verdict is Verdict.NO:
        finest_m = finest_length_m(plan, front_tex=plan.finest_hard_tex)
        return [
            f"This cannot be spun {system_words(plan.machine.system)}: a single has about "
            f"{plan.fibres:.0f} fibres across where {plan.fewest.hard:.0f} hold together. "
            f"The finest from this fibre as {plies} is about {finest_m:.0f} m in 100 g."
        ]
    easy_m = finest_length_m(plan, front_tex=plan.finest_comfortable_tex)
    return [
        f"Near the limit: about {plan.fibres:.0f} fibres across, it runs well from "
        f"{plan.fewest.comfortable:.0f} on (about {easy_m:.0f} m in 100 g as {plies}). Expect end breaks."
    ]


def _of_length(plan: YarnPlan, tables: Tables) -> list[str]:
    said = []
    if is_tender(plan.fibre, tables):
        left_mm = effective_staple_mm(plan.fibre, tables)
        cut = "" if left_mm == plan.fibre.staple_mm else f"; it reaches the frame about {left_mm:.0f} mm long"
        said.append(
            f"The staple is tender ({plan.fibre.strength_n_per_ktex:.0f} N/ktex){cut}. Work it slowly."
        )
    if plan.length.verdict is not Verdict.OK:
        said.append(f"Staple: {plan.length.reason}.")
    return said


def _of_draft(plan: YarnPlan, tables: Tables) -> list[str]:
    if plan.draft is not None and plan.can_be_drawn:
        return []
    low, sweet, high = (_g_per_m(tex) for tex in plan.needed_roving_tex)
    if plan.draft is not None:
        return [
            f"The drafter cannot bring the card's roving to {_g_per_m(plan.draft.roving_tex)}: "
            "card it lighter or heavier, or draw once more or once less."
        ]
    if plan.machine.system is System.WOOLLEN:
        return [f"Card a slubbing of {sweet} ({low} to {high}): woollen yarn is hardly drafted afterwards."]
    gears = gears_of(plan.machine, tables)
    if gears.constant is not None and not gears.drafts():
        return [
            f"No change pinion gives a draft from {gears.low_draft:g} to {gears.high_draft:g}: "
            "check the draft constant and the pinions of this frame."
        ]
    heavy_tex = min(plan.machine.rovings_tex)
    draft = heavy_tex / plan.roller.tex
    if draft > gears.high_draft:
        made = plan.made
        finer_tex, finer_draft = (
            (made.roving_tex, made.draft)
            if made
            else finer_roving_tex(
                roving_tex=heavy_tex, roller_tex=plan.roller.tex, high_draft=gears.high_draft
            )
        )
        return [
            f"From {_g_per_m(heavy_tex)} the draft would be {draft:.1f}; the frame draws {gears.low_draft:g} "
            f"to {gears.high_draft:g}. Draw the roving to {_g_per_m(finer_tex)} first "
            f"(draft {finer_draft:.1f})."
        ]
    rovings = texs_words(plan.machine.rovings_tex)
    return [f"No roving of {rovings} comes near enough. Make one of {sweet} ({low} to {high} can be drawn)."]


def _of_twist(plan: YarnPlan, tables: Tables) -> list[str]:
    wish = plan.wish
    said = []
    if wish.plies > 1 and plan.ply_twist.tpm > 0 and ply_direction(wish) is wish.single_direction:
        said.append(
            f"Plied {wish.single_direction} like the singles: hard and lively yarn, for effects only. "
            f"Ply {wish.single_direction.opposite} for a yarn that hangs still."
        )
    hardest_deg = tables.twist["guide/hard/angle_deg"].high
    angle_deg = math.degrees(plan.single_twist.angle_rad)
    if hardest_deg is not None and angle_deg > hardest_deg:
        said.append(
            f"The singles would be twisted harder than hard: their fibres lie at {angle_deg:.0f} degrees, "
            f"hard yarn has up to {hardest_deg:.0f}. It kinks and shortens."
        )
    return said


def _of_oil(plan: YarnPlan, tables: Tables) -> list[str]:
    if plan.oil_frac <= tables.yarn_figures["oil_apart/any"].value or plan.machine.system is System.WOOLLEN:
        return []
    return [f"Oil of {percent(plan.oil_frac, digits=1)} is much for this way of spinning: rolls lap."]


def _g_per_m(count_tex: float) -> str:
    return f"{count_tex / TEX_PER_G_PER_M:.3g} g/m"
