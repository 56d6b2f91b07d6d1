"""Announced fibre comes in: which order a bag is for, and the one button that says that was all of it."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.views.decorators.http import require_POST

from doffer.mill.commands.arrivals import say_arrival
from doffer.mill.queries.arrivals import WaitingOrder, arrival_of, awaited_of
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.office.asked import acting
from doffer.office.order_spec import plan_of_order
from doffer.office.orders import keep_plan, units_for
from doffer.people.rights import Right, may
from doffer.pictures.wording import say, say_short_mass

NO_ORDER = "without"


def order_choices(waiting: Sequence[WaitingOrder], system: str) -> tuple[tuple[str, str, str], ...]:
    """The orders that wait for fibre of this owner, to be chosen at the door; the last choice is none."""
    if not waiting:
        return ()
    none = (NO_ORDER, "None of these", "new fibre without an order")
    return (*((order.code, _waits_words(order, system), _note(order, system)) for order in waiting), none)


def _waits_words(order: WaitingOrder, system: str) -> str:
    if order.to_come_g <= 0:
        return f"{order.code}: more of its {order.words} than was announced"
    return f"{order.code} waits for about {_about(order.to_come_g, system)} of {order.words}: this is for it"


def _about(mass_g: float, system: str) -> str:
    """A weight as it is told on the telephone: "30 kg", "7.3 kg"."""
    return say_short_mass(mass_g, system).replace(".0\u202f", "\u202f")


def _note(order: WaitingOrder, system: str) -> str:
    wish = ", ".join(filter(None, (order.product, order.target)))
    if order.arrived_g <= 0:
        return wish
    return f"{wish}; {say(order.arrived_g, 'g', system)} of {_about(order.announced_g, system)} has come"


@require_POST
def fibre(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O207/fibre/`: that is all of it, or more is still to come; back to where it was said.

    Whoever may plan keeps the plan of it as well, so that papers say the same.
    """
    is_all = request.POST.get("say") == "all"
    say_arrival(acting(request), code, is_all=is_all)
    if may(acting(request), Right.ORDERS):
        _keep(request, code, is_all=is_all)
    lot = request.POST.get("lot", "")
    return redirect("lot_door", code=lot) if lot else redirect("order", code=code)


def _keep(request: HttpRequest, code: str, *, is_all: bool) -> None:
    order = one_order(code)
    made = plan_of_order(order, plan_inputs(lots=[row.lot.code for row in order.lots]))
    if made.plan is None:
        return
    awaited = awaited_of(order.spec, arrival_of(code))
    units = units_for(request, order)
    came, told = (
        say(sum(each.arrived_g for each in awaited), "g", units),
        say(sum(each.announced_g for each in awaited), "g", units),
    )
    said = f"that is all of it: {came} came" if is_all else f"more is still to come: {came} came so far"
    keep_plan(request, code, made, note=f"{said}, {told} was announced")


urlpatterns = [path("orders/<str:code>/fibre/", fibre, name="order_fibre")]
