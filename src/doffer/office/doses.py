"""The dose sheet: what goes on the fibre or into the bath, with its working, and which kettles."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.mill.queries.house import MachineRow, machines
from doffer.mill.queries.tables import current_tables
from doffer.office.asked import units_of
from doffer.office.readings import Typed
from doffer.pictures import kettle as kettle_picture
from doffer.pictures.bench import say_litres
from doffer.pictures.doses import say_loads
from doffer.pictures.wording import say
from doffer.planning.kettles import Kettle, KettlePlan, kettle_loads
from doffer.planning.loads import Loads, capacity_of, equal_loads
from doffer.process.doses import acid, conditioner, dye, dye_words, measured, scour
from doffer.process.stage import Caution, cautions_for
from doffer.tables.loader import Tables
from doffer.working import Working

KINDS = (
    ("conditioner", "Conditioner", "spinning oil and water for the picker"),
    ("wash", "Wash", "detergent and baths"),
    ("dye", "Dye bath", "dye, stock, water, kettles"),
    ("acid", "Acid", "by strength and density"),
)
STAGE_OF = {"conditioner": "pick", "wash": "wash", "dye": "dye", "acid": "dye"}
ACIDS = (
    ("acetic_56", "acetic acid 56 %"),
    ("acetic_80", "acetic acid 80 %"),
    ("vinegar_5", "vinegar 5 %"),
    ("own", "another bottle: type strength and density"),
)
MOST_LAYERS = 24
_CAPACITY = re.compile(r"kg at (\d+(?:\.\d+)?):1")


@dataclass(frozen=True, slots=True)
class DoseAnswer:
    """What a dose sheet says: the sentence, its lines, its workings, pictures of the kettle."""

    headline: str
    lines: tuple[str, ...] = ()
    workings: tuple[Working, ...] = ()
    notes: tuple[str, ...] = ()
    picture: str = ""


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """The dose sheet; everything stands in the address, so a sheet can be kept as a bookmark."""
    kind = request.GET.get("kind", "conditioner")
    kind = kind if kind in STAGE_OF else "conditioner"
    tables = current_tables()
    system = units_of(request)
    typed = Typed(_with_usual(request, kind, tables), system)
    rows = machines()
    kettles = kettles_of(rows)
    busy = set(request.GET.getlist("busy"))
    context = {
        "here": "records",
        "kinds": KINDS,
        "kind": kind,
        "acids": ACIDS,
        "typed": typed,
        "kettles": kettles,
        "busy": busy,
        "answer": answer(kind, typed, tables, rows, busy) if typed.is_said("mass") else None,
        "cautions": _cautions(kind, tables),
    }
    return render(request, "office/doses.html", context)


def _with_usual(request: HttpRequest, kind: str, tables: Tables) -> dict[str, str]:
    """What was typed, else the usual figures of table additives."""
    usual = {
        name: f"{tables.additives[key].value:g}"
        for name, key in {
            "conditioner": (("dose", "conditioner/dose"), ("parts", "conditioner/water_parts")),
            "wash": (("ratio", "wash_bath/liquor_ratio"),),
            "dye": (
                ("depth", "dye/depth"),
                ("stock", "dye/stock_strength"),
                ("ratio", "dye_bath/liquor_ratio"),
            ),
            "acid": (("dose", "acid/dose"),),
        }[kind]
    }
    first = {"layers": "6", "grease": "greasy", "product": "acetic_56"}
    return {**first, **usual, **{name: value for name, value in request.GET.items() if value.strip()}}


def kettles_of(rows: Sequence[MachineRow]) -> tuple[Kettle, ...]:
    """The mill's kettles with the bath they take: "3.6 kg at 30:1" is 108 L."""
    kettles = []
    for row in rows:
        match = _CAPACITY.fullmatch(row.capacity_unit.strip())
        if row.stage == "dye" and match and row.capacity:
            kettles.append(Kettle(row.name, row.capacity * float(match[1])))
    return tuple(kettles)


