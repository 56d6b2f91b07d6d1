"""Which stage an order comes to next: the first of its newest plan that was not run since the plan was made.

The order's page counts it while it is looked at; an order keeps it (`Order.next_stage`) for the lists, which
say the same because every act that could change it settles it anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q

from doffer.mill.models import Order, OrderLot, Run, RunInput
from doffer.planning.products import CLEANING, MAKING


def next_of_plan(
    result: Mapping[str, Any], ended: Iterable[tuple[str, datetime | None]], made_at: datetime
) -> str:
    """The first stage of a kept plan that no run has ended since it was made; "" when all of them have.

    `ended` holds stage and end of the order's runs (`runs_of`).
    """
    since = {stage for stage, at in ended if at is not None and at >= made_at}
    stages = (step["stage"] for batch in result.get("batches", ()) for step in batch["stages"])
    return next((str(stage) for stage in stages if stage not in since), "")


def runs_of(order: Order) -> Q:
    """Runs booked on the order, and runs of its lots since it was booked."""
    return Q(order=order) | Q(
        order=None, inputs__lot__order_lots__order=order, started_at__date__gte=order.booked_on
    )


def settle(order: Order) -> None:
    """Keep the next stage of an order that has a plan; inside the act that changed its plan or its runs."""
    plan = order.plans.order_by("-version").values("result", "made_at").first()
    if plan is None:
        return
    ended = Run.objects.filter(runs_of(order)).distinct().values_list("stage", "ended_at")
    _keep(order, next_of_plan(plan["result"], ended, plan["made_at"]))


def settle_after(run: Run) -> None:
    """A run has ended: every order that it was for comes to its next stage."""
    lots = run.inputs.values("lot_id")
    mine = Q(pk=run.order_id) if run.order_id else Q(order_lots__lot__in=lots)
    for order in Order.objects.filter(mine).distinct():
        if order.plans.exists():
            settle(order)
        elif order.next_stage == run.stage and not _lots_before(run.stage, order):
            _keep(order, _usual_after(run.stage, order))


def _lots_before(stage: str, order: Order) -> bool:
    """Whether fibre of the order still stands that was never in this stage for it."""
    been = RunInput.objects.filter(
        lot=OuterRef("lot"),
        run__stage=stage,
        run__ended_at__isnull=False,
        run__started_at__date__gte=order.booked_on,
    )
    return OrderLot.objects.filter(~Exists(been), order=order, lot__now_mass_mg__gt=0).exists()


def _usual_after(stage: str, order: Order) -> str:
    """What follows a stage on the way to the product of an order nobody planned; "" behind the last one."""
    batches = order.spec.get("batches") or [{}]
    product = batches[0].get("wish", {}).get("product", "yarn")
    chain = (*CLEANING, *MAKING.get(product, MAKING["yarn"]))
    return chain[chain.index(stage) + 1] if stage in chain[:-1] else ""


def _keep(order: Order, stage: str) -> None:
    if order.next_stage != stage:
        order.next_stage = stage
        order.save(update_fields=["next_stage"])
