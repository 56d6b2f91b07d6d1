"""Fibre that may go into an order: the mill's own clean lots, and an owner's lots not promised yet."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Q

from doffer.fibre.material import Form
from doffer.mill.models import Lot, Order
from doffer.mill.queries.lots import LotRow, held_now, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.mill.queries.today import OPEN_STATES

BLENDABLE = (Form.SCOURED, Form.OPENED, Form.ROVING, Form.BATT)
YARN = (Form.PLIED, Form.SKEIN)  # made already: there is nothing left for an order to make of it
LEAST_MG = 50_000  # below 50 g a lot is a remnant, not stock


def own_stock() -> tuple[LotRow, ...]:
    """The mill's own lots that can be blended in, fifty at most; two queries."""
    lots = Lot.objects.filter(
        customer__is_own=True, archived_at=None, now_mass_mg__gte=LEAST_MG, now_form__in=BLENDABLE
    )
    return tuple(row for _, row in rows_of(lots.order_by("fibre", "pk")[:ROWS_A_PAGE], held_now()))


def unpromised_lots(owner: str) -> tuple[LotRow, ...]:
    """Fibre of an owner that stands here and belongs to no open order; two queries."""
    lots = Lot.objects.filter(
        customer__code=owner, customer__is_own=False, archived_at=None, now_mass_mg__gte=LEAST_MG
    )
    lots = lots.exclude(now_form__in=YARN).exclude(order_lots__order__state__in=OPEN_STATES)
    return tuple(row for _, row in rows_of(lots.order_by("pk")[:ROWS_A_PAGE], held_now()))


def open_orders_of(lots: Sequence[str], orders: Sequence[str] = ()) -> tuple[str, ...]:
    """Open orders that one of these lots is in, or that are named, the newest first; one query."""
    found = Order.objects.filter(
        Q(order_lots__lot__code__in=lots) | Q(code__in=orders), state__in=OPEN_STATES
    )
    return tuple(found.order_by("-pk").distinct().values_list("code", flat=True)[:ROWS_A_PAGE])
