"""A wish that cannot be spun: why, and what comes nearest as choices that fill the form."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode

from django.http import QueryDict

from doffer.errors import DofferError
from doffer.mill.queries.plan_inputs import PlanInputs
from doffer.mill.queries.yarn_partners import partners_of_owner
from doffer.planning.order_plan import BatchPlan
from doffer.planning.yarn.nearest import Instead, Nearest, WayOut, nearest_yarns
from doffer.process.yarn.limits import Verdict

MOST_CHOICES = 7
PERCENT = 100
MILL = ""
BUTTON = "instead"  # the button of a choice: its value is the fields it fills in
FIBRE_READY = ("pick", "card", "draw", "spin")  # the first stage whose fibre is clean
WAY_WORDS = {
    WayOut.FEWER_PLIES: "Fewer plies",
    WayOut.OTHER_SYSTEM: "Spun another way",
    WayOut.BLEND: "Blended with {lot}",
    WayOut.THICKER: "Thicker, runs well",
    WayOut.MORE_PLIES: "One ply more, thicker",
    WayOut.NO_YARN: "No yarn",
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing to make instead: its name, the sentence, and the fields it fills in ("" where none)."""

    name: str
    sentence: str
    fields: str


@dataclass(frozen=True, slots=True)
class CannotBe:
    """Why a wish cannot be spun and what can."""

    reason: str
    choices: tuple[Choice, ...]


def cannot_be(made: BatchPlan, inputs: PlanInputs, *, owner: str, stock_field: str) -> CannotBe | None:
    """None where the yarn can be spun, or none is asked.

    Lots to blend with are the mill's own and the owner's that no order wants; `stock_field` is the beginning
    of the names of the fields in which the mill's lots are asked for.
    """
    plan = made.yarn
    if plan is None or plan.verdict is not Verdict.NO:
        return None
    try:
        partners = partners_of_owner(owner, inputs.tables, without={use.lot for use in made.lots})
    except DofferError:
        partners = ()
    found = nearest_yarns(
        plan.wish,
        plan.fibre,
        [plan.machine],
        inputs.tables,
        dry_mass_g=_dry_g(made),
        partners=partners,
        owners=frozenset(each.owner for each in partners),
    )
    return CannotBe(found.reason, _choices(found, stock_field))


def _dry_g(made: BatchPlan) -> float:
    """Clean fibre that comes to the picker, oven-dry [g]."""
    first = next((stage for stage in made.stages if stage.stage in FIBRE_READY), made.stages[-1])
    return max(1.0, first.dry.mean)


def _choices(found: Nearest, stock_field: str) -> tuple[Choice, ...]:
    return tuple(
        Choice(_name(one), one.sentence, urlencode(_fields(one, stock_field)))
        for one in found.instead[:MOST_CHOICES]
    )


def _name(one: Instead) -> str:
    if one.way is WayOut.THICKER and one.plan is not None and one.plan.verdict is Verdict.MARGINAL:
        return "Thicker, near the limit"
    return WAY_WORDS[one.way].format(lot=one.reach.partner.name if one.reach else "")


def _fields(one: Instead, stock_field: str) -> dict[str, str]:
    """What the form would say."""
    if one.way is WayOut.NO_YARN:
        return {"product": "batt", "thick": ""}
    if one.way is WayOut.BLEND and one.reach and one.reach.best:
        share = one.reach.best.share_frac * PERCENT
        return {f"{stock_field}{one.reach.partner.name}": f"{share:.1f} %"}
    if one.plan is None or one.length_m_per_100g is None:
        return {}
    plies = one.plan.wish.plies
    return {
        "product": "yarn" if plies > 1 else "singles",
        "plies": str(max(plies, 2)),
        "thick": f"{one.length_m_per_100g:g} m/100 g",
    }


def with_choice(data: QueryDict) -> QueryDict:
    """The form as it was, with what a pressed choice fills in."""
    if BUTTON not in data:
        return data
    filled = data.copy()
    for name, value in parse_qsl(data.get(BUTTON, ""), keep_blank_values=True):
        filled[name] = value
    filled.pop("act", None)
    return filled
