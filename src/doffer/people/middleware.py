"""Who is at this screen: chosen once, kept in the session of this browser; nobody is guessed."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from doffer.errors import NotFoundError
from doffer.people.models import Person, Role

SESSION_KEY = "person"


def acting_person(session_code: str | None) -> Person | None:
    """The chosen person; without a choice the only one who works here; None while it is not known who."""
    people = Person.objects.filter(archived_at=None)
    if session_code:
        chosen = people.filter(code=session_code).first()
        if chosen:
            return chosen
    first_two = list(people[:2])
    return first_two[0] if len(first_two) == 1 else None


def first_owner() -> Person | None:
    """Who acts at the terminal of the computer the mill lies on; None while the mill has nobody yet."""
    people = Person.objects.filter(archived_at=None)
    return people.filter(role=Role.OWNER).first() or people.first()


def somebody() -> Person:
    """Stands on a page that is only looked at for whoever will be chosen: may all, can be recorded nowhere.

    It is no row of the database, so that a record made in its name is refused by the database layer.
    """
    return Person(code="", name="", role=Role.OWNER)


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
    """Put `request.person` on every request: a `Person`, or None where nobody is chosen or works here."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Serve the request with its acting person."""
        request.person = acting_person(request.session.get(SESSION_KEY))  # type: ignore[attr-defined]
        return self.get_response(request)
