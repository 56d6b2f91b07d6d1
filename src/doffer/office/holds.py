"""Holds of lots, orders and owners: what is stopped, why, and who lets it go on."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_safe

from doffer.errors import InputError, NotFoundError
from doffer.mill.commands.holds import clear_hold, open_hold
from doffer.mill.queries.holds import cleared_holds, one_hold, open_holds
from doffer.mill.queries.lots import HoldRow
from doffer.office.asked import acting, fresh_key, key_of
from doffer.people.rights import Right, may

KINDS = (
    ("moth", "Moth or larvae", "keep it away from clean goods"),
    ("quarantine", "Quarantine", "not sure yet"),
    ("waiting", "Waiting for the owner's word", ""),
    ("unpaid", "Unpaid", "it stays on the shelf"),
)
KIND_WORDS = {"waiting": "waiting for the owner's word"}
FIELD_OF = {"kind of hold": "kind", "reason for the hold": "reason"}
WAYS = {"lot": "/lots/{}/", "order": "/orders/{}/", "owner": "/records/owners/{}/"}


def held_thing(hold: HoldRow) -> tuple[str, str]:
    """What a hold stops, and its address."""
    for name, way in WAYS.items():
        code = getattr(hold, name)
        if code:
            return code, way.format(code)
    return "", "/holds/"


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/holds/`: everything that may not go on, and what was let go lately."""
    context = {
        "here": "today",
        "holds": [(hold, *held_thing(hold)) for hold in open_holds()],
        "past": [(hold, *held_thing(hold)) for hold in cleared_holds()],
        "kind_words": KIND_WORDS,
        "may_hold": may(acting(request), Right.HOLD),
    }
    return render(request, "office/holds.html", context)


@require_http_methods(["GET", "POST"])
def one(request: HttpRequest, hold_id: int) -> HttpResponse:
    """`/holds/3/`: why, since when, and let it go on with a name and a reason."""
    hold = one_hold(hold_id)
    code, way = held_thing(hold)
    error = ""
    if request.method == "POST":
        try:
            clear_hold(acting(request), hold_id, clearance=request.POST.get("clearance", ""))
            return redirect(way)
        except InputError as wrong:
            error = str(wrong)
    context = {
        "here": "today",
        "hold": hold,
        "code": code,
        "way": way,
        "kind_words": KIND_WORDS,
        "error": error,
        "typed": request.POST.get("clearance", ""),
        "may_clear": may(acting(request), Right.CLEAR_HOLD),
    }
    return render(request, "office/holds_one.html", context, status=422 if error else 200)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """`/holds/new/?order=O202`: stop a lot, an order, or everything of one owner."""
    named = {name: request.GET.get(name, "").strip().upper() for name in WAYS}
    errors: dict[str, str] = {}
    if request.method == "POST":
        word = request.POST.get("what", "").strip().upper()
        named = {name: word if name == _kind_of(word) else "" for name in WAYS}
        try:
            hold_id = open_hold(
                acting(request),
                kind=request.POST.get("kind", ""),
                reason=request.POST.get("reason", ""),
                lot=named["lot"],
                order=named["order"],
                customer=named["owner"],
                key=key_of(request),
            )
            return redirect("hold", hold_id=hold_id)
        except InputError as wrong:
            errors[FIELD_OF.get(wrong.field, "what")] = str(wrong)
        except NotFoundError as missing:
            errors["what"] = str(missing)
    context = {
        "here": "today",
        "what": request.POST.get("what") or next(filter(None, named.values()), ""),
        "typed": request.POST,
        "kinds": KINDS,
        "errors": errors,
        "key": request.POST.get("key") or fresh_key(),
        "may_hold": may(acting(request), Right.HOLD),
    }
    return render(request, "office/holds_new.html", context, status=422 if errors else 200)


def _kind_of(word: str) -> str:
    """A number's first letter says what it numbers: O an order, C an owner, anything else a lot."""
    return {"O": "order", "C": "owner"}.get(word[:1], "lot")


urlpatterns = [
    path("holds/", list_page, name="holds"),
    path("holds/new/", new, name="hold_new"),
    path("holds/<int:hold_id>/", one, name="hold"),
]
