"""At the door: whose fibre it is, each bag on the scale, its tag before it is opened, what was seen in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from doffer.errors import InputError, NotFoundError
from doffer.fibre.kinds import Kind
from doffer.fibre.moisture import Branch
from doffer.mill.booking import QuestionError
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag
from doffer.mill.queries import door
from doffer.mill.queries.customers import OneCustomer, find_customers, one_customer
from doffer.mill.queries.lots import one_lot
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.natural_colours import BY_KEY, PALETTE, lab_of_key
from doffer.office.readings import BRANCHES, MASS_UNIT, Typed, as_typed_mass, first_typed
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon

FORMS = (
    ("greasy", "In the grease", "as it was shorn"),
    ("skirted", "Skirted already", "not washed"),
    ("scoured", "Washed", "clean and dry"),
)
KINDS_OF_CONTAINER = (("bag", "Bag"), ("box", "Box"), ("bin", "Bin"))
CONFIRMED = "looked at again at the door: it is right"

# What may be seen in a bag: key, words, note, and what it means for the lot.
SIGHTS = (
    ("nothing", "Nothing seen", "goes on to skirting", "clear"),
    ("moth", "Moth", "flying or dead", "found"),
    ("larvae", "Larvae or cases", "webs, grit, bare patches", "found"),
    ("lice", "Lice or keds", "", "suspect"),
    ("ticks", "Ticks", "gloves on", "suspect"),
    ("mothballs", "Smells of mothballs", "somebody feared moth", "suspect"),
    ("unsure", "Something else", "say what below", "suspect"),
)
MEANS = {key: meaning for key, _, _, meaning in SIGHTS}
SAID = {key: words for key, words, _, _ in SIGHTS}


@dataclass(frozen=True, slots=True)
class Look:
    """What the scale says so far: the figures, or one sentence about what is missing."""

    weighing: door.DoorWeighing | None = None
    missing: str = ""
    branch: str = ""


def look_at(typed: Typed) -> Look:
    """Net, oven-dry and agreed weights of what stands in a form; instead of an error, a sentence."""
    if not typed.is_said("gross"):
        return Look(missing="Type what the scale shows, and the weights stand here.")
    trial = Typed(typed.data, typed.system)
    reading = trial.reading()
    if reading is None:
        return Look(missing=" ".join(trial.errors.values()))
    if not typed.is_said("fibre"):
        return Look(missing="Say which fibre it is, and the dry weight stands here too.")
    branch = typed.text("branch") or Branch.DESORPTION
    form = typed.text("form") or "greasy"
    if branch not in list(Branch):
        return Look(
            missing="Fibre that is still wet says nothing about its dry weight: weigh it again when dry."
        )
    try:
        weighing = door.weigh_at_door(
            typed.text("fibre"),
            gross_g=reading.gross_g,
            tare_g=reading.tare_g,
            rh_frac=reading.rh_frac,
            branch=Branch(branch),
            form=form,
        )
    except (InputError, NotFoundError) as wrong:
        return Look(missing=str(wrong))
    return Look(weighing, branch=branch)


def _may(request: HttpRequest) -> bool:
    return may(acting(request), Right.INTAKE)


@require_GET
def owners(request: HttpRequest) -> HttpResponse:
    """`/weigh-in/`: whose fibre is it? Search, or record a new owner; what stands at the door."""
    return render(request, "office/weigh_in.html", _owners_page(request))


def _owners_page(request: HttpRequest, typed: Typed | None = None) -> dict[str, Any]:
    search = request.GET.get("q", "").strip()
    return {
        "here": "weigh_in",
        "search": search,
        "found": find_customers(search).rows if search else (),
        "lately": door.owners_lately(),
        "bags": door.bags_at_door(),
        "typed": typed or Typed({}, "metric"),
        "key": fresh_key(),
        "may_write": _may(request),
    }


@require_POST
def new_owner(request: HttpRequest) -> HttpResponse:
    """Record an owner and go on to the first bag."""
    typed = Typed(request.POST.dict(), "metric")
    facts = {name: typed.text(name) for name in ("name", "contact", "phone", "units") if typed.text(name)}
    try:
        code = add_customer(acting(request), key=key_of(request), **facts)
    except InputError as wrong:
        typed.wrong("name" if "name" in wrong.field else "__all__", str(wrong))
        return render(request, "office/weigh_in.html", _owners_page(request, typed), status=422)
    return HttpResponseRedirect(reverse("weigh_in_bag", args=[code]))


@require_http_methods(["GET", "POST"])
def bag(request: HttpRequest, owner: str) -> HttpResponse:
    """`/weigh-in/C03/`: one closed bag on the door scale."""
    customer = one_customer(owner)
    if request.method == "GET":
        day = door.door_day()
        first = first_typed(day.air, customer.row.units, form="greasy", kind="bag")
        return _bag_page(request, customer, day, first)
    typed = Typed(request.POST.dict(), customer.row.units)
    if typed.text("only_look"):
        return _bag_page(request, customer, door.door_day(), typed, status=200)
    question = ""
    bag_facts = _bag_of(typed, owner)
    if bag_facts is not None:
        confirmation = CONFIRMED if typed.text("confirmed") else ""
        try:
            done = weigh_in_bag(
                acting(request),
                bag_facts,
                confirmation=confirmation,
                key=key_of(request),
            )
        except QuestionError as asked:
            question = str(asked)
        except InputError as wrong:
            typed.put(wrong)
        else:
            return HttpResponseRedirect(reverse("lot_door", args=[done.lot]))
    return _bag_page(request, customer, door.door_day(), typed, question=question, status=422)


def _bag_of(typed: Typed, owner: str) -> Bag | None:
    """The bag as typed, or None when a field has its sentence."""
    kind = _kind(typed)
    form = typed.text("form") or "greasy"
    # the air says nothing about dirt and grease; the branch is asked of washed fibre only
    reading = typed.reading(branch="" if form == "scoured" else "desorption")
    if reading is not None and reading.net_g <= 0:
        typed.wrong(
            "gross", "Nothing is in it: the full bag weighs as much as the empty one. Weigh it again."
        )
    if kind is None or reading is None or typed.errors:
        return None
    colour = typed.text("colour")
    facts = FibreFacts(
        fibre=kind.fibre.fibre,
        breed=kind.breed.breed if kind.breed else "",
        breed_typed=typed.text("fibre"),
        name=typed.text("animal"),
        colour_name=typed.text("colour_name") or (BY_KEY[colour].name if colour in BY_KEY else ""),
        lab=lab_of_key(colour),
    )
    return Bag(
        customer=owner,
        facts=facts,
        reading=reading,
        form=form,
        kind=typed.text("kind") or "bag",
        location=typed.text("location"),
        want_waste_back=bool(typed.text("want_waste_back")),
        note=typed.text("note"),
    )


def _kind(typed: Typed) -> Kind | None:
    if not typed.needed("fibre", "Say which fibre or breed it is, such as Shetland, alpaca or kid mohair."):
        return None
    try:
        return door.kind_typed(typed.text("fibre"))
    except NotFoundError as unknown:
        typed.wrong("fibre", str(unknown))
        return None


def _bag_page(
    request: HttpRequest,
    customer: OneCustomer,
    day: door.DoorDay,
    typed: Typed,
    *,
    question: str = "",
    status: int = 200,
) -> HttpResponse:
    system = customer.row.units
    page = {
        "customer": customer,
        "bags": door.bags_at_door(owner=customer.row.code),
        "day": day,
        "tares": [(row.kind, row.tare_g, as_typed_mass(row.tare_g, system)) for row in day.tares],
        "typed": typed,
        "look": look_at(typed),
        "question": question,
        "key": typed.text("key") or fresh_key(),
        "here": "weigh_in",
        "system": system,
        "mass_unit": MASS_UNIT[system],
        "forms_of_fibre": FORMS,
        "branches": BRANCHES[:2],
        "containers": KINDS_OF_CONTAINER,
        "palette": PALETTE,
        "may_write": _may(request),
    }
    return render(request, "office/weigh_in_bag.html", page, status=status)


@require_GET
def dry(request: HttpRequest) -> HttpResponse:
    """`/weigh/dry/`: what clean fibre on the scale weighs without its water, and on which basis it counts."""
    asked = request.GET.dict()
    system = asked["units"] if asked.get("units") in MASS_UNIT else units_of(request)
    typed = Typed({"form": "scoured", "branch": "desorption", **asked}, system)
    if "rh" not in asked and "gross" not in asked:
        typed = first_typed(door.last_air(), system, **typed.data)
    page = {
        "here": "weigh_in",
        "typed": typed,
        "look": look_at(typed),
        "system": system,
        "mass_unit": MASS_UNIT[system],
        "branches": BRANCHES[:2],
        "kinds": door.door_day().kinds,
    }
    if request.headers.get("HX-Request") == "true":
        return render(request, "office/weigh_in_figures.html", page)
    return render(request, "office/weigh_in_dry.html", page)


@require_GET
def at_door(request: HttpRequest, code: str) -> HttpResponse:
    """`/lots/L041/door/`: print the tag, take a photo, open the bag and say what was seen."""
    return _door_page(request, code, Typed({}, "metric"))


@require_POST
def pests(request: HttpRequest, code: str) -> HttpResponse:
    """What was seen when the bag was opened; anything but nothing goes to the quarantine shelf, held."""
    typed = Typed(request.POST.dict(), "metric")
    seen, note = typed.text("seen"), typed.text("note")
    if not typed.text("tag_is_on"):
        typed.wrong("tag_is_on", "Tie the tag on before the bag is opened, then tick this.")
    if seen not in MEANS:
        typed.wrong("seen", "Choose what you saw; “nothing seen” counts too.")
    if seen == "unsure" and not note:
        typed.wrong("note", "Say in a few words what it was, so that the next person knows.")
    if typed.errors:
        return _door_page(request, code, typed, status=422)
    words = note if seen in ("nothing", "unsure") else ": ".join(filter(None, (SAID[seen], note)))
    check_for_pests(acting(request), code, seen=MEANS[seen], note=words)
    return HttpResponseRedirect(reverse("lot_door", args=[code]))


def _door_page(request: HttpRequest, code: str, typed: Typed, *, status: int = 200) -> HttpResponse:
    lot = one_lot(code)
    page = {
        "here": "weigh_in",
        "lot": lot,
        "typed": typed,
        "system": lot.owner_units,
        "tuft": tuft_icon(lot.row.code, fibre_hex(*(lot.row.lab or (None, None, None)))),
        "first": next((w for w in lot.weighings if w.moment == "intake" and w.corrected_by is None), None),
        "skirted": next((w for w in lot.weighings if w.moment == "skirted"), None),
        "holds": [hold for hold in lot.holds if hold.cleared_at is None],
        "sights": tuple(sight[:3] for sight in SIGHTS),
        "may_write": _may(request),
    }
    return render(request, "office/weigh_in_door.html", page, status=status)


urlpatterns = [
    path("weigh-in/", owners, name="weigh_in"),
    path("weigh-in/new-owner/", new_owner, name="weigh_in_new_owner"),
    path("weigh-in/<str:owner>/", bag, name="weigh_in_bag"),
    path("weigh/dry/", dry, name="weigh_dry"),
    path("lots/<str:code>/door/", at_door, name="lot_door"),
    path("lots/<str:code>/pests/", pests, name="lot_pests"),
]
