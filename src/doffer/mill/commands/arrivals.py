"""Fibre announced for an order comes bag by bag, until somebody says that this was all of it."""

from __future__ import annotations

from doffer.errors import NotFoundError, RefusedError
from doffer.mill.announced import ALL_HERE, FIBRE_TOPIC, MORE_COMES, is_all_here
from doffer.mill.booking import QuestionError, announce
from doffer.mill.models import Lot, Order, OrderLot
from doffer.mill.models.orders import OrderState
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

OWN_FIBRE = "own fibre"


def say_arrival(by: Person | None, order: str, *, is_all: bool) -> None:
    """Say that all of an order's fibre is here, or take that back; who and when is kept, and every saying.

    Saying what was said last already adds nothing.

    Raises
    ------
    NotFoundError, RefusedError
        No such order, or one that waits for no fibre.
    """
    person = require(by, Right.INTAKE)
    with write():
        row = _open_order(order)
        if not row.spec.get("announced"):
            raise RefusedError(
                f"{order} stays as it is",
                ("no fibre was announced for it",),
                "Its lots are already named in it",
            )
        if is_all_here(order) == is_all:
            return
        announce(person, FIBRE_TOPIC, order, ALL_HERE if is_all else MORE_COMES)
        said = "all of its fibre is here" if is_all else "more of its fibre is still to come"
        announce(person, "order", order, said)


def bring_bag(person: Person, lot: Lot, order: str, *, confirmation: str = "") -> None:
    """A bag that comes in belongs to an order that waits for it; called inside a command's `write()`.

    Raises
    ------
    QuestionError
        Another fibre than was announced, until `confirmation` says that it is right.
    RefusedError
        The order is somebody else's, or is over.
    """
    row = _open_order(order)
    if row.customer_id != lot.customer_id:
        raise RefusedError(
            f"This bag is not for {order}", ("the order is another owner's",), "Choose an order of this owner"
        )
    told = [each for batch in row.spec.get("announced", ()) for each in batch["fibre"]]
    if told and lot.fibre not in [each["fibre"] for each in told] and not confirmation.strip():
        raise QuestionError(
            f"{order} waits for {' and '.join(dict.fromkeys(each['words'] for each in told))}",
            (f"this bag is written down as {lot.fibre.replace('_', ' ')}",),
            "Choose another order, or say that it is right",
        )
    OrderLot.objects.create(order=row, lot=lot, role=OWN_FIBRE)
    announce(person, "order", order, f"{lot.code} came in for it")


def _open_order(code: str) -> Order:
    order = Order.objects.select_for_update(of=("self",)).filter(code=code).first()
    if order is None:
        raise NotFoundError("order", code, "Search the list of orders")
    if order.state in (OrderState.SHIPPED, OrderState.CANCELLED):
        raise RefusedError(
            f"Nothing more comes for {code}", (f"it is {order.get_state_display()}",), "Take a new order"
        )
    return order
