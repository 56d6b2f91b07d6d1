"""Orders are taken, planned again and again, and moved on; plans are added, never edited."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Max

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import bridge, clock
from doffer.mill.booking import announce, customer_of, done_before, lot_of, remember
from doffer.mill.commands.join import refuse_held
from doffer.mill.made_for import lots_made_for
from doffer.mill.models import Customer, Hold, Order, OrderLot, OrderPlan
from doffer.mill.models.lots import HoldKind
from doffer.mill.models.orders import OrderState
from doffer.mill.next_stage import settle
from doffer.mill.numbering import ORDER, next_code, note_code
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

OWN_FIBRE = "own fibre"
MILL_FIBRE = "mill fibre"
_CHANGEABLE = (
    "product",
    "target",
    "label_wanted",
    "price_basis",
    "next_stage",
    "note",
    "promised_on",
    "date_is_hard",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLotFacts:
    """A lot that the order uses and how much of it is wanted [g]; None: what is needed."""

    lot: str
    role: str = OWN_FIBRE
    wanted_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFacts:
    """What an owner asks for; `spec` is the wish as the planner reads it (plain JSON)."""

    customer: str
    product: str
    target: str = ""
    promised_on: date | None = None
    date_is_hard: bool = False
    label_wanted: str = ""
    price_basis: str = ""
    deposit_cents: int = 0
    next_stage: str = ""
    note: str = ""
    spec: dict[str, Any] = field(default_factory=dict)
    lots: tuple[OrderLotFacts, ...] = ()
    state: str = OrderState.BOOKED
    booked_on: date | None = None
    code: str = ""

    def __post_init__(self) -> None:
        if not self.product.strip():
            raise InputError("product", "", "what is to be made, such as 2-ply yarn")
        if self.state not in OrderState.values:
            raise InputError("state", self.state, f"one of {', '.join(OrderState.values)}")
        if self.deposit_cents < 0:
            raise InputError("deposit", self.deposit_cents / 100, "zero or more")


def take_order(by: Person | None, facts: OrderFacts, *, key: uuid.UUID | None = None) -> str:
    """Write an order down; gives its number, such as O209.

    Raises
    ------
    RefusedError
        A lot that belongs neither to the owner who orders nor to the mill.
    """
    person = require(by, Right.ORDERS)
    with write():
        body: dict[str, object] = {"facts": repr(facts)}
        earlier = done_before(key, "take_order", body)
        if earlier:
            return str(earlier["order"])
        if facts.code and Order.objects.filter(code=facts.code).exists():
            raise InputError("order number", facts.code, "one that is not taken yet")
        note_code(facts.code)
        customer = customer_of(facts.customer)
        order = Order.objects.create(
            code=facts.code or next_code(ORDER),
            customer=customer,
            booked_on=facts.booked_on or clock.today(),
            promised_on=facts.promised_on,
            date_is_hard=facts.date_is_hard,
            product=facts.product.strip(),
            target=facts.target,
            label_wanted=facts.label_wanted,
            price_basis=facts.price_basis,
            deposit_cents=facts.deposit_cents,
            state=facts.state,
            next_stage=facts.next_stage,
            spec=facts.spec,
            note=facts.note,
            taken_at=clock.now(),
            taken_by=person,
        )
        _name_lots(order, customer, facts.lots)
        announce(person, "order", order.code, f"taken for {customer.name}: {order.product}")
        remember(key, "take_order", body, {"order": order.code}, person)
        return order.code


def _name_lots(order: Order, customer: Customer, lots: tuple[OrderLotFacts, ...]) -> None:
    for item in lots:
        lot = lot_of(item.lot)
        if lot.customer_id != customer.pk and not lot.customer.is_own:
            raise RefusedError(
                f"{item.lot} does not go into {order.code}",
                (f"it belongs to {lot.customer.name}, the order is from {customer.name}",),
                "Choose a lot of the owner or of the mill",
            )
        wanted_mg = None if item.wanted_g is None else bridge.mg(item.wanted_g)
        OrderLot.objects.create(order=order, lot=lot, role=item.role, wanted_mg=wanted_mg)


def _order(code: str) -> Order:
    order = Order.objects.select_for_update(of=("self",)).select_related("customer").filter(code=code).first()
    if order is None:
        raise NotFoundError("order", code, "Search the list of orders")
    return order


def add_plan(
    by: Person | None,
    code: str,
    *,
    spec: dict[str, Any],
    result: dict[str, Any],
    tables_sha256: str,
    seed: int,
    code_version: str,
    note: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep a plan of an order beside the earlier ones; gives its version, counted from 1."""
    person = require(by, Right.ORDERS)
    with write():
        body: dict[str, object] = {
            "order": code,
            "spec": spec,
            "tables": tables_sha256,
            "seed": seed,
            "note": note,
        }
        earlier = done_before(key, "add_plan", body)
        if earlier:
            return int(str(earlier["version"]))
        order = _order(code)
        latest = order.plans.aggregate(latest=Max("version"))["latest"] or 0
        OrderPlan.objects.create(
            order=order,
            version=latest + 1,
            spec=spec,
            result=result,
            tables_sha256=tables_sha256,
            seed=seed,
            code_version=code_version,
            made_at=clock.now(),
            made_by=person,
            note=note,
        )
        settle(order)
        announce(person, "order", code, f"planned, version {latest + 1}")
        remember(key, "add_plan", body, {"version": latest + 1}, person)
        return latest + 1


