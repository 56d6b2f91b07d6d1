"""Orders: the list, and one with its lots, plans and what happened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Prefetch, Q

from doffer.errors import NotFoundError
from doffer.fibre.material import Form
from doffer.mill import bridge
from doffer.mill.made_for import lots_made_for
from doffer.mill.models import (
    Change,
    Hold,
    Lot,
    LotPart,
    Order,
    OrderLot,
    OrderPlan,
    Run,
    RunInput,
    RunOutput,
)
from doffer.mill.next_stage import runs_of
from doffer.mill.queries.lots import Held, HoldRow, LotRow, held_now, hold_rows, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.queries.today import OPEN_STATES

YARN = (Form.SINGLE, Form.PLIED, Form.SKEIN)


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One order in a list."""

    code: str
    owner: str
    owner_name: str
    product: str
    target: str
    booked_on: date
    promised_on: date | None
    date_is_hard: bool
    state: str
    next_stage: str
    note: str


@dataclass(frozen=True, slots=True)
class OrderLotRow:
    """A lot of an order with its part in it."""

    lot: LotRow
    role: str
    wanted_g: float | None


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One version of a plan; `spec` and `result` as they were stored."""

    version: int
    made_at: datetime
    made_by: str
    tables_sha256: str
    seed: int
    code_version: str
    note: str
    spec: dict[str, Any]
    result: dict[str, Any]


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run of an order: what went in and came out [g as weighed and oven-dry]."""

    run: str
    stage: str
    machine: str
    started_at: datetime
    ended_at: datetime | None
    ins: tuple[tuple[str, float, float | None], ...]  # lot, mass_g, dry_mass_g
    outs: tuple[tuple[str, float, float | None], ...]
    person: str


@dataclass(frozen=True, slots=True)
class MadeRow:
    """Yarn of the owner that has come of an order's lots and lies here: from which lots, by share [frac]."""

    lot: LotRow
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class HappenedRow:
    """One line of what was done about an order."""

    at: datetime
    what: str
    person: str


@dataclass(frozen=True, slots=True)
class OneOrder:
    """Everything about one order; plans newest first."""

    row: OrderRow
    label_wanted: str
    price_basis: str
    deposit_cents: int
    spec: dict[str, Any]
    owner_units: str
    country_rules: str
    taken_at: datetime
    taken_by: str
    lots: tuple[OrderLotRow, ...]
    holds: tuple[HoldRow, ...]  # open ones, of the order, its lots and its owner
    plans: tuple[PlanRow, ...]
    runs: tuple[RunRow, ...]
    made: tuple[MadeRow, ...]
    happened: tuple[HappenedRow, ...]


_COLUMNS = (
    "pk",
    "code",
    "customer__code",
    "customer__name",
    "product",
    "target",
    "booked_on",
    "promised_on",
    "date_is_hard",
    "state",
    "next_stage",
    "note",
)


