"""Who is acting: the person chosen in the page head, kept in the session."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from doffer.errors import NotFoundError
from doffer.people.models import Person, Role

SESSION_KEY = "person"


def acting_person(session_code: str | None) -> Person | None:
    """The chosen person; without a choice the first owner; None while the mill has nobody yet."""
    people = Person.objects.filter(archived_at=None)
    if session_code:
        chosen = people.filter(code=session_code).first()
        if chosen:
            return chosen
    return people.filter(role=Role.OWNER).first() or people.first()


def choose_person(request: HttpRequest, code: str) -> Person:
    """Remember for this browser who is acting.

    Raises
    ------
    NotFoundError
        Nobody active has this code.
    """
    person = Person.objects.filter(code=code, archived_at=None).first()
    if person is None:
        raise NotFoundError("person", code, "Choose a name from the list")
    request.session[SESSION_KEY] = person.code
    request.person = person  # type: ignore[attr-defined]
    return person


class PersonMiddleware:
    """Put `request.person` (a `Person`, or None in a mill without people) on every request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request with its acting person."""
        request.person = acting_person(request.session.get(SESSION_KEY))  # type: ignore[attr-defined]
        return self.get_response(request)
