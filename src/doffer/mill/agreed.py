"""How an owner’s yes is kept: a deed, only ever added to, under a key that follows from the order."""

from __future__ import annotations

import uuid
from typing import Final

ACT: Final = "owner_agreed"
MOST: Final = 50  # times an owner can agree to one order
HOW: Final = {
    "phone": "by phone",
    "person": "in person",
    "letter": "by letter",
    "message": "by e-mail or message",
}


def agreement_key(order: str, number: int) -> uuid.UUID:
    """The key of the `number`-th yes to an order, counted from 1, so that all are found without a search."""
    return uuid.uuid5(uuid.NAMESPACE_OID, f"{ACT} {order} {number}")


def agreement_keys(order: str) -> tuple[uuid.UUID, ...]:
    """The keys of all that may have been kept."""
    return tuple(agreement_key(order, number) for number in range(1, MOST + 1))
