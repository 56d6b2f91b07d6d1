"""Which order a lot was made for, and what was made for an order."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from doffer.mill.models import Lot, LotPart, Order, OrderLot, RunOutput


def lots_made_for(order: Order) -> QuerySet[Lot]:
    """What came out of the order's runs, or was made of its lots since it was booked in runs of no order.

    The lots that the order uses are left out, and what belongs to somebody else.
    """
    mine = OrderLot.objects.filter(order=order).values("lot_id")
    booked_runs = RunOutput.objects.filter(lot=OuterRef("pk"), run__order__isnull=False)
    of_its_lots = Q(parts__origin__in=mine, created_at__date__gte=order.booked_on) & ~Exists(booked_runs)
    lots = Lot.objects.filter(Q(came_from__run__order=order) | of_its_lots, customer=order.customer_id)
    return lots.exclude(pk__in=mine).distinct()


def orders_made_for(lot: Lot) -> tuple[str, ...]:
    """Orders that a lot was made for, the newest first; several when its fibre is in several; two queries.

    The same rule as `lots_made_for`, from the other side; an order that uses the lot itself is left out.
    """
    orders = Order.objects.filter(customer=lot.customer_id).exclude(order_lots__lot=lot).order_by("-pk")
    booked = orders.filter(runs__outputs__lot=lot).distinct().values_list("code", flat=True)
    if named := tuple(booked):
        return named
    if RunOutput.objects.filter(lot=lot, run__order__isnull=False).exists():
        return ()
    origins = LotPart.objects.filter(lot=lot).values("origin_id")
    begun_on = timezone.localdate(lot.created_at)
    of_its_lots = orders.filter(order_lots__lot__in=origins, booked_on__lte=begun_on).distinct()
    return tuple(of_its_lots.values_list("code", flat=True))
