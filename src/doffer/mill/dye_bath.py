"""What a dye recipe asks of a kettle: which loads, how much bath, what is measured into it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q

from doffer.errors import InfeasibleError, InputError, RefusedError
from doffer.mill import house
from doffer.mill.bridge import PPM, grams
from doffer.mill.models import DyeLoad, DyeRecipe, Lot, Machine, TubUse
from doffer.mill.usual import say_mass
from doffer.planning.kettles import Kettle, kettle_loads
from doffer.process.doses import MOST_FIBRE_G, acid, dye, salt_mass_g
from doffer.tables.loader import Tables

THOUSANDTHS = 1_000
G_PER_KG = 1_000
PERCENT = 100
LEAST_DOSE = 0.1  # g or mL; what a fine scale or a small cylinder still shows truly, common practice
ROUNDED_G = 5.0  # a weight that is typed to a hundredth of a kilogram is off by as much
_CAPACITY = re.compile(r"kg at (\d+(?:\.\d+)?):1")


@dataclass(frozen=True, slots=True)
class Load:
    """One kettle full: kettle, fibre [g], bath and what goes into it, in the order of adding.

    `stock_ml` is (dye, mL of stock solution); `acid_ml` is None for a powder; `top_up_l` is the water to
    add to what the fibre already holds.
    """

    kettle: str
    fibre_g: float
    liquor_l: float
    top_up_l: float
    stock_ml: tuple[tuple[str, float], ...]
    acid: str
    acid_pure_g: float
    acid_ml: float | None
    salt_g: float


def usable_l(machine: Machine) -> float | None:
    """Bath a kettle takes [L]: "3.6 kg at 30:1" is 108 L; None where its capacity is told otherwise."""
    match = _CAPACITY.fullmatch(machine.capacity_unit)
    if match is None or machine.capacity_milli is None:
        return None
    return machine.capacity_milli / THOUSANDTHS * float(match[1])


def kettles() -> tuple[Machine, ...]:
    """The mill's dye kettles, smallest first; one query."""
    return tuple(Machine.objects.filter(stage="dye", archived_at=None).order_by("capacity_milli", "id"))


def busy(*, lot: str = "") -> frozenset[str]:
    """Kettles that hold another lot than this one, or this one in a dyeing; one query."""
    taken = TubUse.objects.filter(out_at=None, machine__stage="dye").filter(~Q(lot__code=lot) | DYES_IN_IT)
    return frozenset(taken.values_list("machine__code", flat=True))


# a lot that stands in a kettle to be wetted out may be dyed there; one that is dyed there may not be again
DYES_IN_IT = Exists(
    DyeLoad.objects.filter(
        kettle=OuterRef("machine"),
        batch__lot=OuterRef("lot"),
        batch__begun_at__gte=OuterRef("in_at"),
        batch__undone=None,
    )
)


def refuse_taken(lot: Lot, machines: Sequence[Machine]) -> None:
    """One dyeing in a kettle until it is taken out; two queries.

    Raises
    ------
    RefusedError
        This lot is dyed in one of them: which, by which shade, how much.
    """
    uses = TubUse.objects.filter(DYES_IN_IT, out_at=None, lot=lot, machine__in=machines)
    found = list(uses.select_related("machine"))
    if not found:
        return
    reasons = []
    for use in found:
        rows = DyeLoad.objects.filter(kettle=use.machine, batch__lot=lot, batch__undone=None)
        load = rows.select_related("batch__recipe__shade").filter(batch__begun_at__gte=use.in_at).first()
        mass = say_mass(grams(load.fibre_mg), house.text("units"))
        reasons.append(f"{mass} of it is dyed {load.batch.recipe.shade.name} in {use.machine.name} now")
    mend = "Take that out first, choose another kettle, or take the other dyeing back if it was not done"
    raise RefusedError(f"{lot.code} is not dyed", tuple(reasons), mend)


def split(
    fibre_g: float, recipe: DyeRecipe, machines: Sequence[Machine], busy: frozenset[str]
) -> list[tuple]:
    """Equal loads for this much fibre in the free kettles, as (kettle, fibre g).

    Raises
    ------
    InfeasibleError
        No kettle with a known size is free.
    """
    _check_fibre(fibre_g)
    known = {m.code: litres for m in machines if (litres := usable_l(m))}
    if not known:
        mend = "Write its capacity as kg at 30:1"
        raise InfeasibleError("Dyeing this lot", "no kettle says how much it takes", mend)
    plan = kettle_loads(
        fibre_mass_g=fibre_g,
        liquor_ratio=recipe.liquor_ratio_milli / THOUSANDTHS,
        kettles=[Kettle(code, litres, code not in busy) for code, litres in known.items()],
    )
    return [(load.kettle, load.fibre_mass_g) for load in plan.loads]


