"""The counter: an order is taken on the telephone with its owner and first plan, and its wish is changed."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field, replace
from typing import Any

from doffer.mill.booking import done_before, remember
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.orders import (
    OrderFacts,
    OrderLotFacts,
    add_plan,
    change_order,
    set_wish,
    take_order,
)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class WishChange:
    """Another wish of an order: `spec` as it is kept, lots that come and go, and its words that change.

    `words` holds fields of the order such as product, target, label_wanted, promised_on.
    """

    spec: dict[str, Any]
    come: tuple[OrderLotFacts, ...] = ()
    go: tuple[str, ...] = ()
    words: dict[str, Any] = field(default_factory=dict)


def change_wish(
    by: Person | None,
    code: str,
    change: WishChange,
    *,
    plan: FirstPlan,
    note: str,
    key: uuid.UUID | None = None,
) -> int:
    """Change what an order is to become and keep the plan of it as the next version, which is given back.

    `note` says what changed; earlier versions stay as they are.
    """
    person = require(by, Right.ORDERS)
    body: dict[str, object] = {"order": code, "change": repr(change)}
    with write():
        earlier = done_before(key, "change_wish", body)
        if earlier:
            return int(str(earlier["version"]))
        set_wish(by, code, change.spec, come=change.come, go=change.go)
        if change.words:
            change_order(by, code, **change.words)
        version = add_plan(
            by,
            code,
            spec=plan.spec,
            result=plan.result,
            tables_sha256=plan.tables_sha256,
            seed=plan.seed,
            code_version=plan.code_version,
            note=note[:400],
        )
        remember(key, "change_wish", body, {"version": version}, person)
        return version
