"""How each figure of a planned yarn came about."""

from __future__ import annotations

import math

from doffer.process.yarn.draft import DraftChoice
from doffer.process.yarn.planned import YarnPlan
from doffer.process.yarn.plying import BalanceRule
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

BALANCE = "balance of mass and length"
GEOMETRY = "geometry of round fibres"


def workings_of(plan: YarnPlan, tables: Tables) -> tuple[Working, ...]:
    """Workings of a planned yarn in the order in which they are worked out."""
    found = [_greige(plan, tables), _single(plan), _roller(plan)]
    if plan.draft is not None:
        found.append(_draft(plan, plan.draft))
    found += [_fibres(plan), _evenness(plan, tables), _twist(plan)]
    if plan.wish.plies > 1:
        found.append(_ply_twist(plan))
    return tuple(found)


def _greige(plan: YarnPlan, tables: Tables) -> Working:
    wish = plan.wish
    usual = tables.yarn_figures[f"relaxation/{plan.machine.system}"]
    measured = wish.relaxation_frac is not None
    return Working(
        title="Count before the wash",
        formula="finished × (1 + regain now) ÷ (1 + label regain) × (1 − length lost) ÷ "
        "((1 − fibre lost) (1 − oil))",
        inputs=(
            Term("finished count", plan.finished.tex, "tex"),
            Term("label regain", wish.label_regain_frac, "frac"),
            Term(
                "length lost in the wash",
                plan.relaxation_frac,
                "frac",
                "measured" if measured else "not measured: reel 10 m three times, wash, and reel again",
            ),
            Term("fibre lost in setting", wish.set_loss_frac, "frac"),
            Term("oil", plan.oil_frac, "frac"),
            Term("regain now", plan.greige.basis.regain_frac, "frac"),
        ),
        result=Term("count before the wash", plan.greige.tex, "tex"),
        source=BALANCE if measured else tables.sources[usual.source].title,
        status=Status.OWN if measured else usual.status,
        note="the length lost is the largest unknown of the chain",
    )


def _single(plan: YarnPlan) -> Working:
    measured = plan.wish.take_up is not None
    return Working(
        title="Single on the bobbin",
        formula="count before the wash × take-up ÷ plies",
        inputs=(
            Term("count before the wash", plan.greige.tex, "tex"),
            Term("take-up", plan.take_up, "", "plied length over the length of the singles"),
            Term("plies", float(plan.wish.plies)),
        ),
        result=Term("single", plan.single.tex, "tex"),
        source="measured on this yarn" if measured else "take-up after J-STAGE jte1955 14(3-4):115, abstract",
        status=Status.OWN if measured else Status.COMPUTED,
        note="" if measured else "good to about 1 %",
    )


def _roller(plan: YarnPlan) -> Working:
    return Working(
        title="Count at the front roll",
        formula="single × (1 − contraction), contraction = tan²(angle ÷ 2)",
        inputs=(
            Term("single", plan.single.tex, "tex"),
            Term("angle of the outer fibres", math.degrees(plan.single_twist.angle_rad), "", "degrees"),
            Term("contraction by twist", plan.retraction_frac, "frac"),
        ),
        result=Term("front roll", plan.roller.tex, "tex"),
        source="Hearle, Grosberg and Backer 1969",
        status=Status.MEMORY,
        note="staple yarn of low twist usually contracts less",
    )


def _draft(plan: YarnPlan, choice: DraftChoice) -> Working:
    return Working(
        title="Draft",
        formula="roving ÷ front roll",
        inputs=(
            Term("roving", choice.roving_tex, "tex"),
            Term("front roll", plan.roller.tex, "tex"),
            Term("draft that fits exactly", choice.roving_tex / plan.roller.tex),
        ),
        result=Term("draft set", choice.draft, "", choice.setting),
        source="arithmetic",
        status=Status.COMPUTED,
        note=f"gives {choice.out_tex:.4g} tex at the front roll",
    )


def _fibres(plan: YarnPlan) -> Working:
    return Working(
        title="Fibres across a single",
        formula="front roll without oil ÷ mean fibre; 1 ÷ mean fibre = Σ share ÷ fibre",
        inputs=(
            Term("front roll without oil", plan.fibre_only_tex, "tex"),
            Term("mean fibre", plan.fibre.fibre_tex, "tex"),
            Term("hold together from", plan.fewest.hard),
            Term("run well from", plan.fewest.comfortable),
        ),
        result=Term("fibres across", plan.fibres),
        source=GEOMETRY,
        status=Status.COMPUTED,
        note="the numbers it takes are common practice until your own end breaks say better",
    )


def _evenness(plan: YarnPlan, tables: Tables) -> Working:
    index = tables.yarn_limits[f"index_irregularity/{plan.machine.system}"]
    return Working(
        title="Unevenness of a single",
        formula="index × √(Σ share × (1 + CV²) × fibre ÷ front roll)",
        inputs=(
            Term("best this fibre can be", plan.limit_cv_frac, "frac"),
            Term("index", index.value or 1.0, "", f"{plan.machine.system}".replace("_", "-")),
        ),
        result=Term("unevenness to expect", plan.single_cv_frac, "frac"),
        source="limit after Martindale 1945, from memory; index common practice",
        status=index.status,
        note=index.note,
    )


def _twist(plan: YarnPlan) -> Working:
    return Working(
        title="Twist of the singles",
        formula="factor × √(1000 ÷ tex)",
        inputs=(
            Term("factor", plan.single_twist.factor, "", "turns per m / √Nm, as obtained"),
            Term("single", plan.single.tex, "tex"),
        ),
        result=Term("twist", plan.single_twist.tpm, "tpm", str(plan.single_twist.direction)),
        source="definition; the factor is common practice"
        if plan.wish.twist_factor is None
        else "definition",
        status=Status.PRACTICE if plan.wish.twist_factor is None else Status.OWN,
    )


def _ply_twist(plan: YarnPlan) -> Working:
    plyback = plan.balance.rule is BalanceRule.PLYBACK
    return Working(
        title="Ply twist",
        formula="turns of the ply-back test" if plyback else "ratio × twist of the singles",
        inputs=(
            Term("twist of the singles", plan.single_twist.tpm, "tpm"),
            Term("ratio", plan.balance.ratio(plan.single_twist.tpm)),
        ),
        result=Term("ply twist", plan.ply_twist.tpm, "tpm", str(plan.ply_twist.direction)),
        source=plan.balance.source,
        status=plan.balance.status,
        note="" if plyback else "a ply-back test of the rested single says it better",
    )
