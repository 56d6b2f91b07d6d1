"""Machines and scales: what each holds back, how fast it runs, how long it takes to set up and clean down."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import InputError, NotFoundError
from doffer.exchange.numbers import parse_number
from doffer.mill.commands.machines import (
    MachineFacts,
    add_machine,
    archive_machine,
    change_machine,
    facts_of_kind,
)
from doffer.mill.queries import house
from doffer.mill.queries.mixing import MIXING_STAGES
from doffer.mill.queries.tables import current_tables
from doffer.mill.queries.yarn_inputs import STAGES as SET_STAGES
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.process.stages import STAGES

G_PER_LB, G_PER_KG = 453.59237, 1000.0
LONGEST_MIN = 24 * 60
RATES = (
    ("rate_wool_kg_per_h", "Wool"),
    ("rate_camelid_kg_per_h", "Alpaca and llama"),
    ("rate_angora_kg_per_h", "Angora"),
)
TIMES = (
    ("setup_min", "Setting up"),
    ("clean_light_to_dark_min", "Clean, light to dark"),
    ("clean_dark_to_light_min", "Clean, dark to light"),
    ("clean_new_owner_min", "Clean for another owner"),
)


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/records/machines/`."""
    kinds = current_tables().machine_kinds.values()
    context = {
        "here": "records",
        "machines": house.machines(),
        "scales": house.scales(),
        "kinds": [(row.machine_kind, row.name[:1].upper() + row.name[1:]) for row in kinds],
        "may_write": may(acting(request), Right.MACHINES),
    }
    return render(request, "office/records_machines.html", context)


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A machine more, from the figures of its kind; the figures can be changed before it is kept."""
    kind = current_tables().machine_kinds.get(request.GET.get("kind", ""))
    usual = facts_of_kind(kind) if kind else MachineFacts(name="new machine", stage="card")
    typed = Typed(request.POST, units_of(request))
    if request.method == "POST":
        facts = _facts(typed, usual)
        if facts is not None:
            add_machine(acting(request), facts, key=key_of(request))
            return redirect("machines")
    return _form(request, usual, typed, code="")


@require_http_methods(["GET", "POST"])
def one(request: HttpRequest, code: str) -> HttpResponse:
    """`/records/machines/CRD/`."""
    found = next((row for row in house.machines() if row.code == code), None)
    if found is None:
        raise NotFoundError("machine", code, "Choose one from the list of machines")
    known = {name: value for name, value in asdict(found).items() if name != "code"}
    usual = MachineFacts(**known)
    typed = Typed(request.POST, units_of(request))
    if request.method == "POST":
        facts = _facts(typed, usual)
        if facts is not None:
            change_machine(acting(request), code, facts)
            return redirect("machines")
    return _form(request, usual, typed, code=code)


@require_POST
def gone(request: HttpRequest, code: str) -> HttpResponse:
    """A machine that is no longer here; its runs keep its name."""
    archive_machine(acting(request), code)
    return redirect("machines")


def _form(request: HttpRequest, usual: MachineFacts, typed: Typed, *, code: str) -> HttpResponse:
    context = {
        "here": "records",
        "code": code,
        "name": usual.name if code else "A machine more",
        "values": {**_shown(usual, typed.system), **{k: v for k, v in request.POST.items() if k != "key"}},
        "stages": [(stage, stage.capitalize()) for stage in _stages(usual.stage)],
        "rates": RATES,
        "times": TIMES,
        "rate_unit": "lb/h" if typed.system == "us" else "kg/h",
        "mass_unit": "oz" if typed.system == "us" else "g",
        "errors": typed.errors,
        "status": usual.status,
        "key": request.POST.get("key") or fresh_key(),
        "mixes": usual.stage in MIXING_STAGES,
        "is_set": usual.stage in SET_STAGES,
        "may_write": may(acting(request), Right.MACHINES),
    }
    return render(
        request, "office/records_machine.html", context, status=422 if request.method == "POST" else 200
    )


def _stages(now: str) -> list[str]:
    names = [str(stage) for stage in STAGES]
    return names if now in names else [now, *names]


def _per_h(system: str) -> float:
    """Kilograms in the unit that rates are typed in."""
    return G_PER_LB / G_PER_KG if system == "us" else 1.0


def _shown(facts: MachineFacts, system: str) -> dict[str, str]:
    """What is known, as people type it."""

    def plain(value: float | None) -> str:
        return "" if value is None else f"{value:.4g}"

    shown = {name: str(value) for name, value in asdict(facts).items() if isinstance(value, str)}
    shown |= {
        name: plain(getattr(facts, name) and getattr(facts, name) / _per_h(system)) for name, _ in RATES
    }
    shown |= {name: str(getattr(facts, name)) for name, _ in TIMES}
    shown["capacity"] = plain(facts.capacity)
    shown["holdup"] = plain(facts.holdup_g / (G_PER_LB / 16 if system == "us" else 1.0))
    return shown


def _facts(typed: Typed, usual: MachineFacts) -> MachineFacts | None:
    """The machine as typed, or None with a sentence beside each field that is wrong.

    A figure that was changed makes the whole the mill's own; unchanged figures keep their word.
    """
    typed.needed("name", "Give it a name that people call it by, such as wash tub 1.")
    more: dict[str, Any] = {name: _rate(typed, name, title) for name, title in RATES}
    for name, title in TIMES:
        more[name] = typed.count(name, title.lower(), low=0, high=LONGEST_MIN) or 0
    capacity = typed.read("capacity", parse_number, "capacity")
    holdup_g = typed.small_mass_g("holdup", "hold-up")
    if typed.errors:
        return None
    try:
        facts = MachineFacts(
            name=typed.text("name"),
            stage=typed.text("stage") or usual.stage,
            kind=usual.kind,
            capacity=None if capacity is None else float(capacity),
            capacity_unit=typed.text("capacity_unit"),
            holdup_g=holdup_g or 0.0,
            note=typed.text("note"),
            **more,
        )
    except InputError as wrong:
        typed.wrong("__all__", str(wrong))
        return None
    same = _shown(facts, typed.system) == {**_shown(usual, typed.system), "status": facts.status}
    return MachineFacts(**{**asdict(facts), "status": usual.status if same else "own"})


def _rate(typed: Typed, name: str, title: str) -> float | None:
    rate = typed.read(name, parse_number, f"rate for {title.lower()}")
    return None if rate is None else float(rate) * _per_h(typed.system)


urlpatterns = [
    path("records/machines/", list_page, name="machines"),
    path("records/machines/new/", new, name="machine_new"),
    path("records/machines/<str:code>/", one, name="machine"),
    path("records/machines/<str:code>/gone/", gone, name="machine_gone"),
]
