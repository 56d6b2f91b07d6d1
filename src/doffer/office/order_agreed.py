"""The owner's yes to an order is written down: who said it, how and when, and to which plan."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.mill import clock
from doffer.mill.agreed import HOW
from doffer.mill.commands.agreements import Agreement, owner_agreed
from doffer.mill.queries.orders import OneOrder, PlanRow, one_order
from doffer.office.agreement import agreed_view, agreed_words, promise_words
from doffer.office.asked import acting, fresh_key, key_of, speak
from doffer.office.orders import units_for
from doffer.people.rights import Right, may

FIELDS = {"who said it": "said_by", "how": "how", "day it was said": "on"}


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O203/agreed/`: what the owner is asked, and the form for the yes."""
    order = one_order(code)
    units = units_for(request, order)
    speak(request, units)
    plan = _plan_meant(order, request)
    errors: dict[str, str] = {}
    if request.method == "POST" and plan is not None:
        try:
            _write(request, order, plan, units)
        except InputError as wrong:
            errors[FIELDS.get(wrong.field, "form")] = str(wrong)
        except DofferError as wrong:
            errors["form"] = str(wrong)
        else:
            return redirect("order", code=code)
    return render(
        request, "office/order_agreed_page.html", _context(request, order, plan, units, errors),
        status=422 if errors else 200,
    )  # fmt: skip


def _plan_meant(order: OneOrder, request: HttpRequest) -> PlanRow | None:
    """The plan that is agreed to: the one named, else the newest."""
    asked = request.POST.get("plan") or request.GET.get("plan", "")
    if not asked:
        return order.plans[0] if order.plans else None
    row = next((row for row in order.plans if str(row.version) == asked), None)
    if row is None:
        raise NotFoundError("plan", asked, f"{order.row.code} has {len(order.plans)} kept plans")
    return row


def _write(request: HttpRequest, order: OneOrder, plan: PlanRow, units: str) -> None:
    try:
        on = date.fromisoformat(request.POST.get("on", ""))
    except ValueError:
        raise InputError("day it was said", request.POST.get("on", ""), "a day, such as 2026-03-02") from None
    agreement = Agreement(
        version=plan.version,
        said_by=request.POST.get("said_by", ""),
        how=request.POST.get("how", ""),
        on=on,
        words=promise_words(order, plan, units),
        promised_on=order.row.promised_on,
        note=request.POST.get("note", "").strip(),
    )
    owner_agreed(acting(request), order.row.code, agreement, key=key_of(request))


def _context(
    request: HttpRequest, order: OneOrder, plan: PlanRow | None, units: str, errors: dict[str, str]
) -> dict[str, Any]:
    return {
        "here": "orders",
        "order": order,
        "plan": plan,
        "words": promise_words(order, plan, units) if plan else "",
        "agreed": agreed_view(order, units),
        "agreed_words": agreed_words,
        "ways": tuple(HOW.items()),
        "errors": errors,
        "typed": request.POST if request.method == "POST" else {"on": clock.today().isoformat()},
        "key": request.POST.get("key") or fresh_key(),
        "may_order": may(acting(request), Right.ORDERS),
    }


urlpatterns = [path("orders/<str:code>/agreed/", page, name="order_agreed")]
