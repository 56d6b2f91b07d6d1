"""Who allows fibre of two owners to come together, and what may not go on at all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from doffer.errors import InputError, RefusedError
from doffer.mill import clock
from doffer.mill.booking import announce, lot_of
from doffer.mill.models import Hold, JoinDecision, Lot, Order
from doffer.mill.models.lots import HoldKind
from doffer.mill.stops import Stop, open_stops
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


def decide_join(by: Person | None, *, lots: Sequence[str], consent: str) -> int:
    """The named decision that lots of several owners may be joined; gives its number.

    `consent` says how each owner agreed (“Ottoline by phone, 2 March”).
    """
    person = require(by, Right.JOIN)
    if not consent.strip():
        raise InputError("the owners' consent", "", "who agreed, how and when")
    with write():
        rows = [lot_of(code) for code in dict.fromkeys(lots)]
        owners = sorted({row.customer.code for row in rows})
        if len(owners) < 2:
            raise InputError("lots to join", ", ".join(lots), "of two owners; others need no decision")
        decision = JoinDecision.objects.create(
            lots=[row.code for row in rows],
            owners=owners,
            consent=consent.strip(),
            decided_at=clock.now(),
            decided_by=person,
        )
        for row in rows:
            announce(person, "lot", row.code, f"may be joined with fibre of {', '.join(owners)}: {consent}")
        return decision.pk


def refuse_held(lots: Iterable[Lot], act: str, *, order: Order | None = None) -> None:
    """Fibre held for moth, quarantine or the owner's word does not go on; unpaid only stops dispatch.

    Held are lots by themselves, by their owner and by an order that they are for (`mill.stops`), and all
    that is done for `order` while that is held.
    """
    lots = list(lots)
    stopped = [
        (stop, lot)
        for stop in open_stops()
        for lot in lots
        if stop.stops_machines and stop.names(lot_id=lot.pk, customer_id=lot.customer_id)
    ]
    reasons = [
        f"{_held_thing(stop, lot)} is on hold, {HoldKind(stop.kind).label}: {stop.reason}"
        for stop, lot in stopped
    ]
    if order is not None and all(stop.order != order.code for stop, _ in stopped):
        holds = Hold.objects.filter(cleared_at=None, order=order).exclude(kind=HoldKind.UNPAID)
        reasons += [f"{order.code} is on hold, {hold.get_kind_display()}: {hold.reason}" for hold in holds]
    if reasons:
        raise RefusedError(act, tuple(dict.fromkeys(reasons)), "Have the hold cleared by the office first")


def _held_thing(stop: Stop, lot: Lot) -> str:
    """What a person has to have cleared: the order with the lot that is for it, the lot, or its owner."""
    if stop.order:
        return f"{stop.order}, which {lot.code} is for,"
    return lot.code if stop.lot_id else str(lot.customer)


def join_allowed(lots: Sequence[Lot], decision_id: int | None) -> JoinDecision | None:
    """Fibre of two owners comes together only by a decision that names every one of these lots."""
    owners = {lot.customer.code: lot.customer.name for lot in lots}
    if len(owners) < 2:
        return None
    decision = JoinDecision.objects.filter(pk=decision_id).first() if decision_id else None
    missing = [lot.code for lot in lots if decision is None or lot.code not in decision.lots]
    if missing:
        whose = "; ".join(f"{lot.code} belongs to {lot.customer.name}" for lot in lots)
        raise RefusedError(
            "Fibre of two owners is not joined",
            (whose, f"no decision names {', '.join(missing)}"),
            "Run them apart, or record the owners' consent as a decision first",
        )
    return decision
