"""Owners of fibre: the list, and one with how to reach them, their units, lots and orders."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_safe

from doffer.errors import InputError
from doffer.mill.commands.customers import CHANGEABLE, add_customer, change_customer
from doffer.mill.folder import COUNTRY_RULES
from doffer.mill.queries.customers import OneCustomer, find_customers, one_customer
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.people.rights import Right, may

UNIT_CHOICES = (("metric", "kg, g and m"), ("us", "lb, oz and yd"))
FIELD_OF = {"name of the owner": "name", "units": "units"}


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/records/owners/`."""
    search = request.GET.get("search", "").strip()
    after = number_after(request, "after")
    found = find_customers(search, after=after)
    wanted = {"search": search} if search else {}
    more = urlencode({**wanted, "after": found.next_after}) if found.next_after else ""
    context = {
        "here": "records",
        "search": search,
        "found": found,
        "first": "" if after is None else f"/records/owners/?{urlencode(wanted)}",
        "next": f"/records/owners/?{more}" if more else "",
        "may_write": may(acting(request), Right.CUSTOMERS),
    }
    return render(request, "office/records_owners.html", context)


@require_http_methods(["GET", "POST"])
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/records/owners/C03/`."""
    owner = one_customer(code)
    errors: dict[str, str] = {}
    if request.method == "POST":
        try:
            change_customer(acting(request), code, **_typed(request))
            return redirect("owner", code=code)
        except InputError as wrong:
            errors[FIELD_OF.get(wrong.field, "__all__")] = str(wrong)
    return _form(request, _known(owner), errors, owner=owner)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Somebody who was never here."""
    errors: dict[str, str] = {}
    if request.method == "POST":
        try:
            code = add_customer(acting(request), key=key_of(request), **_typed(request))
            return redirect("owner", code=code)
        except InputError as wrong:
            errors[FIELD_OF.get(wrong.field, "__all__")] = str(wrong)
    return _form(request, {"units": units_of(request)}, errors, owner=None)


def _typed(request: HttpRequest) -> dict[str, str]:
    return {name: request.POST[name] for name in CHANGEABLE if name in request.POST}


def _known(owner: OneCustomer) -> dict[str, str]:
    return {name: str(getattr(owner.row, name, "") or getattr(owner, name, "")) for name in CHANGEABLE}


def _form(
    request: HttpRequest, known: dict[str, str], errors: dict[str, str], *, owner: OneCustomer | None
) -> HttpResponse:
    context: dict[str, Any] = {
        "here": "records",
        "owner": owner,
        "values": {**dict.fromkeys(CHANGEABLE, ""), "country_rules": "EU", **known, **_typed(request)},
        "errors": errors,
        "unit_choices": UNIT_CHOICES,
        "rule_choices": [(rules, rules) for rules in COUNTRY_RULES],
        "open_holds": [hold for hold in owner.holds if hold.cleared_at is None] if owner else [],
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.CUSTOMERS),
    }
    return render(request, "office/records_owner.html", context, status=422 if errors else 200)


urlpatterns = [
    path("records/owners/", list_page, name="owners"),
    path("records/owners/new/", new, name="owner_new"),
    path("records/owners/<str:code>/", one, name="owner"),
]
