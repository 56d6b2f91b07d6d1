"""The counter: a farmer is on the telephone, and what the fibre becomes stands there while it is typed."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods, require_POST

from doffer import __version__
from doffer.errors import DofferError
from doffer.fibre.kinds import find_kind, guess_words
from doffer.mill.commands.counter import FirstPlan, NewOwner, take_at_counter
from doffer.mill.commands.orders import MILL_FIBRE, OWN_FIBRE, OrderFacts, OrderLotFacts
from doffer.mill.names import told_apart
from doffer.mill.queries.customers import CustomerRow, find_customers, owners_called
from doffer.mill.queries.lots import LotRow, one_lot
from doffer.mill.queries.own_stock import own_stock, unpromised_lots
from doffer.mill.queries.plan_inputs import PlanInputs, plan_inputs
from doffer.office.asked import acting, fresh_key, speak, units_of
from doffer.office.counts import count_answer
from doffer.office.new_order_form import (
    FORMS,
    PRODUCTS,
    SHARE,
    STOCK,
    Asked,
    kind_names,
    labels_of,
    order_wish,
    plan_asked,
    read_counter,
    read_date,
    usual,
    yarn_classes,
)
from doffer.office.order_spec import Planned, wish_data
from doffer.office.plan_view import BatchView, order_view, raise_words, wish_words
from doffer.office.readings import Typed
from doffer.office.yarn_instead import CannotBe, cannot_be, with_choice
from doffer.people.rights import Right, require
from doffer.pictures.colour import fibre_hex
from doffer.planning.plan_json import to_plain
from doffer.planning.raise_it import ways_to_raise

NEW = "new"
MOST_OWNERS = 6
SYSTEMS = ("metric", "us")


@dataclass(frozen=True, slots=True)
class Owner:
    """Who rings: an owner that is known, or a new one by name; `choices` while it is not clear."""

    typed: str
    chosen: CustomerRow | None
    is_new: bool
    choices: tuple[CustomerRow, ...]


@dataclass(frozen=True, slots=True)
class Counter:
    """Everything the page shows of one state of the form."""

    typed: Typed
    owner: Owner
    mine: tuple[LotRow, ...]
    stock: tuple[LotRow, ...]
    asked: Asked
    inputs: PlanInputs
    planned: Planned
    view: BatchView | None
    told: tuple[str, ...]
    raised: tuple[str, ...]
    cannot_be: CannotBe | None = None


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """The form; POST works it out, or takes the order when that button was pressed."""
    require(acting(request), Right.ORDERS)
    data = with_choice(request.POST) if request.method == "POST" else _first_words(request.GET)
    counter = look(data, units_of(request))
    if request.method == "POST" and data.get("act") == "take":
        code = _take(request, counter)
        if code:
            return redirect("order", code=code)
    status = 422 if request.method == "POST" and counter.typed.errors else 200
    return render(request, "office/new_order.html", _context(request, data, counter), status=status)


def _first_words(asked: QueryDict) -> QueryDict:
    """What the form begins with: `?lot=L007` brings the lot's owner, their units, and the lot ticked."""
    code = asked.get("lot", "").upper()
    if not code:
        return asked
    lot = one_lot(code)
    if lot.is_own:
        return asked  # the mill's own fibre is chosen among its stock
    data = asked.copy()
    data["owner"], data["owner_code"], data["speak"] = lot.row.owner_name, lot.row.owner, lot.owner_units
    data[f"lot_{code}"] = "yes"
    for name, word in usual(lot.owner_units).items():
        data.setdefault(name, word)
    return data


@require_POST
def answer(request: HttpRequest) -> HttpResponse:
    """What the fibre becomes, for the panel beside the form."""
    counter = look(request.POST, units_of(request))
    return render(request, "office/new_order_answer.html", _context(request, request.POST, counter))


@require_POST
def owners(request: HttpRequest) -> HttpResponse:
    """Who may be meant, for the place below the owner's field; an owner brings the units they speak."""
    data = request.POST.copy()
    owner = find_owner(data)
    if owner.chosen:
        data["speak"] = owner.chosen.units
    found = render(
        request, "office/new_order_owner.html", _context(request, data, look(data, units_of(request)))
    )
    found["HX-Trigger-After-Settle"] = "ownerFound"
    return found


def _context(request: HttpRequest, data: QueryDict, counter: Counter) -> dict[str, Any]:
    return {**counter_context(request, counter), "key": data.get("key") or fresh_key()}


