"""How an order is mixed becomes its own, beside how the mill usually does it, with the plan that follows."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from doffer.errors import InputError, NotFoundError
from doffer.mill.agreed import agreement_keys
from doffer.mill.booking import QuestionError, done_before, remember
from doffer.mill.commands.counter import FirstPlan
from doffer.mill.commands.orders import add_plan, set_wish
from doffer.mill.models import Deed, Order
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

LONGEST_NOTE = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderMixing:
    """Sets of layers, passes through the picker, ends at each drawing, tossed after each pass or not."""

    layers: int
    pick_passes: int
    draw_ends: tuple[int, ...]
    is_tossed: bool

    def __post_init__(self) -> None:
        if self.layers < 1:
            raise InputError("sets of layers", self.layers, "one or more")
        if self.pick_passes < 1:
            raise InputError("passes through the picker", self.pick_passes, "one or more")
        if any(ends < 1 for ends in self.draw_ends):
            raise InputError("ends at a drawing", min(self.draw_ends), "one or more")

    def spec(self, before: Mapping[str, Any]) -> dict[str, Any]:
        """An order's wish with this in it; what else it has otherwise than the mill stays."""
        ways = {
            "n_layers": self.layers,
            "pick_passes": self.pick_passes,
            "draw_passes": len(self.draw_ends),
            "draw_ends": list(self.draw_ends),
            "is_tossed": self.is_tossed,
        }
        return {**before, "ways": {**before.get("ways", {}), **ways}}


def plan_mixing(
    by: Person | None,
    code: str,
    mixing: OrderMixing,
    *,
    plan: FirstPlan,
    note: str,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Let an order be mixed so from now on, with the plan of it as its next version, which is given back.

    Earlier versions stay as they are.

    Raises
    ------
    RefusedError
        The order is sent or given up.
    QuestionError
        The owner said yes to a plan; goes through with a confirmation.
    """
    person = require(by, Right.ORDERS)
    with write():
        body: dict[str, object] = {"order": code, "mixing": repr(mixing), "said": [note, confirmation]}
        earlier = done_before(key, "plan_mixing", body)
        if earlier:
            return int(str(earlier["version"]))
        order = Order.objects.select_for_update(of=("self",)).filter(code=code).first()
        if order is None:
            raise NotFoundError("order", code, "Search the list of orders")
        if not confirmation.strip():
            _ask_about_yes(code)
        set_wish(by, code, mixing.spec(order.spec))
        version = add_plan(
            by,
            code,
            spec=plan.spec,
            result=plan.result,
            tables_sha256=plan.tables_sha256,
            seed=plan.seed,
            code_version=plan.code_version,
            note="; ".join(said for said in (note, confirmation.strip()) if said)[:LONGEST_NOTE],
        )
        remember(key, "plan_mixing", body, {"version": version}, person)
        return version


def _ask_about_yes(code: str) -> None:
    """A plan that the owner said yes to is not left behind without a word."""
    said = Deed.objects.filter(key__in=agreement_keys(code)).order_by("-pk").values_list("result", flat=True)
    latest = said.first()
    if latest is None:
        return
    reason = f"{latest['said_by']} said yes to plan {latest['version']}: {latest['words'].rstrip('.')}"
    raise QuestionError(
        f"{code} gets another plan than the one agreed to", (reason,), "Say why it is mixed otherwise now"
    )
