"""What an open hold stops: a lot by itself, everything of an owner, or the fibre of an order."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import F, QuerySet

from doffer.mill.models import Hold, LotPart, RunOutput
from doffer.mill.models.lots import HoldKind


@dataclass(frozen=True, slots=True)
class Stop:
    """One open hold and one lot, or one owner, that it stops; `order` is the held order, if it is one."""

    lot_id: int | None
    customer_id: int | None
    hold_id: int
    kind: str
    reason: str
    order: str | None

    @property
    def stops_machines(self) -> bool:
        """Whether fibre may not go through a machine; an unpaid bill only keeps it on the shelf."""
        return self.kind != HoldKind.UNPAID

    def names(self, *, lot_id: int, customer_id: int) -> bool:
        """Whether this lot of this owner is stopped by it."""
        return lot_id == self.lot_id or customer_id == self.customer_id


def open_stops() -> tuple[Stop, ...]:
    """All open holds with what they stop, the oldest hold first; one query.

    Held with an order are the lots of its owner that it uses, what came out of its runs, and what was made of
    its lots since it was booked. The mill's own fibre in somebody else's order goes on: others use it too.
    """
    rows = _direct().union(_used(), _made_of_its_lots(), _out_of_its_runs())
    return tuple(sorted((Stop(*row) for row in rows), key=lambda stop: (stop.hold_id, stop.lot_id or 0)))


def _columns(hold: str, lot: str) -> tuple[str, ...]:
    names = ("customer_id", "pk", "kind", "reason", "order__code")
    return (lot, *(f"{hold}{name}" for name in names))


def _direct() -> QuerySet:
    held = Hold.objects.filter(cleared_at=None, order=None).order_by()
    return held.values_list(*_columns("", "lot_id"))


def _used() -> QuerySet:
    held = Hold.objects.filter(
        cleared_at=None,
        order__isnull=False,
        order__order_lots__isnull=False,
        order__order_lots__lot__customer_id=F("order__customer_id"),
    )
    return held.order_by().values_list(*_columns("", "order__order_lots__lot_id"))


def _made_of_its_lots() -> QuerySet:
    order = "origin__order_lots__order"
    parts = LotPart.objects.filter(
        **{f"{order}__holds__isnull": False, f"{order}__holds__cleared_at": None},
        lot__customer_id=F(f"{order}__customer_id"),
        lot__created_at__date__gte=F(f"{order}__booked_on"),
    )
    return parts.order_by().values_list(*_columns(f"{order}__holds__", "lot_id"))


def _out_of_its_runs() -> QuerySet:
    outputs = RunOutput.objects.filter(
        run__order__holds__isnull=False,
        run__order__holds__cleared_at=None,
        lot__customer_id=F("run__order__customer_id"),
    )
    return outputs.order_by().values_list(*_columns("run__order__holds__", "lot_id"))
