"""How the figures of a yarn that a lot can become came about."""

from __future__ import annotations

from doffer.planning.yarn.become import Becoming
from doffer.planning.yarn.risk import RiskLevel
from doffer.planning.yarn.spin_lot import SpinLot
from doffer.process.yarn.limits import effective_staple_mm
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.planned import YarnPlan
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working


def becoming_workings(row: Becoming, lot: SpinLot, tables: Tables) -> tuple[Working, ...]:
    """Metres, skeins, hours and risk of one yarn, then the workings of its full plan, gears and all."""
    plan = plan_yarn(row.wish, lot.fibre, row.frame.machine, tables)
    found = [_metres(row, lot, tables), _skeins(row, tables)]
    if row.frame_h is not None:
        found.append(_hours(row, plan, row.frame_h))
    return (*found, _risk(row, effective_staple_mm(lot.fibre, tables)), *plan.workings)


def _metres(row: Becoming, lot: SpinLot, tables: Tables) -> Working:
    product = tables.yarn_figures.get(f"product/{row.product.name.replace(' ', '_')}")
    finished = lot.finished(plies=row.plies)
    return Working(
        title="Metres",
        formula="finished weight less bobbin ends ÷ 100 g × length of 100 g",
        inputs=(
            Term("finished weight", finished.mean, "g", "at agreed regain, from the yield samples"),
            Term("length of 100 g", row.product.length_m_per_100g, "m", row.product.name),
        ),
        result=Term("metres", row.length.mean, "m", f"90 %: {row.length.low:.0f} to {row.length.high:.0f}"),
        source="yields and losses stage by stage; the length is what is usual for the name",
        status=Status.OWN if product is None else product.status,
    )


def _skeins(row: Becoming, tables: Tables) -> Working:
    tie = tables.yarn_figures["skein_tie/any"]
    return Working(
        title="Skeins",
        formula="metres ÷ (length of a skein + ties), rounded down",
        inputs=(
            Term("metres", row.length.mean, "m"),
            Term("length of a skein", row.skeins.length_m, "m"),
            Term("ties", tie.value, "m"),
        ),
        result=Term(
            "skeins",
            float(row.skeins.expected),
            "count",
            f"{row.skeins.low} to {row.skeins.high}; safe to promise {row.skeins.safe}",
        ),
        source=tables.sources[tie.source].title,
        status=tie.status,
    )


def _hours(row: Becoming, plan: YarnPlan, frame_h: float) -> Working:
    frame = row.frame
    return Working(
        title="Hours on the frame",
        formula="metres × singles in a metre ÷ (60 × speed × spindles × efficiency)",
        inputs=(
            Term("metres", row.length.mean, "m"),
            Term("single in a finished metre", plan.singles_m_per_finished_m, "m"),
            Term("speed", plan.speed_m_per_min or 0.0, "m_per_min", "turns of the spindle ÷ twist, capped"),
            Term("spindles", float(frame.n_spindles or 0), "count"),
            Term("efficiency", frame.efficiency_frac or 0.0, "frac", "doffing and end breaks"),
        ),
        result=Term("hours", frame_h, "h"),
        source="arithmetic; speed and efficiency of the frame as given",
        status=Status.COMPUTED,
    )


def _risk(row: Becoming, staple_mm: float) -> Working:
    return Working(
        title="Risk",
        formula="worst of fibres across, staple, soundness and how far lots are apart",
        inputs=(
            Term("fibres across", row.fibres),
            Term("hold together from", row.fewest_hard),
            Term("run well from", row.fewest_comfortable),
            Term("staple", staple_mm, "mm", "against the gates of the way of spinning"),
        ),
        result=Term("risk", str(row.risk.level)),
        source="limits of common practice until your own end breaks say better",
        status=Status.PRACTICE,
        note=" ".join(row.risk.reasons)
        if row.risk.level is not RiskLevel.LOW
        else "nothing speaks against it",
    )