def counter_context(request: HttpRequest, counter: Counter) -> dict[str, Any]:
    """What the form and its answer show."""
    speak(request, counter.typed.system)
    tables = counter.inputs.tables
    return {
        "here": "orders",
        "counter": counter,
        "typed": counter.typed,
        "view": counter.view,
        "forms_of_fibre": FORMS,
        "products": PRODUCTS,
        "classes": yarn_classes(tables),
        "count_said": count_answer(counter.typed, tables),
        "kinds": kind_names(tables),
        "labels": labels_of(counter.mine, tables),
        "stock_name": STOCK,
        "share_name": SHARE,
        "alike": owners_called(counter.owner.typed) if counter.owner.is_new else (),
    }


def look(data: QueryDict, units: str) -> Counter:
    """Read the form and plan what can be planned."""
    owner = find_owner(data)
    speaks = data.get("speak") or (owner.chosen.units if owner.chosen else units)
    system = speaks if speaks in SYSTEMS else units
    typed = Typed(_with_usual(data, system), system)
    mine = unpromised_lots(owner.chosen.code) if owner.chosen else ()
    stock = own_stock()
    asked, inputs = _read(typed, stock, mine)
    rules = owner.chosen.country_rules if owner.chosen else inputs.settings["country_rules"]
    planned = (
        Planned(None, None)
        if typed.errors
        else plan_asked(asked, inputs, inputs.ways_for(rules), name_of(asked))
    )
    return Counter(
        typed=typed,
        owner=owner,
        mine=mine,
        stock=stock,
        asked=asked,
        inputs=inputs,
        planned=planned,
        view=view_of(planned, inputs, (*mine, *stock), typed.system),
        told=(*_guess_of(typed, asked, inputs), *told_of(typed, asked)),
        raised=raised_of(planned, inputs, typed.system),
        cannot_be=instead_of(planned, inputs, owner),
    )


def instead_of(planned: Planned, inputs: PlanInputs, owner: Owner) -> CannotBe | None:
    """Why the yarn that is asked cannot be spun, and what can; None where it can be."""
    if planned.plan is None:
        return None
    code = owner.chosen.code if owner.chosen else ""
    return cannot_be(planned.plan.batches[0], inputs, owner=code, stock_field=STOCK)


def _with_usual(data: QueryDict, system: str) -> dict[str, str]:
    """What was typed, over what is usual on a fresh form."""
    fresh = usual(system) if not data else {}
    return {**fresh, **{name: value for name, value in data.items() if isinstance(value, str)}}


def _read(typed: Typed, stock: Sequence[LotRow], mine: Sequence[LotRow]) -> tuple[Asked, PlanInputs]:
    """The form read with the tables of the mill, and the inputs with the lots that were chosen."""
    chosen = [lot.code for lot in mine if typed.is_said(f"lot_{lot.code}")]
    chosen += [lot.code for lot in stock if typed.is_said(f"{STOCK}{lot.code}")]
    inputs = plan_inputs(lots=chosen)
    return read_counter(typed, inputs.tables, stock, mine), inputs


def find_owner(data: QueryDict) -> Owner:
    """Who rings, by what was typed and by the choice below it."""
    name = data.get("owner", "").strip()
    choice = data.get("owner_code", "")
    if not name:
        return Owner("", None, False, ())
    found = tuple(row for row in find_customers(name.split(" (")[0]).rows if not row.is_own)
    if not found and choice and choice != NEW:
        found = tuple(row for row in find_customers(choice).rows if row.code == choice)
    if choice == NEW:
        return Owner(name, None, True, found[:MOST_OWNERS])
    chosen = next((row for row in found if row.code == choice), None)
    if chosen is None and len(found) == 1:
        chosen = found[0]
    return Owner(name, chosen, not found, found[:MOST_OWNERS])


def name_of(asked: Asked) -> str:
    """What the batch is called on the order."""
    if asked.expected is not None:
        return f"{asked.expected.words}, announced"
    return " + ".join(asked.all_lots) or "batch"


def view_of(planned: Planned, inputs: PlanInputs, rows: Sequence[LotRow], system: str) -> BatchView | None:
    if planned.spec is None or planned.plan is None:
        return None
    colours = {row.code: fibre_hex(*row.lab) for row in rows if row.lab}
    return order_view(planned.spec, planned.plan, inputs.tables, colours=colours, system=system)[0]


def raised_of(planned: Planned, inputs: PlanInputs, system: str) -> tuple[str, ...]:
    """What the owner can do so that more comes of it."""
    if planned.spec is None or planned.plan is None:
        return ()
    batch, plan = planned.spec.batches[0], planned.plan.batches[0]
    return raise_words(ways_to_raise(batch, plan, planned.spec.ways, inputs.tables), plan, system)


