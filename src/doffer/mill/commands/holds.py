"""Holds: what stops a lot, an order or an owner's fibre, and who lets it go on."""

from __future__ import annotations

import uuid

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import clock
from doffer.mill.booking import announce, customer_of, done_before, lot_of, remember
from doffer.mill.models import Hold, Order
from doffer.mill.models.lots import HoldKind
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


def open_hold(
    by: Person | None,
    *,
    kind: str,
    reason: str,
    lot: str = "",
    order: str = "",
    customer: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Stop one lot, one order, or everything of one owner; gives the hold's number."""
    person = require(by, Right.HOLD)
    if kind not in HoldKind.values:
        raise InputError("kind of hold", kind, f"one of {', '.join(HoldKind.values)}")
    if not reason.strip():
        raise InputError("reason for the hold", "", "a few words that the next person understands")
    if sum(map(bool, (lot, order, customer))) != 1:
        raise InputError("what is held", lot or order or customer, "one lot, one order or one owner")
    with write():
        body: dict[str, object] = {"kind": kind, "reason": reason, "held": [lot, order, customer]}
        earlier = done_before(key, "open_hold", body)
        if earlier:
            return int(str(earlier["hold"]))
        target: dict[str, object] = {}
        if lot:
            target["lot"] = lot_of(lot)
        elif customer:
            target["customer"] = customer_of(customer)
        else:
            target["order"] = Order.objects.filter(code=order).first()
            if target["order"] is None:
                raise NotFoundError("order", order, "Look in the list of orders")
        hold = Hold.objects.create(
            kind=kind, reason=reason.strip(), opened_at=clock.now(), opened_by=person, **target
        )
        topic = "lot" if lot else "order" if order else "customer"
        announce(person, topic, lot or order or customer, f"on hold, {hold.get_kind_display()}: {reason}")
        remember(key, "open_hold", body, {"hold": hold.pk}, person)
        return hold.pk


def clear_hold(by: Person | None, hold_id: int, *, clearance: str) -> None:
    """Let it go on; the person and the reason are kept."""
    person = require(by, Right.CLEAR_HOLD)
    if not clearance.strip():
        raise InputError("why it may go on", "", "a few words, such as “frozen 14 days, looked at again”")
    with write():
        hold = Hold.objects.select_for_update(of=("self",)).filter(pk=hold_id).first()
        if hold is None:
            raise NotFoundError("hold", hold_id, "Open Today and choose it there")
        if hold.cleared_at is not None:
            raise ConflictError("This hold was cleared already", "Look at the lot again")
        hold.cleared_at, hold.cleared_by, hold.clearance = clock.now(), person, clearance.strip()
        hold.save(update_fields=["cleared_at", "cleared_by", "clearance"])
        held = (hold.lot and ("lot", hold.lot.code)) or (hold.order and ("order", hold.order.code))
        topic, subject = held or ("customer", hold.customer.code)
        announce(person, topic, subject, f"hold cleared: {clearance}")