def list_orders(
    *, search: str = "", state: str = "open", owner: str = "", after: int | None = None
) -> Page[OrderRow]:
    """Orders, newest first; `state` is open, all or one state; one query."""
    orders = Order.objects.order_by("-pk")
    if state == "open":
        orders = orders.filter(state__in=OPEN_STATES)
    elif state != "all":
        orders = orders.filter(state=state)
    if owner:
        orders = orders.filter(customer__code=owner)
    for word in search.split():
        orders = orders.filter(
            Q(code__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(product__icontains=word)
            | Q(target__icontains=word)
        )
    if after is not None:
        orders = orders.filter(pk__lt=after)
    rows = orders.values_list(*_COLUMNS)[: ROWS_A_PAGE + 1]
    return page_of([(row[0], OrderRow(*row[1:])) for row in rows])


def one_order(code: str) -> OneOrder:
    """One order; a fixed number of queries.

    Raises
    ------
    NotFoundError
        No order has this number.
    """
    order = _order(code)
    held = held_now()
    stops = Q(order=order) | Q(customer=order.customer) | Q(lot__order_lots__order=order)
    return replace(
        _as_planned(order, held),
        holds=hold_rows(Hold.objects.filter(stops, cleared_at=None).distinct().order_by("pk")[:ROWS_A_PAGE]),
        runs=_runs(order),
        made=_made(order, held),
        happened=tuple(
            HappenedRow(at, what, person or "")
            for at, what, person in Change.objects.filter(topic="order", subject=code)
            .order_by("-pk")
            .values_list("at", "what", "person__name")[:ROWS_A_PAGE]
        ),
    )


def planned_order(code: str) -> OneOrder:
    """One order with its lots and plans, for who reckons with it: what holds it up and what was done about
    it is left out; four queries.

    Raises
    ------
    NotFoundError
        No order has this number.
    """
    return _as_planned(_order(code), Held(()))


def _order(code: str) -> Order:
    order = Order.objects.select_related("customer", "taken_by").filter(code=code).first()
    if order is None:
        raise NotFoundError("order", code, "Search the list of orders")
    return order


def _as_planned(order: Order, held: Held) -> OneOrder:
    customer = order.customer
    row = OrderRow(
        order.code,
        customer.code,
        customer.name,
        order.product,
        order.target,
        order.booked_on,
        order.promised_on,
        order.date_is_hard,
        order.state,
        order.next_stage,
        order.note,
    )
    return OneOrder(
        row=row,
        label_wanted=order.label_wanted,
        price_basis=order.price_basis,
        deposit_cents=order.deposit_cents,
        spec=order.spec,
        owner_units=customer.units,
        country_rules=customer.country_rules,
        taken_at=order.taken_at,
        taken_by=order.taken_by.name,
        lots=_lots(order, held),
        holds=(),
        plans=_plans(order),
        runs=(),
        made=(),
        happened=(),
    )


def _lots(order: Order, held: Held) -> tuple[OrderLotRow, ...]:
    links = list(
        OrderLot.objects.filter(order=order).values_list("lot_id", "role", "wanted_mg")[:ROWS_A_PAGE]
    )
    rows = dict(rows_of(Lot.objects.filter(pk__in=[lot for lot, _, _ in links]), held))
    return tuple(OrderLotRow(rows[lot], role, bridge.maybe_grams(wanted)) for lot, role, wanted in links)


def _made(order: Order, held: Held) -> tuple[MadeRow, ...]:
    """Yarn that was made for the order and still lies here."""
    yarn = lots_made_for(order).filter(now_form__in=YARN, now_mass_mg__gt=0)
    rows = rows_of(yarn.order_by("pk")[:ROWS_A_PAGE], held)
    parts: dict[int, list[tuple[str, float]]] = {}
    named = LotPart.objects.filter(lot__in=[pk for pk, _ in rows]).order_by("-share_ppm")
    for lot, origin, share in named.values_list("lot_id", "origin__code", "share_ppm"):
        parts.setdefault(lot, []).append((origin, bridge.maybe_frac(share) or 0.0))
    return tuple(MadeRow(row, tuple(parts.get(pk, ()))) for pk, row in rows)


def _plans(order: Order) -> tuple[PlanRow, ...]:
    plans = OrderPlan.objects.filter(order=order).order_by("-version")
    return tuple(
        PlanRow(*values)
        for values in plans.values_list(
            "version",
            "made_at",
            "made_by__name",
            "tables_sha256",
            "seed",
            "code_version",
            "note",
            "spec",
            "result",
        )[:ROWS_A_PAGE]
    )


def _runs(order: Order) -> tuple[RunRow, ...]:
    """Runs booked on the order, and runs of its lots since it was booked."""
    runs = (
        Run.objects.filter(runs_of(order))
        .distinct()
        .order_by("-started_at")
        .select_related("machine", "person")
        .prefetch_related(
            Prefetch("inputs", RunInput.objects.select_related("lot")),
            Prefetch("outputs", RunOutput.objects.select_related("lot")),
        )[:ROWS_A_PAGE]
    )

    def sides(rows: Any) -> tuple[tuple[str, float, float | None], ...]:
        return tuple((r.lot.code, bridge.grams(r.mass_mg), bridge.maybe_grams(r.dry_mg)) for r in rows)

    return tuple(
        RunRow(
            run=run.code,
            stage=run.stage,
            machine=run.machine.name if run.machine else "",
            started_at=run.started_at,
            ended_at=run.ended_at,
            ins=sides(run.inputs.all()),
            outs=sides(run.outputs.all()),
            person=run.person.name,
        )
        for run in runs
    )