def _guess_of(typed: Typed, asked: Asked, inputs: PlanInputs) -> tuple[str, ...]:
    """What is assumed of a breed that is in no table."""
    if asked.expected is None:
        return ()
    kind = find_kind(inputs.tables, typed.text("fibre"))
    words = guess_words(kind, diameter_um=asked.expected.diameter_um if typed.is_said("micron") else None)
    return (f"{words}.",) if words else ()


def told_of(typed: Typed, asked: Asked) -> tuple[str, ...]:
    """What was not said and is taken as usual."""
    if asked.expected is None:
        return ()
    told = []
    if not typed.is_said("micron"):
        told.append(f"{asked.expected.diameter_um:g} micron")
    if not typed.is_said("staple"):
        told.append(f"staple {asked.expected.staple_mm:g} mm")
    return (f"Nobody measured it, so usual for {asked.expected.words}: {', '.join(told)}.",) if told else ()


def _take(request: HttpRequest, counter: Counter) -> str:
    """Take the order; the empty text where something is missing, with its sentence beside the field."""
    typed, asked = counter.typed, counter.asked
    _check_complete(counter)
    wanted = read_date(typed)
    if typed.errors or asked.wish is None:
        return ""
    facts = OrderFacts(
        customer=counter.owner.chosen.code if counter.owner.chosen else "",
        product=wish_words(asked.wish, typed.system).split(",")[0],
        target=", ".join(wish_words(asked.wish, typed.system).split(", ")[1:]),
        promised_on=wanted,
        date_is_hard=typed.text("date_kind") == "hard",
        label_wanted=counter.view.plan.labels[0].words if counter.view and counter.view.plan.labels else "",
        note=typed.text("note")[:400],
        spec=wish_data(order_wish(asked, name_of(asked))),
        lots=(
            *(OrderLotFacts(lot=code, role=OWN_FIBRE) for code in asked.lots),
            *(OrderLotFacts(lot=code, role=MILL_FIBRE) for code, _ in asked.stock),
        ),
    )
    try:
        return take_at_counter(
            acting(request),
            facts,
            new_owner=_new_owner(counter),
            plan=_first_plan(counter.planned),
            key=_key(request.POST),
        )
    except DofferError as error:
        typed.wrong("form", str(error))
        return ""


def _check_complete(counter: Counter) -> None:
    typed = counter.typed
    if not counter.owner.typed:
        typed.wrong("owner", "Type who rings: a farm or a name.")
    elif counter.owner.chosen is None and not counter.owner.is_new:
        typed.wrong("owner", "Several owners fit. Choose one below, or write down a new one.")
    if not counter.asked.lots and not typed.errors.get("fibre"):
        typed.needed("fibre", "Type the fibre or breed, such as huacaya or BFL.")
        typed.needed("mass", "Type how much there is; about is good enough, such as 2,7 kg.")
    if not typed.is_said("piece"):
        typed.wrong("piece", "Type the weight of a skein, bump or batt, such as 100 g.")
    new = _new_owner(counter)
    if counter.owner.typed and new is not None and counter.owner.is_new and owners_called(new.name):
        typed.wrong(
            "owner",
            f"There is already somebody called {new.name}. Choose them below, or say what tells them apart.",
        )
    for problem in counter.planned.problems:
        typed.wrong("form", problem)


def _new_owner(counter: Counter) -> NewOwner | None:
    if counter.owner.chosen is not None:
        return None
    return NewOwner(
        name=told_apart(counter.owner.typed, counter.typed.text("apart")),
        phone=counter.typed.text("phone"),
        units=counter.typed.system,
        country_rules=counter.inputs.settings["country_rules"],
    )


def _first_plan(planned: Planned) -> FirstPlan | None:
    if planned.spec is None or planned.plan is None:
        return None
    return FirstPlan(
        spec=to_plain(planned.spec),
        result=to_plain(planned.plan),
        tables_sha256=planned.plan.tables_sha256,
        seed=planned.plan.seed,
        code_version=__version__,
    )


def _key(data: QueryDict) -> uuid.UUID | None:
    try:
        return uuid.UUID(data.get("key", ""))
    except ValueError:
        return None


urlpatterns = [
    path("orders/new/", page, name="new_order"),
    path("orders/new/answer/", answer, name="new_order_answer"),
    path("orders/new/owners/", owners, name="new_order_owners"),
]