def answer(
    kind: str, typed: Typed, tables: Tables, rows: Sequence[MachineRow], busy: set[str]
) -> DoseAnswer | None:
    """Work the sheet out; None where a field is wrong, with its sentence beside it."""
    mass_g = typed.mass_g("mass", "fibre")
    work: dict[str, Callable[[float], DoseAnswer | None]] = {
        "conditioner": lambda g: _conditioner(g, typed, _first(rows, "pick")),
        "wash": lambda g: _wash(g, typed, tables, _first(rows, "wash")),
        "dye": lambda g: _dye(g, typed, [_marked(kettle, busy) for kettle in kettles_of(rows)]),
        "acid": lambda g: _acid(g, typed, tables),
    }
    if mass_g is None:
        return None
    try:
        found = work[kind](mass_g)
    except DofferError as error:
        typed.wrong("form", str(error))
        return None
    return None if typed.errors else found


def _first(rows: Sequence[MachineRow], stage: str) -> MachineRow | None:
    """The machine of a stage that plans count with: the first."""
    return next((row for row in rows if row.stage == stage), None)


def _loads(machine: MachineRow | None, mass_g: float, *, rounds: int = 0) -> Loads | None:
    """In how many loads a weight goes into a machine; None where all goes in at once."""
    takes = capacity_of(machine.capacity, machine.capacity_unit) if machine else None
    return equal_loads(weighed_mass_g=mass_g, dry_mass_g=mass_g, capacity=takes, rounds=rounds)


def _loads_line(loads: Loads | None, machine: MachineRow | None, typed: Typed) -> tuple[str, ...]:
    if loads is None or machine is None:
        return ()
    words = say_loads(loads, machine.name, typed.system)
    return (f"{words[:1].upper()}{words[1:]}.",)


def _marked(kettle: Kettle, busy: set[str]) -> Kettle:
    return Kettle(kettle.name, kettle.usable_volume_l, kettle.name not in busy)


def _figure(typed: Typed, name: str, label: str) -> float:
    """A plain number above zero; zero where it is wrong, with its sentence kept."""
    value = typed.read(name, parse_number, label, allowed="a number above zero, such as 30")
    return float(value) if value is not None else 0.0


def _percent(typed: Typed, name: str, label: str, *, most: float = 1.0) -> float | None:
    """A share [frac] from a field that has its percent sign beside it, so that 1 is one percent."""
    allowed = f"from 0 to {most * 100:g} %"
    value = typed.read(name, parse_number, label, allowed=allowed)
    if value is None:
        return None
    share = float(value) / 100
    if not 0 <= share <= most:
        typed.wrong(name, str(InputError(label, typed.text(name), allowed)))
        return None
    return share


def _conditioner(mass_g: float, typed: Typed, picker: MachineRow | None) -> DoseAnswer | None:
    dose_frac = _percent(typed, "dose", "dose")
    layers = typed.count("layers", "layers", low=1, high=MOST_LAYERS)
    parts = _figure(typed, "parts", "parts of water")
    if dose_frac is None or layers is None or typed.errors:
        return None
    dose = conditioner(fibre_mass_g=mass_g, dose_frac_owf=dose_frac, water_parts=parts, n_layers=layers)
    loads = _loads(picker, mass_g, rounds=layers)
    each = " + ".join(f"{grams}" for grams in dose.layers_g)
    lines = (
        dose.words.capitalize() + ".",
        f"Wet pick-up {dose.wet_pickup_frac * 100:.0f} % of the fibre.",
        f"On {layers} layers: {each} g." if layers > 1 else "All on one layer.",
        *_loads_line(loads, picker, typed),
    )
    headline = (
        f"{dose.product_mass_g:.0f} g product + {dose.water_mass_g:.0f} g water = {dose.spray_mass_g:.0f} g"
    )
    return DoseAnswer(headline, lines, (dose.working,))


