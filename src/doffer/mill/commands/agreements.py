"""An owner says yes to a plan of the order; who said it, how and when is kept and never changed."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.agreed import ACT, HOW, MOST, agreement_key, agreement_keys
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.models import Deed, Order
from doffer.mill.models.orders import OrderState
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

LONGEST = 120
LONGEST_WORDS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """A yes as it was heard: `words` say what was agreed to, `promised_on` the day that stood then."""

    version: int
    said_by: str
    how: str
    on: date
    words: str
    promised_on: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not self.said_by.strip():
            raise InputError("who said it", "", "a name")
        if len(self.said_by) > LONGEST:
            raise InputError("who said it", self.said_by, f"at most {LONGEST} letters")
        if self.how not in HOW:
            raise InputError("how", self.how, f"one of: {', '.join(HOW.values())}")


def owner_agreed(by: Person | None, code: str, agreement: Agreement, *, key: uuid.UUID | None = None) -> None:
    """Write an owner's yes to one kept plan of an order beside the earlier ones.

    Raises
    ------
    NotFoundError
        No such order, or it has no plan of this version.
    InputError
        The day is still to come.
    RefusedError, ConflictError
        The order is given up, or was agreed to too often to keep one more.
    """
    person = require(by, Right.ORDERS)
    with write():
        body: dict[str, object] = {"order": code, "agreement": repr(agreement)}
        if done_before(key, "agree", body):
            return
        order = Order.objects.select_for_update(of=("self",)).filter(code=code).first()
        if order is None:
            raise NotFoundError("order", code, "Search the list of orders")
        if not order.plans.filter(version=agreement.version).exists():
            raise NotFoundError("plan", str(agreement.version), f"Keep a plan of {code} first")
        _refuse(order, agreement)
        earlier = Deed.objects.filter(key__in=agreement_keys(code)).count()
        if earlier >= MOST:
            raise ConflictError(f"{code} was agreed to {MOST} times already", "Take a new order")
        remember(agreement_key(code, earlier + 1), ACT, body, _kept(code, agreement), person)
        announce(person, "order", code, f"plan {agreement.version} agreed {HOW[agreement.how]} with "
                 f"{agreement.said_by.strip()}: {agreement.words}"[:300])  # fmt: skip
        remember(key, "agree", body, {"order": code}, person)


def _refuse(order: Order, agreement: Agreement) -> None:
    if order.state == OrderState.CANCELLED:
        raise RefusedError(f"{order.code} stays as it is", ("it is given up",), "Take a new order")
    if agreement.on > clock.today():
        raise InputError("day it was said", agreement.on.isoformat(), "today or a day before")


def _kept(code: str, agreement: Agreement) -> dict[str, object]:
    return {
        "order": code,
        "version": agreement.version,
        "said_by": agreement.said_by.strip(),
        "how": agreement.how,
        "on": agreement.on.isoformat(),
        "words": agreement.words[:LONGEST_WORDS],
        "promised_on": agreement.promised_on.isoformat() if agreement.promised_on else None,
        "note": agreement.note[:400],
    }
