"""The counter: an order is taken from somebody on the telephone, with its owner and its first plan."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from typing import Any

from doffer.mill.booking import done_before, remember
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.orders import OrderFacts, add_plan, take_order
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOwner:
    """Somebody who rings for the first time; `units` is metric or us."""

    name: str
    phone: str = ""
    units: str = "metric"
    country_rules: str = "EU"


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPlan:
    """The plan that was on the screen when the order was taken, as plain JSON."""

    spec: dict[str, Any]
    result: dict[str, Any]
    tables_sha256: str
    seed: int
    code_version: str


def take_at_counter(
    by: Person | None,
    facts: OrderFacts,
    *,
    new_owner: NewOwner | None = None,
    plan: FirstPlan | None = None,
    key: uuid.UUID | None = None,
) -> str:
    """Record a new owner if there is one, the order, and plan 1; all of it or nothing. Gives the number."""
    person = require(by, Right.ORDERS)
    body: dict[str, object] = {"facts": repr(facts), "owner": repr(new_owner)}
    with write():
        earlier = done_before(key, "take_at_counter", body)
        if earlier:
            return str(earlier["order"])
        if new_owner is not None:
            code = add_customer(
                by,
                name=new_owner.name,
                phone=new_owner.phone,
                units=new_owner.units,
                country_rules=new_owner.country_rules,
            )
            facts = replace(facts, customer=code)
        order = take_order(by, facts)
        if plan is not None:
            add_plan(
                by,
                order,
                spec=plan.spec,
                result=plan.result,
                tables_sha256=plan.tables_sha256,
                seed=plan.seed,
                code_version=plan.code_version,
                note="as promised when the order was taken",
            )
        remember(key, "take_at_counter", body, {"order": order}, person)
        return order
