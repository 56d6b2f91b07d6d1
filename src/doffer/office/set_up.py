"""A mill of one's own beside the demo; who is acting on this device, and in which units it speaks."""

from __future__ import annotations

import http.client
import json
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import ConflictError, InputError, RefusedError
from doffer.mill.folder import (
    OWN,
    UNITS,
    StartAnswers,
    begin_own_mill,
    read_card,
    served_at,
)
from doffer.office.asked import UNITS_KEY
from doffer.people.middleware import choose_person
from doffer.tables.loader import load_tables

SOON_S = 1.0
MOST_LOOKS = 60  # a minute: a new mill answers within a few seconds, or nobody is there to serve it
FIELD_OF = {
    "name of the mill": "name",
    "your name": "your_name",
    "units": "units",
    "label rules": "country_rules",
    "machines": "machines",
}
UNIT_CARDS = (("metric", "Kilograms and metres", "kg, g, m"), ("us", "Pounds and yards", "lb, oz, yd"))
RULE_CARDS = (
    ("EU", "European Union", "agreed allowances on labels"),
    ("UK", "United Kingdom", "agreed allowances on labels"),
    ("US", "United States", "commercial regain on labels"),
    ("CA", "Canada", "commercial regain on labels"),
)


def _root() -> Path:
    """Where the mills of this computer lie side by side."""
    return Path(settings.DATA).parent


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """`/start/`: five questions. The answers are laid down in a folder of their own; no record is touched."""
    if not settings.IS_DEMO:
        raise RefusedError(
            "Another mill cannot be started from here",
            ("this is a mill of your own already",),
            "Its name, units and people are among the records",
        )
    root = _root()
    if read_card(root / OWN):
        return redirect("start_wait")
    errors: dict[str, str] = {}
    if request.method == "POST":
        try:
            begin_own_mill(root, _answers(request))
        except InputError as wrong:
            errors[FIELD_OF.get(wrong.field, "__all__")] = str(wrong)
        except ConflictError:
            return redirect("start_wait")  # somebody, or the same click, was a moment earlier
        else:
            return redirect("start_wait")
    context = {
        "here": "records",
        "errors": errors,
        "typed": request.POST,
        "chosen": request.POST.getlist("machines")
        if request.method == "POST"
        else list(load_tables().machine_kinds),
        "unit_cards": UNIT_CARDS,
        "rule_cards": RULE_CARDS,
        "kinds": [(row.machine_kind, row.name, row.stage) for row in load_tables().machine_kinds.values()],
    }
    return render(request, "office/set_up.html", context, status=422 if errors else 200)


def _answers(request: HttpRequest) -> StartAnswers:
    return StartAnswers(
        name=request.POST.get("name", ""),
        units=request.POST.get("units", ""),
        country_rules=request.POST.get("country_rules", ""),
        machines=tuple(request.POST.getlist("machines")),
        your_name=request.POST.get("your_name", ""),
    )


@require_safe
def wait(request: HttpRequest) -> HttpResponse:
    """`/start/wait/`: looks each second until the new mill answers, then links to it."""
    folder = _root() / OWN
    card = read_card(folder)
    if not card:
        return redirect("start")
    looked = request.GET.get("looked", "0")
    looks = int(looked) if looked.isdecimal() and len(looked) < 5 else 0
    address = served_at(folder)
    context = {
        "here": "records",
        "name": card.get("name", ""),
        "folder": str(folder),
        "address": address if address and _answers_at(address) else "",
        "next_look": looks + 1,
        "gave_up": looks >= MOST_LOOKS,
    }
    return render(request, "office/set_up_wait.html", context)


def _answers_at(address: str) -> bool:
    """Whether a mill that is nobody's demo answers at an address of this computer."""
    port = address.rstrip("/").rpartition(":")[2]
    if not port.isdecimal():
        return False
    try:
        connection = http.client.HTTPConnection("127.0.0.1", int(port), timeout=SOON_S)
        connection.request("GET", "/healthz", headers={"Host": f"127.0.0.1:{port}"})
        said = json.loads(connection.getresponse().read())
    except (OSError, http.client.HTTPException, ValueError):
        return False
    return bool(said.get("ok")) and not said.get("demo")


def _way_back(request: HttpRequest) -> str:
    """The page a menu was used on; never another host's."""
    asked = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()})
    return asked if is_ours and asked.startswith("/") else "/"


@require_POST
def you(request: HttpRequest) -> HttpResponse:
    """Somebody else uses this device now."""
    choose_person(request, request.POST.get("person", ""))
    return redirect(_way_back(request))


@require_POST
def units(request: HttpRequest) -> HttpResponse:
    """Speak other units on this device; what is recorded stays the same."""
    wanted = request.POST.get("units", "")
    if wanted not in UNITS:
        raise InputError("units", wanted, " or ".join(UNITS))
    request.session[UNITS_KEY] = wanted
    return redirect(_way_back(request))


urlpatterns = [
    path("start/", start, name="start"),
    path("start/wait/", wait, name="start_wait"),
    path("you", you, name="you"),
    path("person/", you),
    path("units", units, name="units"),
]
