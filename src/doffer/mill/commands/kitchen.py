"""The dye kitchen: recipes by shade, dyeings load by load."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta

from doffer.errors import InputError, NotFoundError
from doffer.mill import bridge, clock, dye_bath
from doffer.mill.booking import announce, done_before, lot_of, remember
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.commands.join import refuse_held
from doffer.mill.commands.shades import shade_of
from doffer.mill.commands.tubs import occupy
from doffer.mill.dye_bath import ROUNDED_G, THOUSANDTHS, Load
from doffer.mill.models import DyeBatch, DyeLoad, DyeRecipe, DyeRecipeDye, Lot, Machine
from doffer.mill.to_dye import DyeingQuestionError, to_dye
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.loader import Tables

LEAST_DEPTH_FRAC, MOST_DEPTH_FRAC = 1 / PPM, 0.15
UNEQUAL_G = 1.0
DYEING = "dyeing"  # how the first bath of a kettle that a dyeing took begins
MOST_NOTE = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class DyeStep:
    """One step at the kettle: what, how long, up to which temperature, how fast."""

    what: str
    minutes: float
    temperature_c: float | None = None
    ramp_c_per_min: float | None = None

    def __post_init__(self) -> None:
        if not self.what.strip() or self.minutes <= 0:
            raise InputError("step", self.what, "named, with minutes above zero")
        if self.temperature_c is not None and not 0 < self.temperature_c <= BOILING_C:
            raise InputError(
                "temperature", f"{self.temperature_c:g} °C", f"above 0 and at most {BOILING_C} °C"
            )
        if self.ramp_c_per_min is not None and not 0 < self.ramp_c_per_min <= STEEPEST_C_PER_MIN:
            allowed = f"above 0 and at most {STEEPEST_C_PER_MIN} °C a minute"
            raise InputError("heating", f"{self.ramp_c_per_min:g} °C a minute", allowed)


BOILING_C = 100
STEEPEST_C_PER_MIN = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class DyeRecipeFacts:
    """How a shade is dyed.

    Parameters
    ----------
    dyes : tuple of (str, float)
        Dyes in the order of adding, each with its depth on the weight of fibre [frac].
    acid : str
        citric_powder, vinegar_5, acetic_56 or acetic_80 of table additives; "" for none.
    acid_frac_owf, salt_frac_owf : float
        Pure acid and Glauber's salt on the weight of fibre [frac].
    liquor_ratio : float
        Litres of bath to one kilogram of fibre.
    stock_g_per_100ml : float
        Strength of the stock solutions.
    """

    dyes: tuple[tuple[str, float], ...]
    acid: str = ""
    acid_frac_owf: float = 0.0
    salt_frac_owf: float = 0.0
    liquor_ratio: float = 30.0
    stock_g_per_100ml: float = 1.0
    ph: float | None = None
    steps: tuple[DyeStep, ...] = ()
    name: str = ""
    note: str = ""

    def check(self, tables: Tables) -> None:
        """Refuse figures that no dyer means."""
        if not self.dyes:
            raise InputError("dyes", "", "one or more, each with its depth in % on the weight of fibre")
        for name, depth_frac in self.dyes:
            if not name.strip() or not LEAST_DEPTH_FRAC <= depth_frac <= MOST_DEPTH_FRAC:
                allowed = (
                    f"named, with a depth of at least {LEAST_DEPTH_FRAC:.4%} "
                    f"and at most {MOST_DEPTH_FRAC:.0%} of the fibre"
                )
                raise InputError("dye", f"{name} {depth_frac:.3%}", allowed)
        acids = [row.additive for row in tables.additives.values() if row.quantity == "strength"]
        if self.acid and self.acid not in acids:
            raise InputError("acid", self.acid, f"one of {', '.join(acids)}")
        for field, value, high in (("acid", self.acid_frac_owf, 0.2), ("salt", self.salt_frac_owf, 1.0)):
            if not 0 <= value <= high:
                given = f"{value * 100:g} %"
                raise InputError(field, given, f"from 0 to {high * 100:g} % on the weight of fibre")
        for field, value, low, high, unit in (
            ("liquor ratio", self.liquor_ratio, 5.0, 100.0, " L of bath to 1 kg of fibre"),
            ("stock solution", self.stock_g_per_100ml, 0.05, 20.0, " g in 100 mL"),
            ("pH", self.ph if self.ph is not None else 7.0, 1.0, 14.0, ""),
        ):
            if not low <= value <= high:
                raise InputError(field, f"{value:g}", f"from {low:g} to {high:g}{unit}")


@dataclass(frozen=True, slots=True)
class Dyed:
    """A dyeing as it is kept: its number, its loads with their numbers, and what to look out for."""

    id: int
    loads: tuple[tuple[int, Load], ...]
    remarks: tuple[str, ...]


def write_dye_recipe(
    by: Person | None, shade: str, facts: DyeRecipeFacts, *, key: uuid.UUID | None = None
) -> int:
    """The next version of the dye recipe of a shade; gives its version number."""
    person = require(by, Right.SHADES)
    facts.check(bridge.current_tables())
    with write():
        body: dict[str, object] = {"shade": shade, "facts": repr(facts)}
        earlier = done_before(key, "write_dye_recipe", body)
        if earlier:
            return int(str(earlier["version"]))
        row = shade_of(shade)
        last = row.dye_recipes.order_by("-version").first()
        recipe = DyeRecipe.objects.create(
            shade=row,
            version=last.version + 1 if last else 1,
            name=facts.name,
            acid=facts.acid,
            acid_owf_ppm=bridge.ppm(facts.acid_frac_owf),
            salt_owf_ppm=bridge.ppm(facts.salt_frac_owf),
            liquor_ratio_milli=round(facts.liquor_ratio * THOUSANDTHS),
            stock_milli_g_per_100ml=round(facts.stock_g_per_100ml * THOUSANDTHS),
            ph_centi=None if facts.ph is None else round(facts.ph * CENTI),
            steps=[asdict(step) for step in facts.steps],
            note=facts.note,
            made_at=clock.now(),
            made_by=person,
        )
        DyeRecipeDye.objects.bulk_create(
            DyeRecipeDye(recipe=recipe, place=place, dye=name.strip(), depth_owf_ppm=round(depth * PPM))
            for place, (name, depth) in enumerate(facts.dyes, start=1)
        )
        announce(person, "shade", shade, f"dye recipe {recipe.version} of {row.name}")
        remember(key, "write_dye_recipe", body, {"version": recipe.version}, person)
        return recipe.version


def begin_dyeing(
    by: Person | None,
    *,
    lot: str,
    shade: str,
    version: int | None = None,
    fibre_g: float | None = None,
    loads: Sequence[tuple[str, float]] = (),
    wet_pickup_frac: float = 0.0,
    note: str = "",
    decision: str = "",
    is_now: bool = True,
    key: uuid.UUID | None = None,
) -> Dyed:
    """Record that a lot is dyed, with what goes into every kettle; its kettles hold it from now on.

    Parameters
    ----------
    fibre_g : float or None
        Conditioned fibre [g]; None: the whole lot as it was weighed last, less what was dyed of it before.
    loads : sequence of (kettle, g)
        As they were really split; empty: equal loads in the kettles that are free.
    wet_pickup_frac : float
        Water the wetted-out fibre holds, over its mass [frac].
    decision : str
        Who decided, and why, that fibre is dyed which was dyed already or which a released mix waits for.
    is_now : bool
        False for a dyeing that is written down afterwards: then no kettle is taken.

    Raises
    ------
    InputError
        A kettle too small, more fibre than the lot has, or so little that a dose cannot be measured.
    InfeasibleError
        No kettle is free.
    RefusedError
        The lot is on hold, or another lot or another dyeing of this one is in the kettle.
    DyeingQuestionError
        Some of that fibre was dyed already, or a released mix waits for it: asked until there is a decision.
    """
    person = require(by, Right.KITCHEN)
    with write():
        body: dict[str, object] = {
            "dyeing": [lot, shade, version, fibre_g, list(loads), wet_pickup_frac, note, decision, is_now]
        }
        earlier = done_before(key, "begin_dyeing", body)
        row = lot_of(lot)
        recipe = _recipe(shade, version)
        if earlier:
            return _again(DyeBatch.objects.get(pk=earlier["dyeing"]))
        refuse_held([row], f"{lot} is not dyed")
        mass_g = _mass_g(row, fibre_g, loads, decision)
        machines = {machine.code: machine for machine in dye_bath.kettles()}
        split = list(loads) or dye_bath.split(mass_g, recipe, list(machines.values()), dye_bath.busy(lot=lot))
        used = [_kettle(machines, kettle) for kettle, _ in split]
        if is_now:
            dye_bath.refuse_taken(row, used)
        made = _made(recipe, used, [grams for _, grams in split], wet_pickup_frac)
        batch = DyeBatch.objects.create(
            lot=row, recipe=recipe, begun_at=clock.now(), note=_with(note, decision), person=person
        )
        kept = [_keep(batch, machines, number, load) for number, load in enumerate(made, start=1)]
        if is_now:
            _take_kettles(person, batch, used)
        announce(person, "lot", lot, f"dyed {recipe.shade.name} in {len(kept)} loads"[:300])
        remember(key, "begin_dyeing", body, {"dyeing": batch.pk}, person)
        return Dyed(batch.pk, tuple(zip(kept, made, strict=True)), _remarks(made))


def _recipe(shade: str, version: int | None) -> DyeRecipe:
    rows = shade_of(shade).dye_recipes.select_related("shade").prefetch_related("dyes")
    recipe = (rows.filter(version=version) if version else rows).order_by("-version").first()
    if recipe is None:
        raise NotFoundError("dye recipe of this shade", version or shade, "Write one down first")
    return recipe


def _made(
    recipe: DyeRecipe, used: Sequence[Machine], fibre_g: Sequence[float], wet_pickup_frac: float
) -> list[Load]:
    """What goes into each kettle."""
    tables = bridge.current_tables()
    return [
        dye_bath.load_of(recipe, kettle, grams, wet_pickup_frac=wet_pickup_frac, tables=tables)
        for kettle, grams in zip(used, fibre_g, strict=True)
    ]


def _kettle(machines: dict[str, Machine], code: str) -> Machine:
    if code not in machines:
        raise NotFoundError("kettle", code, f"There are {', '.join(machines)}")
    return machines[code]


def _take_kettles(person: Person, batch: DyeBatch, used: Sequence[Machine]) -> None:
    """The lot stands in each of its kettles, load after load, until somebody takes it out."""
    lot, recipe, at = batch.lot, batch.recipe, batch.begun_at
    minutes = sum(float(step["minutes"]) for step in recipe.steps)
    due_at = at + timedelta(minutes=minutes) if minutes else None
    for machine, n_loads in Counter(used).items():
        load = ", first load" if n_loads > 1 else ""
        what = f"{DYEING} {recipe.shade.name}"[:60] + load
        occupy(person, machine, lot, what=what, n_baths=n_loads, due_at=due_at, at=at)


def _mass_g(lot: Lot, fibre_g: float | None, loads: Sequence[tuple[str, float]], decision: str) -> float:
    """Fibre to dye [g]: at most what the lot weighs; none that is dyed or promised without a decision."""
    there = to_dye(lot)
    have_g = bridge.grams(lot.now_mass_mg)
    rest_g = have_g - (there.most_g - there.undyed_g)
    mass_g = sum(grams for _, grams in loads) if loads else (rest_g if rest_g > 0 else have_g)
    mass_g = mass_g if loads or fibre_g is None else fibre_g
    if not 0 < mass_g <= there.most_g + ROUNDED_G:
        raise InputError(
            "fibre to dye", f"{mass_g:g} g", f"above 0 and at most the {there.most_g:.0f} g of {lot.code}"
        )
    doubts = there.doubts(mass_g)
    if doubts and not decision.strip():
        raise DyeingQuestionError(lot.code, doubts)
    return mass_g


def _with(note: str, decision: str) -> str:
    """Note and decision as one; what was decided is never cut off."""
    said = f"decided: {decision.strip()}"[:MOST_NOTE] if decision.strip() else ""
    return "; ".join(filter(None, (said, note.strip())))[:MOST_NOTE]


def _keep(batch: DyeBatch, machines: dict[str, Machine], number: int, load: Load) -> int:
    return DyeLoad.objects.create(
        batch=batch,
        number=number,
        kettle=machines[load.kettle],
        fibre_mg=bridge.mg(load.fibre_g),
        liquor_ml=round(load.liquor_l * THOUSANDTHS),
        top_up_ml=round(load.top_up_l * THOUSANDTHS),
        stock_ml=[[name, round(volume_ml, 2)] for name, volume_ml in load.stock_ml],
        acid_mg=bridge.mg(load.acid_pure_g),
        salt_mg=bridge.mg(load.salt_g),
    ).pk


def _remarks(loads: Sequence[Load]) -> tuple[str, ...]:
    remarks = []
    masses_g = [load.fibre_g for load in loads]
    if max(masses_g) - min(masses_g) > UNEQUAL_G:
        remarks.append("The loads differ in weight: unequal loads exhaust differently. Read each by itself.")
    if len(loads) > 1:
        remarks.append("Loads of a small kettle often differ by 2 to 8 in colour: read five tufts of each.")
    return tuple(remarks)


def _again(batch: DyeBatch) -> Dyed:
    """A dyeing that was kept before, as it was told then."""
    rows = batch.loads.select_related("kettle", "batch__recipe").order_by("number")
    loads = [(row.pk, load_as_kept(row)) for row in rows]
    return Dyed(batch.pk, tuple(loads), _remarks([load for _, load in loads]))


def load_as_kept(row: DyeLoad) -> Load:
    """A load from its record; millilitres of acid follow from the tables of today and are left out."""
    return Load(
        kettle=row.kettle.code,
        fibre_g=bridge.grams(row.fibre_mg),
        liquor_l=row.liquor_ml / THOUSANDTHS,
        top_up_l=row.top_up_ml / THOUSANDTHS,
        stock_ml=tuple((name, volume_ml) for name, volume_ml in row.stock_ml),
        acid=row.batch.recipe.acid,
        acid_pure_g=bridge.grams(row.acid_mg),
        acid_ml=None,
        salt_g=bridge.grams(row.salt_mg),
    )
