"""How a batch is to be mixed becomes the order's own: a new plan, from the page of evenness."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.http import HttpRequest

from doffer import __version__
from doffer.errors import RefusedError
from doffer.mill.commands.counter import FirstPlan
from doffer.mill.commands.order_mixing import OrderMixing, plan_mixing
from doffer.mill.queries.orders import planned_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.office.asked import acting, key_of
from doffer.office.evenness_asked import Mixed
from doffer.office.evenness_blend import Route
from doffer.office.evenness_source import Blend, is_mixed
from doffer.office.evenness_view import how_words
from doffer.office.order_spec import Planned, plan_of_order
from doffer.planning.plan_json import to_plain
from doffer.process.evenness.passage import Laying


@dataclass(frozen=True, slots=True)
class PlanIt:
    """What the page offers: `hindrance` says why a plan cannot have it so, `is_planned` that it has it so."""

    hindrance: str
    is_planned: bool
    n_batches: int


def plan_it(blend: Blend, mixed: Mixed) -> PlanIt:
    """Whether what the form says can be, or is already, how the order is planned."""
    usual = blend.usual
    now = (usual.layers, usual.passes, usual.drawn, usual.is_tossed or False)
    same = (mixed.layers, mixed.passes, mixed.drawn, mixed.is_tossed) == now
    return PlanIt(hindrance_of(mixed), blend.is_newest_plan and same, len(blend.batches))


def hindrance_of(mixed: Mixed) -> str:
    """Why a plan cannot have it so; "" where it can."""
    if mixed.laying is not Laying.LAYERS or not mixed.has_half_ends:
        return (
            "A plan lays the lots in turn, with half a layer first and last. Choose that above, and it can "
            "be planned so."
        )
    if mixed.passes < 1:
        return "A plan mixes at the picker. Choose one pass or more, and it can be planned so."
    return ""


def keep_mixing(request: HttpRequest, code: str, blend: Blend, route: Route) -> int:
    """Plan the order with today's weights as it is mixed here, and keep both; gives the plan's version.

    Raises
    ------
    RefusedError
        What cannot be read or planned so.
    QuestionError
        The owner said yes to a plan; goes through with a confirmation.
    """
    mixed = route.mixed
    hindrance = hindrance_of(mixed)
    if mixed.errors or hindrance:
        raise RefusedError(
            f"{code} is not planned so",
            tuple(one.rstrip(".") for one in (*mixed.errors.values(), hindrance) if one),
        )
    mixing = OrderMixing(
        layers=mixed.layers, pick_passes=mixed.passes, draw_ends=mixed.ends, is_tossed=mixed.is_tossed
    )
    order = planned_order(code)
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    made = plan_of_order(replace(order, spec=mixing.spec(order.spec)), inputs)
    return plan_mixing(
        acting(request),
        code,
        mixing,
        plan=_kept(code, made, blend.inputs.name),
        note=f"mixed otherwise: {how_words(route, blend.units)}",
        confirmation=request.POST.get("confirmation", ""),
        key=key_of(request),
    )


def _kept(code: str, made: Planned, name: str) -> FirstPlan:
    """The plan ready to be kept, if this batch is still to be mixed in it."""
    batches = made.plan.batches if made.plan else ()
    still = next((batch for batch in batches if batch.name == name), None)
    if made.spec is None or made.plan is None or still is None or not is_mixed(still):
        why = made.problems or (f"nothing of {name} is left to be mixed at the picker",)
        raise RefusedError(f"{code} is not planned so", tuple(one.rstrip(".") for one in why), "See its page")
    return FirstPlan(
        spec=to_plain(made.spec),
        result=to_plain(made.plan),
        tables_sha256=made.plan.tables_sha256,
        seed=made.plan.seed,
        code_version=__version__,
    )