def _wash(mass_g: float, typed: Typed, tables: Tables, tub: MachineRow | None) -> DoseAnswer | None:
    """Detergent and baths of one load; the tub says how many there are."""
    ratio = _figure(typed, "ratio", "litres to 1 kg")
    is_greasy = typed.text("grease") != "low"
    row = tables.additives[f"{'detergent_greasy' if is_greasy else 'detergent_low_grease'}/dose"]
    heat = tables.additives["wash_wool/temperature" if is_greasy else "wash_fine/temperature"]
    if typed.errors:
        return None
    loads = _loads(tub, mass_g)
    dose = scour(
        raw_mass_g=loads.load_mass_g if loads else mass_g,
        detergent_frac=row.value / 100,
        liquor_ratio=ratio,
        n_baths=round(tables.additives["wash_bath/baths"].value),
        n_rinses=round(tables.additives["wash_bath/rinses"].value),
    )
    baths = " + ".join(f"{grams} g" for grams in dose.baths_g)
    return DoseAnswer(
        f"{dose.detergent_mass_g:.0f} g detergent{' for each load' if loads else ''}: {baths}",
        (
            *_loads_line(loads, tub, typed),
            f"{len(dose.baths_g)} baths and {dose.n_rinses} rinses of "
            f"{say_litres(dose.bath_volume_l, typed.system)} each.",
            f"{heat.low:g} to {heat.high:g} °C, all baths alike, no movement.",
        ),
        (dose.working,),
    )


def _dye(mass_g: float, typed: Typed, kettles: Sequence[Kettle]) -> DoseAnswer | None:
    depth = _percent(typed, "depth", "depth of shade")
    stock = _figure(typed, "stock", "strength of the stock")
    ratio = _figure(typed, "ratio", "litres to 1 kg")
    water = _percent(typed, "water", "water in the fibre", most=4.0) or 0.0
    if depth is None or typed.errors:
        return None
    split = kettle_loads(fibre_mass_g=mass_g, liquor_ratio=ratio, kettles=kettles)
    load = split.loads[0]
    dose = dye(
        fibre_mass_g=load.fibre_mass_g,
        depth_frac_owf=depth,
        stock_g_per_100ml=stock,
        liquor_ratio=ratio,
        wet_pickup_frac=water,
    )
    each = "" if len(split.loads) == 1 else " in each load"
    holds = next(kettle.usable_volume_l for kettle in kettles if kettle.name == load.kettle)
    lines = (
        f"Dye {dye_words(dose)} of stock solution{each}.",
        f"Liquor {say_litres(dose.liquor_volume_l, typed.system)}{each}.",
        f"Top up with {dose.top_up_volume_l:.2f} L of water: the liquor less the stock "
        f"and less {dose.fibre_water_l:.2f} L that is in the fibre already.",
    )
    return DoseAnswer(
        _loads_words(split, typed.system),
        lines,
        (dose.working,),
        split.refused,
        kettle_picture.kettle(water_l=dose.liquor_volume_l, holds_l=holds),
    )


def _loads_words(split: KettlePlan, system: str) -> str:
    load = split.loads[0]
    mass = say(load.fibre_mass_g, "g", system)
    if len(split.loads) == 1:
        return f"One load of {mass} in the {load.kettle}"
    return f"{len(split.loads)} equal loads of {mass} in the {load.kettle}"


def _acid(mass_g: float, typed: Typed, tables: Tables) -> DoseAnswer | None:
    dose_frac = _percent(typed, "dose", "dose")
    product = typed.text("product")
    if f"{product}/strength" in tables.additives and f"{product}/density" in tables.additives:
        strength = tables.additives[f"{product}/strength"].value / 100
        density = tables.additives[f"{product}/density"].value
    else:
        typed.needed("strength", "Type the strength that stands on the bottle, such as 60 %.")
        typed.needed("density", "Type the density that stands on the bottle, such as 1.06.")
        strength = _percent(typed, "strength", "strength") or 0.0
        density = _figure(typed, "density", "density")
    if dose_frac is None or typed.errors:
        return None
    dose = acid(
        fibre_mass_g=mass_g, dose_frac_owf=dose_frac, strength_frac=strength, density_g_per_ml=density
    )
    lines = (f"{measured(dose.pure_mass_g)} g of pure acid.", "Acid into water, never water into acid.")
    return DoseAnswer(f"{measured(dose.volume_ml)} mL", lines, (dose.working,))


def _cautions(kind: str, tables: Tables) -> tuple[Caution, ...]:
    return cautions_for(tables, stage=STAGE_OF[kind])


urlpatterns = [path("doses/", page, name="doses")]
