"""“Who is at this screen?”: asked before the first record, so that none stands under a guessed name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final
from urllib.parse import urlparse

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from doffer.errors import NotFoundError
from doffer.office.asked import SAFE
from doffer.people.middleware import choose_person
from doffer.people.models import Person

AT_SCREEN: Final = "who_is_at_this_screen"
ASKED_STATUS: Final = 422  # nothing was written down yet
# Forms that only look something up or set how this browser shows it. All others are asked first.
RECORDS_NOTHING: Final = frozenset(
    {
        "you",
        "you_too",
        "units",
        "start",  # a mill of one's own: its first person is named in the form itself
        "new_order_answer",
        "new_order_owners",
        "order_wish_answer",
        "import_look",
    }
)
# Forms that record only by the button named here; their other buttons work something out.
RECORDS_BY: Final[Mapping[str, frozenset[str]]] = {
    "new_order": frozenset({"take"}),
    "order_wish": frozenset({"keep", "remove"}),
}


class AskWho:
    """Middleware: a form that would record something is held until somebody is chosen, and then sent on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, _view: Callable[..., HttpResponse], _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        """Ask, unless it is known who acts, nothing is recorded, or the mill has nobody yet."""
        if request.method in SAFE:
            return None
        answer = request.POST.get(AT_SCREEN)
        if answer is not None:
            return _chosen(request, answer)
        if getattr(request, "person", None) is not None:
            return None
        if not _records(request):
            request.records_nothing = True  # type: ignore[attr-defined]
            return None
        return _ask(request) if Person.objects.filter(archived_at=None).exists() else None


def _chosen(request: HttpRequest, code: str) -> HttpResponse | None:
    """Go on as the person whose button was pressed; ask again where that person has left meanwhile."""
    try:
        choose_person(request, code)
    except NotFoundError:
        return _ask(request)
    return None


def _records(request: HttpRequest) -> bool:
    name = request.resolver_match.url_name if request.resolver_match else None
    if name in RECORDS_BY:
        return request.POST.get("act", "") in RECORDS_BY[name]
    return name not in RECORDS_NOTHING


def _ask(request: HttpRequest) -> HttpResponse:
    """The page with everybody's name; what was typed waits in it. A chosen file cannot wait there."""
    waiting = [
        (name, value)
        for name, values in request.POST.lists()
        if name not in ("csrfmiddlewaretoken", AT_SCREEN)
        for value in values
    ]
    context = {
        "here": "",
        "at_screen": AT_SCREEN,
        "waiting": waiting,
        "has_file": bool(request.FILES),
        "back": _page_before(request),
    }
    return render(request, "who.html", context, status=ASKED_STATUS)


def _page_before(request: HttpRequest) -> str:
    """The page of this mill a form was sent from, by its path."""
    came_from = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(came_from, allowed_hosts={request.get_host()}):
        return "/"
    parts = urlparse(came_from)
    return f"{parts.path or '/'}{'?' + parts.query if parts.query else ''}"
