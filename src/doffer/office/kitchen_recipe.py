"""Write a dye recipe down: a new version, with the one that counts now as its beginning."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.mill.commands.kitchen import DyeRecipeFacts, DyeStep, write_dye_recipe
from doffer.mill.queries.kitchen import DyeRecipeRow, dye_recipes
from doffer.mill.queries.shades import list_shades
from doffer.mill.queries.tables import current_tables
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.kitchen import acid_names
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.tables.loader import Tables

MOST_DYES, MOST_STEPS = 6, 8
PERCENT = 100


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """`/kitchen/write/?shade=S001`."""
    shades = [(row.code, row.name) for row in list_shades().rows]
    shade = request.POST.get("shade") or request.GET.get("shade", "")
    if not shade and shades:
        shade = shades[0][0]
    units = units_of(request)
    before = next(iter(dye_recipes(shade=shade)), None) if shade else None
    words = (
        request.POST.dict() if request.method == "POST" else _first(before, current_tables(), units, shade)
    )
    typed = Typed(words, units)
    if request.method == "POST":
        facts = _facts(typed)
        if facts is not None:
            try:
                write_dye_recipe(acting(request), typed.text("shade"), facts, key=key_of(request))
                return redirect("dye_recipe", code=typed.text("shade"))
            except DofferError as wrong:
                typed.wrong(_field_of(wrong), str(wrong))
    context: dict[str, Any] = {
        "here": "shades",
        "shades": shades,
        "shade": shade,
        "before": before,
        "typed": typed,
        "errors": typed.errors,
        "acids": list(acid_names().items()),
        "dye_rows": range(1, MOST_DYES + 1),
        "step_rows": range(1, MOST_STEPS + 1),
        "heat_unit": "°F" if units == "us" else "°C",
        "may_write": may(acting(request), Right.SHADES),
        "key": request.POST.get("key") or fresh_key(),
    }
    return render(
        request, "office/kitchen_recipe.html", context, status=422 if request.method == "POST" else 200
    )


FIELDS = {
    "dyes": "dye_1",
    "dye": "dye_1",
    "acid": "acid_pct",
    "salt": "salt_pct",
    "liquor ratio": "ratio",
    "stock solution": "stock",
    "pH": "ph",
}


def _field_of(wrong: DofferError) -> str:
    return FIELDS.get(wrong.field, "__all__") if isinstance(wrong, InputError) else "__all__"


def _first(before: DyeRecipeRow | None, tables: Tables, units: str, shade: str) -> dict[str, str]:
    """The fields as they stand at first: the recipe that counts now, else the usual bath of the tables."""
    usual = tables.additives
    words = {"shade": shade}
    if before is None:
        words |= {
            "acid_pct": f"{usual['acid/dose'].value:g}",
            "salt_pct": f"{usual['glaubers_salt/dose'].value:g}",
            "ratio": f"{usual['dye_bath/liquor_ratio'].value:g}",
            "stock": f"{usual['dye/stock_strength'].value:g}",
            "ph": f"{usual['dye_bath/ph'].value:g}",
            "acid": "citric_powder",
        }
        steps = _usual_steps(tables)
    else:
        words |= {
            "name": before.name,
            "acid": before.acid,
            "acid_pct": f"{before.acid_frac_owf * PERCENT:g}",
            "salt_pct": f"{before.salt_frac_owf * PERCENT:g}",
            "ratio": f"{before.liquor_ratio:g}",
            "stock": f"{before.stock_g_per_100ml:g}",
            "ph": "" if before.ph is None else f"{before.ph:g}",
            "note": before.note,
        }
        for place, dye in enumerate(before.dyes, start=1):
            words |= {f"dye_{place}": dye.dye, f"depth_{place}": f"{dye.depth_frac_owf * PERCENT:g}"}
        steps = before.steps
    for place, step in enumerate(steps, start=1):
        words |= _step_words(place, step, units)
    return words


def _usual_steps(tables: Tables) -> tuple[dict[str, Any], ...]:
    """The bath of the tables: in warm, slowly up, hold, cool in the bath."""
    usual = tables.additives
    top_c, ramp = usual["dye_bath/temperature"].value, usual["dye_bath/ramp"].value
    return (
        {"what": "wet out, then dye and salt", "minutes": 15, "temperature_c": WARM_C},
        {
            "what": "heat slowly, acid in parts",
            "minutes": (top_c - WARM_C) / ramp,
            "temperature_c": top_c,
            "ramp_c_per_min": ramp,
        },
        {"what": "hold", "minutes": usual["dye_bath/hold"].value, "temperature_c": top_c},
        {"what": "cool slowly in the bath", "minutes": 60, "temperature_c": COOLED_C},
    )


WARM_C, COOLED_C = 40.0, 60.0  # common practice; fields of a form, to be written over


def _step_words(place: int, step: dict[str, Any], units: str) -> dict[str, str]:
    heat, ramp = step.get("temperature_c"), step.get("ramp_c_per_min")
    if heat is not None and units == "us":
        heat = heat * 9 / 5 + 32
    if ramp is not None and units == "us":
        ramp = ramp * 9 / 5
    return {
        f"what_{place}": str(step["what"]),
        f"min_{place}": f"{step['minutes']:g}",
        f"heat_{place}": "" if heat is None else f"{heat:g}",
        f"ramp_{place}": "" if ramp is None else f"{ramp:g}",
    }


def _facts(typed: Typed) -> DyeRecipeFacts | None:
    """The recipe as typed, or None with a sentence beside each field that is wrong."""
    typed.needed("shade", "Choose the shade it makes.")
    dyes = _dyes(typed)
    steps = _steps(typed)
    acid_frac, salt_frac = _percent(typed, "acid_pct", "acid"), _percent(typed, "salt_pct", "salt")
    ratio, stock = _figure(typed, "ratio", "litres to 1 kg"), _figure(typed, "stock", "strength of the stock")
    ph = _figure(typed, "ph", "pH")
    for name in ("ratio", "stock"):
        typed.needed(name, "It belongs to the recipe: the same dye in more water dyes paler.")
    if acid_frac and not typed.text("acid"):
        typed.wrong("acid", "Say which acid.")
    if typed.errors or ratio is None or stock is None:
        return None
    return DyeRecipeFacts(
        dyes=dyes,
        acid=typed.text("acid") if acid_frac else "",
        acid_frac_owf=acid_frac,
        salt_frac_owf=salt_frac,
        liquor_ratio=ratio,
        stock_g_per_100ml=stock,
        ph=ph,
        steps=steps,
        name=typed.text("name")[:80],
        note=typed.text("note")[:400],
    )


def _dyes(typed: Typed) -> tuple[tuple[str, float], ...]:
    dyes = []
    for place in range(1, MOST_DYES + 1):
        name, depth = f"dye_{place}", f"depth_{place}"
        if typed.is_said(name) and typed.needed(depth, "Say how deep: % on the weight of fibre."):
            dyes.append((typed.text(name)[:80], _percent(typed, depth, f"depth of {typed.text(name)}")))
        elif typed.is_said(depth):
            typed.wrong(name, "Name the dye that this depth is of.")
    if not dyes:
        typed.wrong("dye_1", "Name one dye at least, with its % on the weight of fibre.")
    return tuple(dyes)


def _steps(typed: Typed) -> tuple[DyeStep, ...]:
    steps = (_step(typed, place) for place in range(1, MOST_STEPS + 1) if typed.is_said(f"what_{place}"))
    return tuple(step for step in steps if step is not None)


def _step(typed: Typed, place: int) -> DyeStep | None:
    """One step as typed; None with a sentence beside the field that is wrong."""
    if not typed.needed(f"min_{place}", "Say how many minutes it takes."):
        return None
    minutes = _figure(typed, f"min_{place}", f"minutes of step {place}")
    heat_c, c_per_min = (
        _figure(typed, f"heat_{place}", "temperature"),
        _figure(typed, f"ramp_{place}", "heating"),
    )
    if typed.system == "us":
        heat_c = None if heat_c is None else (heat_c - 32) * 5 / 9
        c_per_min = None if c_per_min is None else c_per_min * 5 / 9
    try:
        return DyeStep(
            what=typed.text(f"what_{place}")[:120],
            minutes=minutes or 0.0,
            temperature_c=heat_c,
            ramp_c_per_min=c_per_min,
        )
    except InputError as wrong:
        name = {"temperature": "heat", "heating": "ramp"}.get(wrong.field, "min")
        typed.wrong(f"{name}_{place}", str(wrong))
        return None


def _percent(typed: Typed, name: str, label: str) -> float:
    """A share [frac] from a field that has its percent sign beside it, so that 1 is one percent."""
    value = typed.read(name, parse_number, label, allowed="from 0 to 100 %")
    share = 0.0 if value is None else float(value) / PERCENT
    if not 0 <= share <= 1:
        typed.wrong(name, str(InputError(label, typed.text(name), "from 0 to 100 %")))
    return share


def _figure(typed: Typed, name: str, label: str) -> float | None:
    value = typed.read(name, parse_number, label, allowed="a number, such as 30")
    return None if value is None else float(value)


urlpatterns = [path("kitchen/write/", page, name="dye_recipe_write")]
