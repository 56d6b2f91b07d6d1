"""The list of orders with what stands where of each: one look tells how far they are."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from doffer.mill import clock
from doffer.mill.models import Hold, Lot, Order, OrderLot
from doffer.mill.models.orders import OrderState
from doffer.mill.queries.lots import LotRow, held_now, rows_of
from doffer.mill.queries.orders import OrderRow
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.queries.today import OPEN_STATES

SHOWN = ("open", "late", "waiting", "done", "all")
DONE_STATES = (OrderState.SHIPPED, OrderState.CANCELLED)


@dataclass(frozen=True, slots=True)
class ListedOrder:
    """An order in the list: its lots that stand somewhere, its holds; `days_left` is negative when late."""

    row: OrderRow
    days_left: int | None
    is_held: bool
    lots: tuple[LotRow, ...]

    @property
    def mass_g(self) -> float:
        """What stands in the mill for this order, as weighed [g]."""
        return sum(lot.mass_g for lot in self.lots)


@dataclass(frozen=True, slots=True)
class OrderCounts:
    """How many orders each choice of the list would show."""

    open: int
    late: int
    waiting: int
    done: int


def order_list(*, shown: str = "open", search: str = "", after: int | None = None) -> Page[ListedOrder]:
    """Orders, newest first, fifty a page; four queries.

    `shown` is open, late (open and past their day), waiting (for the owner's word, or on hold), done (sent or
    given up) or all.
    """
    orders = _chosen(Order.objects.order_by("-pk"), shown)
    for word in search.split():
        orders = orders.filter(
            Q(code__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(product__icontains=word)
            | Q(target__icontains=word)
            | Q(order_lots__lot__code__iexact=word)
        ).distinct()
    if after is not None:
        orders = orders.filter(pk__lt=after)
    found = list(orders.annotate(held=Exists(_holds())).select_related("customer")[: ROWS_A_PAGE + 1])
    lots = _standing(found)
    today = clock.today()
    return page_of(
        [
            (
                order.pk,
                ListedOrder(
                    row=_row(order),
                    days_left=(order.promised_on - today).days if order.promised_on else None,
                    is_held=order.held,
                    lots=tuple(lots.get(order.pk, ())),
                ),
            )
            for order in found
        ]
    )


def order_counts() -> OrderCounts:
    """Numbers beside the choices of the list; four queries."""
    return OrderCounts(
        *(_chosen(Order.objects.all(), shown).count() for shown in ("open", "late", "waiting", "done"))
    )


def _holds() -> QuerySet[Hold]:
    """Open holds on an order or on one of its lots."""
    mine = Q(order=OuterRef("pk")) | Q(lot__order_lots__order=OuterRef("pk"))
    return Hold.objects.filter(mine, cleared_at=None)


def _chosen(orders: QuerySet[Order], shown: str) -> QuerySet[Order]:
    if shown == "all":
        return orders
    if shown == "done":
        return orders.filter(state__in=DONE_STATES)
    orders = orders.filter(state__in=OPEN_STATES)
    if shown == "late":
        return orders.filter(promised_on__lt=clock.today())
    if shown == "waiting":
        return orders.filter(Q(state=OrderState.WAITING) | Q(Exists(_holds())))
    return orders


def _standing(orders: list[Order]) -> dict[int, list[LotRow]]:
    """The owner's lots of these orders by order id; what is used up and the mill's own fibre are left out."""
    mine = OrderLot.objects.filter(order__in=orders, lot__customer=F("order__customer"))
    links = list(mine.order_by("pk").values_list("order_id", "lot_id"))
    rows = dict(rows_of(Lot.objects.filter(pk__in={lot for _, lot in links}), held_now()))
    standing: dict[int, list[LotRow]] = {}
    for order, lot in links:
        if rows[lot].mass_g > 0:
            standing.setdefault(order, []).append(rows[lot])
    return standing


def _row(order: Order) -> OrderRow:
    return OrderRow(
        order.code,
        order.customer.code,
        order.customer.name,
        order.product,
        order.target,
        order.booked_on,
        order.promised_on,
        order.date_is_hard,
        order.state,
        order.next_stage,
        order.note,
    )
