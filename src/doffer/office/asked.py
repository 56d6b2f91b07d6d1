"""What a request says: who is acting, in which units, once or again."""

from __future__ import annotations

import uuid

from django.http import HttpRequest

from doffer.errors import InputError
from doffer.mill import house
from doffer.people.models import Person

UNITS_KEY = "units"  # where the session keeps what this device was told to speak


def acting(request: HttpRequest) -> Person | None:
    """The person chosen in the page head."""
    return getattr(request, "person", None)


def units_of(request: HttpRequest) -> str:
    """Units of this device, else of the mill."""
    return str(request.session.get(UNITS_KEY) or house.text("units"))


def speak(request: HttpRequest, units: str) -> None:
    """Say this page in an owner's units, whatever the mill's are."""
    request.page_units = units  # type: ignore[attr-defined]


def fresh_key() -> str:
    """A key for a form that is about to be shown."""
    return str(uuid.uuid4())


def key_of(request: HttpRequest) -> uuid.UUID:
    """The key a form came with.

    Raises
    ------
    InputError
        It has none, so that sending it twice could not be noticed.
    """
    try:
        return uuid.UUID(request.POST.get("key", ""))
    except ValueError:
        raise InputError("form", request.POST.get("key", ""), "one from a page of this mill") from None


def number_after(request: HttpRequest, name: str) -> int | None:
    """The cursor of a list from the address; anything else than a number counts as the first page."""
    typed = request.GET.get(name, "")
    return int(typed) if typed.isdecimal() and len(typed) < 19 else None
