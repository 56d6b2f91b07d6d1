"""What the plan of a lot's order says of one stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from doffer.mill import bridge
from doffer.mill.models import Lot, OrderPlan
from doffer.mill.queries.today import OPEN_STATES

PLANS_LOOKED_AT = 10


@dataclass(frozen=True, slots=True)
class PlannedStage:
    """What a kept plan says the scale shows after a stage [g]: mean and 90 % range, the whole batch."""

    order: str
    version: int
    mean_g: float
    low_g: float
    high_g: float


def planned_stage(stage: str, lots: Sequence[str]) -> PlannedStage | None:
    """The stage in the newest plan of an open order whose batch is made of exactly these lots; 3 queries.

    Joined lots count as the lots that came in at the door. None where no plan speaks of them.
    """
    rows = list(Lot.objects.filter(code__in=lots))
    if not rows:
        return None
    doors = {origin.lot.code for origins in bridge.origins_of(rows).values() for origin in origins}
    plans = (
        OrderPlan.objects.filter(order__order_lots__lot__code__in=doors, order__state__in=OPEN_STATES)
        .distinct()
        .order_by("-pk")
        .values_list("order__code", "version", "result")[:PLANS_LOOKED_AT]
    )
    for order, version, result in plans:
        weighed = _weighed(result, stage, doors)
        if weighed is not None:
            return PlannedStage(order, version, weighed["mean"], weighed["low"], weighed["high"])
    return None


def _weighed(result: dict[str, Any], stage: str, doors: set[str]) -> dict[str, float] | None:
    """Weight after the last step of this stage in the batch of these lots."""
    for batch in result.get("batches", ()):
        if {use["lot"] for use in batch["lots"]} != doors:
            continue
        found = [step["weighed"] for step in batch["stages"] if step["stage"] == stage]
        if found:
            return dict(found[-1])
    return None