def change_order(by: Person | None, code: str, **facts: Any) -> None:
    """Change what is written about an order; the old words stay in what happened."""
    person = require(by, Right.ORDERS)
    unknown = set(facts) - set(_CHANGEABLE)
    if unknown:
        raise InputError("order", ", ".join(sorted(unknown)), f"changed in {', '.join(_CHANGEABLE)}")
    with write():
        order = _order(code)
        was = [f"{name.replace('_', ' ')} was “{getattr(order, name)}”" for name in facts]
        for name, value in facts.items():
            setattr(order, name, value)
        order.save(update_fields=list(facts))
        announce(person, "order", code, f"changed: {'; '.join(was)}"[:300])


def name_lots(by: Person | None, code: str, lots: tuple[OrderLotFacts, ...]) -> None:
    """Let an order use more lots."""
    person = require(by, Right.ORDERS)
    with write():
        order = _order(code)
        taken = set(order.order_lots.values_list("lot__code", flat=True)) & {item.lot for item in lots}
        if taken:
            raise ConflictError(f"{', '.join(sorted(taken))} is in {code} already", "Leave it out")
        _name_lots(order, order.customer, lots)
        announce(person, "order", code, f"uses {', '.join(item.lot for item in lots)}")


def set_wish(
    by: Person | None,
    code: str,
    spec: dict[str, Any],
    *,
    come: tuple[OrderLotFacts, ...] = (),
    go: tuple[str, ...] = (),
) -> None:
    """Put another wish in the place of an order's, with the lots that come into it and go out of it.

    Raises
    ------
    RefusedError
        The order is sent or given up, or a lot belongs to somebody else.
    """
    person = require(by, Right.ORDERS)
    with write():
        order = _order(code)
        if order.state in (OrderState.SHIPPED, OrderState.CANCELLED):
            raise RefusedError(
                f"The wish of {code} stays as it is",
                (f"it is {order.get_state_display()}",),
                "Take a new order",
            )
        order.spec = spec
        order.save(update_fields=["spec"])
        mine = set(order.order_lots.values_list("lot__code", flat=True))
        _name_lots(order, order.customer, tuple(item for item in come if item.lot not in mine))
        order.order_lots.filter(lot__code__in=go).delete()
        moved = [f"{item.lot} comes in" for item in come] + [f"{lot} goes out" for lot in go]
        announce(person, "order", code, "; ".join(["wish changed", *moved])[:300])


def move_order(by: Person | None, code: str, state: str, *, why: str = "") -> None:
    """An order moves on to another state; held fibre and unpaid bills stop its dispatch.

    Raises
    ------
    RefusedError
        Shipping while a hold on the order, its owner or its lots is open.
    """
    person = require(by, Right.ORDERS)
    if state not in OrderState.values:
        raise InputError("state", state, f"one of {', '.join(OrderState.values)}")
    with write():
        order = _order(code)
        if state == OrderState.SHIPPED:
            _refuse_dispatch(order)
        was = order.get_state_display()
        order.state = state
        order.save(update_fields=["state"])
        announce(person, "order", code, f"{was}, now {order.get_state_display()}{': ' + why if why else ''}")


def _refuse_dispatch(order: Order) -> None:
    used = [link.lot for link in order.order_lots.select_related("lot__customer")]
    lots = used + list(lots_made_for(order).filter(now_mass_mg__gt=0).select_related("customer"))
    refuse_held(lots, f"{order.code} is not sent", order=order)
    open_ones = Hold.objects.filter(cleared_at=None)
    stops = list(open_ones.filter(order=order)) + list(
        open_ones.filter(customer=order.customer, kind=HoldKind.UNPAID)
    )
    stops += list(open_ones.filter(lot__in=lots, kind=HoldKind.UNPAID))
    if stops:
        reasons = tuple(f"on hold, {hold.get_kind_display()}: {hold.reason}" for hold in stops)
        raise RefusedError(f"{order.code} is not sent", reasons, "Have the hold cleared by the office first")
