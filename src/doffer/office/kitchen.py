"""The dye kitchen: recipes by shade, and the card of one for the fibre that lies there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer.errors import DofferError, InputError, NotFoundError
from doffer.exchange.numbers import parse_number
from doffer.mill.commands.kitchen import begin_dyeing
from doffer.mill.queries import kitchen
from doffer.mill.queries.kettles import KettleRow, kettles
from doffer.mill.queries.kitchen import RecipeCard
from doffer.mill.queries.lots import LotRow, list_lots
from doffer.mill.queries.shades import list_shades, one_shade
from doffer.mill.queries.tables import current_tables
from doffer.mill.to_dye import DyeingQuestionError, ToDye
from doffer.office import kitchen_card as view
from doffer.office.asked import acting, fresh_key, key_of, number_after, units_of
from doffer.office.kitchen_papers import card_pdf
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.pictures.colour import fibre_hex
from doffer.pictures.swatch import tuft_icon
from doffer.pictures.wording import say

USUAL_WATER_PCT = "100"  # wetted out and drained; common practice
MOST_WATER_FRAC = 4.0
PERCENT = 100


@require_safe
def list_page(request: HttpRequest) -> HttpResponse:
    """`/kitchen/`: the recipe that counts of every shade, the last dyeings, the kettles."""
    shades = list_shades().rows
    recipes = kitchen.dye_recipes()
    written = {row.shade for row in recipes}
    labs = {row.code: row.lab for row in shades}
    context = {
        "here": "shades",
        "recipes": recipes,
        "unwritten": [row for row in shades if row.code not in written],
        "swatches": {code: _swatch(code, lab) for code, lab in labs.items()},
        "acid_names": acid_names(),
        "kettles": kettles(),
        "dyeings": kitchen.dyeings().rows[:5],
        "may_write": may(acting(request), Right.SHADES),
    }
    return render(request, "office/kitchen.html", context)


def acid_names() -> dict[str, str]:
    """Acids that a recipe may name."""
    rows = current_tables().additives.values()
    return {row.additive: row.name for row in rows if row.quantity == "strength"}


def _swatch(code: str, lab: tuple[float, float, float], size: float = 56.0) -> str:
    return tuft_icon(code, fibre_hex(*lab), size=size, label="its shade, approximate")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a card is asked for: lot, what can be dyed of it, grams, water in it [frac], kettle, version."""

    lot: LotRow | None
    there: ToDye | None
    basis: view.Basis | None
    water_frac: float
    kettle: str
    version: int | None
    typed: Typed

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is asked before this much of it is dyed, in the words of whoever reads it."""
        if self.there is None or self.basis is None:
            return ()
        system = self.typed.system
        return tuple(
            one.said(lambda mass_g: say(mass_g, "g", system)) for one in self.there.doubts(self.basis.fibre_g)
        )

    def query(self) -> str:
        """The same question as the end of an address."""
        kept = {name: self.typed.text(name) for name in ("lot", "mass", "water", "kettle", "version")}
        return urlencode({name: value for name, value in kept.items() if value})


def asked_of(request: HttpRequest, data: Any) -> Asked:
    """Read the question; what cannot be read keeps its sentence."""
    units = units_of(request)
    words = {"water": USUAL_WATER_PCT, **{k: v for k, v in data.items() if isinstance(v, str)}}
    if words.get("kg", "").strip() and not words.get("mass", "").strip():
        words["mass"] = words["kg"].strip() if units != "us" else f"{words['kg'].strip()} kg"
    typed = Typed(words, units)
    lot, there = _lot(typed)
    water = typed.read("water", parse_number, "water in the fibre", allowed="from 0 to 400 %")
    water_frac = 0.0 if water is None else float(water) / PERCENT
    if not 0 <= water_frac <= MOST_WATER_FRAC:
        typed.wrong(
            "water",
            str(InputError("water in the fibre", typed.text("water"), "from 0 to 400 % of its weight")),
        )
    mass_g = typed.mass_g("mass", "fibre")
    if mass_g is not None:
        _check_mass(typed, lot, mass_g)
    basis = None if typed.errors else view.basis_for(lot, mass_g, current_tables(), units, there)
    return Asked(lot, there, basis, water_frac, typed.text("kettle"), number_after(request, "version"), typed)


def _check_mass(typed: Typed, lot: LotRow | None, mass_g: float) -> None:
    """Nothing to dye, or more than there is: one sentence beside the weight."""
    if mass_g <= 0:
        typed.wrong(
            "mass", "The fibre must weigh more than zero: type its weight, or empty this and name the lot."
        )
    elif lot is not None and (wrong := view.too_much(lot, mass_g, current_tables(), typed.system)):
        typed.wrong("mass", wrong)


def _lot(typed: Typed) -> tuple[LotRow | None, ToDye | None]:
    code = typed.text("lot").upper().split(" ")[0]
    if not code:
        return None, None
    try:
        return kitchen.lot_to_dye(code)
    except NotFoundError as unknown:
        typed.wrong("lot", str(unknown))
        return None, None


@require_safe
def card(request: HttpRequest, code: str) -> HttpResponse:
    """`/kitchen/S001/?kg=2.6`: what goes into the kettle for this much fibre."""
    if code != code.upper():
        return redirect("dye_recipe", code=code.upper())
    return _shown(request, code, asked_of(request, request.GET))


def _shown(request: HttpRequest, shade: str, asked: Asked, *, status: int = 200) -> HttpResponse:
    book = one_shade(shade)
    versions = kitchen.dye_recipes(shade=shade)
    units = units_of(request)
    person = acting(request)
    context: dict[str, Any] = {
        "here": "shades",
        "shade": book.row,
        "swatch": _swatch(shade, book.row.lab, 120.0),
        "versions": versions,
        "asked": asked,
        "typed": asked.typed,
        "kettles": kettles(),
        "kettle_options": [],
        "units": units,
        "lots": lot_options(),
        "acid_names": acid_names(),
        "mass_unit": "lb" if units == "us" else "kg",
        "cautions": view.mind(current_tables()),
        "may_write": may(person, Right.SHADES),
        "may_dye": may(person, Right.KITCHEN),
        "key": request.POST.get("key") or fresh_key(),
        "recipe": None,
        "found": None,
    }
    if not versions:
        return render(request, "office/kitchen_card.html", context, status=status)
    recipe = next((row for row in versions if row.version == asked.version), versions[0])
    found = _worked_out(shade, recipe.version, asked)
    rows = {row.code: row for row in context["kettles"]}
    context |= {
        "recipe": recipe,
        "kettle_options": [(row.code, _kettle_words(row, units)) for row in rows.values()],
        "total_l": sum(load.liquor_l for load in found.loads) if found else 0.0,
        "course": view.course_of(recipe, units),
        "found": found,
        "cards": _cards(found, rows, asked, units) if found else (),
        "say_mark": view.say_mark,
        "pdf": f"{reverse('dye_card_pdf', args=[shade])}?{asked.query()}",
        "errors": asked.typed.errors,
    }
    return render(request, "office/kitchen_card.html", context, status=status)


def _kettle_words(row: KettleRow, units: str) -> str:
    takes = f", takes {say(row.usable_l, 'l', units, 0)}" if row.usable_l else ""
    return f"{row.name}{takes}{f', {row.lot} is in it' if row.lot else ''}"


def _worked_out(shade: str, version: int, asked: Asked) -> RecipeCard | None:
    """The recipe for the fibre asked for; a sentence beside the form where it cannot be."""
    if asked.basis is None:
        return None
    try:
        return kitchen.recipe_card(
            shade,
            fibre_g=asked.basis.fibre_g,
            version=version,
            wet_pickup_frac=asked.water_frac,
            kettle=asked.kettle,
            lot=asked.lot.code if asked.lot else "",
        )
    except DofferError as wrong:
        is_mass = isinstance(wrong, InputError) and wrong.field == "fibre to dye"
        asked.typed.wrong("kettle" if asked.kettle and not is_mass else "mass", str(wrong))
        return None


def _cards(
    found: RecipeCard, rows: dict[str, KettleRow], asked: Asked, units: str
) -> tuple[view.LoadCard, ...]:
    return view.load_cards(
        found.recipe,
        found.loads,
        rows,
        wet_pickup_frac=asked.water_frac,
        tables=current_tables(),
        system=units,
    )


def lot_options() -> list[tuple[str, str]]:
    """Lots that stand here, to choose from while typing: number, and what it is in words."""
    return [
        (
            row.code,
            f"{row.colour_name} {(row.breed or row.fibre).replace('_', ' ')}, {row.owner_name}".strip(),
        )
        for row in list_lots().rows
        if not row.is_held
    ]


@require_safe
def pdf(request: HttpRequest, code: str) -> HttpResponse:
    """The card on one page."""
    asked = asked_of(request, request.GET)
    if asked.basis is None:
        mend = next(iter(asked.typed.errors.values()), "")
        raise InputError("fibre", asked.typed.text("mass"), mend or "a weight, or a lot that was weighed")
    found = kitchen.recipe_card(
        code,
        fibre_g=asked.basis.fibre_g,
        version=asked.version,
        wet_pickup_frac=asked.water_frac,
        kettle=asked.kettle,
        lot=asked.lot.code if asked.lot else "",
    )
    if not found.loads:
        raise InputError("loads", 0, found.why_not)
    rows = {row.code: row for row in kettles()}
    return card_pdf(
        request, found.recipe, _cards(found, rows, asked, units_of(request)), asked.basis, asked.lot
    )


@require_POST
def begin(request: HttpRequest, code: str) -> HttpResponse:
    """The lot is dyed now, as the card says."""
    asked = asked_of(request, request.POST)
    version = asked.typed.text("version")
    if asked.lot is None or asked.basis is None:
        asked.typed.wrong("lot", "Say which lot is dyed: its number stands on its tag.")
        return _shown(request, code, asked, status=422)
    loads = ()
    if asked.kettle:
        loads = ((asked.kettle, asked.basis.fibre_g),)
    try:
        done = begin_dyeing(
            acting(request),
            lot=asked.lot.code,
            shade=code,
            version=int(version) if version.isdecimal() else None,
            fibre_g=asked.basis.fibre_g,
            loads=loads,
            wet_pickup_frac=asked.water_frac,
            note=asked.typed.text("note")[:400],
            decision=asked.typed.text("decision")[:300],
            key=key_of(request),
        )
    except DyeingQuestionError:
        asked.typed.wrong("decision", "Write who decided that it is dyed all the same, and why.")
        return _shown(request, code, asked, status=422)
    except DofferError as refused:
        asked.typed.wrong("lot", str(refused))
        return _shown(request, code, asked, status=422)
    return redirect("dyeing", number=done.id)


urlpatterns = [
    path("kitchen/", list_page, name="kitchen"),
    path("kitchen/<str:code>/", card, name="dye_recipe"),
    path("kitchen/<str:code>/card.pdf", pdf, name="dye_card_pdf"),
    path("kitchen/<str:code>/begin/", begin, name="dye_begin"),
]