def load_of(
    recipe: DyeRecipe, machine: Machine, fibre_g: float, *, wet_pickup_frac: float, tables: Tables
) -> Load:
    """What goes into one kettle.

    Raises
    ------
    InputError
        More fibre than the kettle takes at this liquor ratio, too little bath for the stock solutions, or so
        little fibre that a dose could not be measured.
    """
    _check_fibre(fibre_g)
    ratio = recipe.liquor_ratio_milli / THOUSANDTHS
    most_l = usable_l(machine)
    liquor_l = fibre_g / G_PER_KG * ratio
    if most_l is not None and liquor_l > most_l * FULL:
        allowed = f"at most {most_l / ratio:.2f} kg at {ratio:g}:1; split it into equal loads"
        raise InputError("fibre in the kettle", f"{fibre_g / G_PER_KG:.2f} kg", allowed, machine.name)
    doses = [
        (
            row.dye,
            dye(
                fibre_mass_g=fibre_g,
                depth_frac_owf=row.depth_owf_ppm / PPM,
                stock_g_per_100ml=recipe.stock_milli_g_per_100ml / THOUSANDTHS,
                liquor_ratio=ratio,
                wet_pickup_frac=wet_pickup_frac,
            ),
        )
        for row in recipe.dyes.all()
    ]
    stock_l = sum(dose.stock_volume_ml for _, dose in doses) / THOUSANDTHS
    top_up_l = liquor_l - stock_l - fibre_g / G_PER_KG * wet_pickup_frac
    if top_up_l < 0:
        allowed = f"large enough for {stock_l:.2f} L of stock solution; use a stronger stock or more water"
        raise InputError("liquor ratio", f"{ratio:g}:1", allowed)
    pure_g, volume_ml = _acid(recipe, fibre_g, tables)
    load = Load(
        kettle=machine.code,
        fibre_g=fibre_g,
        liquor_l=liquor_l,
        top_up_l=top_up_l,
        stock_ml=tuple((name, dose.stock_volume_ml) for name, dose in doses),
        acid=recipe.acid,
        acid_pure_g=pure_g,
        acid_ml=volume_ml,
        salt_g=salt_mass_g(fibre_mass_g=fibre_g, dose_frac_owf=recipe.salt_owf_ppm / PPM),
    )
    _check_measurable(load, tables)
    return load


def _check_fibre(fibre_g: float) -> None:
    """A weight that can be dyed at all; also refuses what is no number."""
    if not 0 < fibre_g <= MOST_FIBRE_G:
        allowed = f"a weight above zero and at most {MOST_FIBRE_G / G_PER_KG:g} kg"
        raise InputError("fibre to dye", f"{fibre_g / G_PER_KG:g} kg", allowed)


def acid_parts(tables: Tables) -> int:
    """In how many parts the acid goes in."""
    return max(1, round(tables.additives["acid/parts"].value))


def acid_powder_g(load: Load, tables: Tables) -> float:
    """Powder to weigh for the pure acid of a load [g] = pure acid / strength."""
    return load.acid_pure_g * PERCENT / tables.additives[f"{load.acid}/strength"].value


def _amounts(load: Load, tables: Tables) -> Iterator[tuple[str, float, str]]:
    """Everything that is measured for a load by itself: what, how much, g or mL."""
    for name, volume_ml in load.stock_ml:
        yield f"stock of {name}", volume_ml, "mL"
    if load.salt_g:
        yield "Glauber's salt", load.salt_g, "g"
    if load.acid_pure_g:
        name = f"one part of {tables.additives[f'{load.acid}/strength'].name}"
        amount = acid_powder_g(load, tables) if load.acid_ml is None else load.acid_ml
        yield name, amount / acid_parts(tables), "g" if load.acid_ml is None else "mL"


def _check_measurable(load: Load, tables: Tables) -> None:
    """No dose below what a scale shows: on a card it would stand as nothing."""
    small = min(_amounts(load, tables), key=lambda one: one[1], default=None)
    if small is None or small[1] >= LEAST_DOSE / FULL:
        return
    name, amount, unit = small
    least_g = math.ceil(load.fibre_g * LEAST_DOSE / amount)
    allowed = (
        f"at least {least_g} g with this recipe: for less, {name} is {amount:.2g} {unit}, "
        f"and {LEAST_DOSE:g} {unit} is the least that a scale or a measure shows"
    )
    raise InputError("fibre to dye", f"{load.fibre_g:.3g} g", allowed)


FULL = 1 + 1e-9  # a kettle that is exactly full is full, not overfull


def _acid(recipe: DyeRecipe, fibre_g: float, tables: Tables) -> tuple[float, float | None]:
    """Pure acid [g] and millilitres to measure; a powder has none."""
    dose_frac = recipe.acid_owf_ppm / PPM
    if not recipe.acid or not dose_frac:
        return 0.0, None
    density = tables.additives.get(f"{recipe.acid}/density")
    strength_frac = tables.additives[f"{recipe.acid}/strength"].value / PERCENT
    if density is None:
        return fibre_g * dose_frac, None
    dose = acid(
        fibre_mass_g=fibre_g,
        dose_frac_owf=dose_frac,
        strength_frac=strength_frac,
        density_g_per_ml=density.value,
    )
    return dose.pure_mass_g, dose.volume_ml
