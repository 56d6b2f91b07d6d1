"""What a square code on paper leads to: codes are printed in capitals, people type small letters."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import re_path
from django.views.decorators.http import require_safe

from doffer.mill.queries import lots


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
    re_path(r"^[tT]/(?P<tag>[^/]+)/?$", by_tag, name="tag"),
    re_path(r"^[lL]/(?P<code>[^/]+)/?$", by_lot, name="scanned_lot"),
    re_path(r"^[oO]/(?P<code>[^/]+)/?$", by_order, name="scanned_order"),
    re_path(r"^[bB]/(?P<code>[^/]+)/?$", by_recipe, name="scanned_recipe"),
    re_path(r"^[dD]/(?P<code>[^/]+)/?$", by_shade, name="scanned_shade"),
]
