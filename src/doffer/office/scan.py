"""What a square code on paper leads to, whether a phone opens it, a scanner types it or a hand does.

Codes are printed in capitals, people type small letters. A hand scanner types what it reads into whatever
field it stands in, so every search field understands a square code.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, re_path
from django.views.decorators.http import require_safe

from doffer.errors import DofferError
from doffer.mill.queries import lots
from doffer.mill.queries.orders import one_order
from doffer.office.asked import SAFE
from doffer.paper.scan import KINDS, read_scan

SEARCH_FIELDS: Final = ("search", "q")


class ScannedIntoSearch:
    """Middleware: a square code in a search field opens what it is stuck to, from any page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, _view: Callable[..., HttpResponse], _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        """Go where the code leads; None where no search field holds one."""
        if request.method not in SAFE:
            return None
        named = (read_scan(request.GET.get(field, "")) for field in SEARCH_FIELDS)
        found = next((each for each in named if each), None)
        return redirect(_path_of(*found)) if found else None


def _path_of(kind: str, code: str) -> str:
    return f"/{KINDS[kind]}/{quote(code, safe='')}"


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """`/scan/`: one field for a scanner or for what stands in letters below a square code."""
    typed = request.GET.get("code", "").strip()
    error = ""
    if typed:
        try:
            return redirect(_meant(typed))
        except DofferError as wrong:
            error = str(wrong)
    context = {"here": "lots", "typed": typed, "error": error}
    return render(request, "office/scan.html", context, status=422 if error else 200)


def _meant(typed: str) -> str:
    """The path of the lot or order that is meant by a scanned code, a number or a tag."""
    kind, code = read_scan(typed) or ("", typed.upper())
    if kind == "order" or (not kind and code.startswith("O") and code[1:].isdecimal()):
        return f"/orders/{one_order(code).row.code}/"
    if kind == "lot" or (not kind and code.startswith("L") and code[1:].isdecimal()):
        return f"/lots/{lots.one_lot(code).row.code}/"
    return f"/lots/{lots.lot_by_tag(code)}/"


@require_safe
def by_tag(_request: HttpRequest, tag: str) -> HttpResponse:
    """From a container's tag to the lot in it."""
    return redirect("lot", code=lots.lot_by_tag(tag))


@require_safe
def by_lot(_request: HttpRequest, code: str) -> HttpResponse:
    """From a lot's code to its page."""
    return redirect("lot", code=code.upper())


@require_safe
def by_order(_request: HttpRequest, code: str) -> HttpResponse:
    """From an order's code to its page."""
    return redirect("order", code=code.upper())


@require_safe
def by_recipe(_request: HttpRequest, code: str) -> HttpResponse:
    """From a blend recipe's code to its page."""
    return redirect("blend_recipe", code=code.upper())


@require_safe
def by_shade(_request: HttpRequest, code: str) -> HttpResponse:
    """From the code on a dye card to the dye recipe of its shade."""
    return redirect("dye_recipe", code=code.upper())


urlpatterns = [
    path("scan/", page, name="scan"),
    re_path(r"^[tT]/(?P<tag>[^/]+)/?$", by_tag, name="tag"),
    re_path(r"^[lL]/(?P<code>[^/]+)/?$", by_lot, name="scanned_lot"),
    re_path(r"^[oO]/(?P<code>[^/]+)/?$", by_order, name="scanned_order"),
    re_path(r"^[bB]/(?P<code>[^/]+)/?$", by_recipe, name="scanned_recipe"),
    re_path(r"^[dD]/(?P<code>[^/]+)/?$", by_shade, name="scanned_shade"),
]
