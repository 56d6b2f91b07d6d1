"""The dye kitchen at a glance: tubs and racks, dye recipes, dyeings with their tufts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from doffer.errors import InfeasibleError, NotFoundError
from doffer.mill import bridge, clock, dye_bath
from doffer.mill.bridge import CENTI, PPM
from doffer.mill.dye_bath import THOUSANDTHS, Load
from doffer.mill.models import ColourReading, DyeBatch, DyeRecipe, Lot, Machine, TubUse
from doffer.mill.queries.lots import Lab, LotRow, held_now, lab_of, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.sittings import Sitting, sittings
from doffer.mill.to_dye import ToDye, to_dye

TUB_STAGES = ("wash", "dye", "extract", "set", "dry", "rest")


@dataclass(frozen=True, slots=True)
class InTub:
    """A lot in a tub or on a rack: which bath of how many, since when, what comes next and when.

    `is_due` says that the next step should have begun.
    """

    use: int
    lot: str
    owner: str
    owner_name: str
    lab: Lab | None
    fibre: str
    mass_g: float
    n_baths: int
    bath: int
    what: str
    in_at: datetime
    bath_since: datetime
    next_step: str
    due_at: datetime | None
    is_due: bool
    due_in: timedelta | None
    note: str


@dataclass(frozen=True, slots=True)
class TubRow:
    """A tub, kettle or rack and what is in it; a rack may hold several lots. `usable_l` only of kettles."""

    code: str
    name: str
    stage: str
    capacity: float | None
    capacity_unit: str
    usable_l: float | None
    inside: tuple[InTub, ...]

    @property
    def is_free(self) -> bool:
        """Nothing is in it."""
        return not self.inside


@dataclass(frozen=True, slots=True)
class DyeRow:
    """One dye of a recipe, its depth on the weight of fibre [frac]."""

    dye: str
    depth_frac_owf: float


@dataclass(frozen=True, slots=True)
class DyeRecipeRow:
    """A dye recipe; the newest version of a shade counts. `steps` as `commands.kitchen.DyeStep` in plain."""

    shade: str
    shade_name: str
    version: int
    name: str
    dyes: tuple[DyeRow, ...]
    acid: str
    acid_frac_owf: float
    salt_frac_owf: float
    liquor_ratio: float
    stock_g_per_100ml: float
    ph: float | None
    steps: tuple[dict[str, Any], ...]
    note: str
    made_at: datetime
    made_by: str

    @property
    def minutes(self) -> float:
        """All steps together."""
        return float(sum(step["minutes"] for step in self.steps))


@dataclass(frozen=True, slots=True)
class RecipeCard:
    """A dye recipe worked out for an amount of fibre: its loads, or why it cannot be dyed now."""

    recipe: DyeRecipeRow
    fibre_g: float
    loads: tuple[Load, ...]
    why_not: str


@dataclass(frozen=True, slots=True)
class LoadRow:
    """One kettle full as recorded, with the sittings of its tufts, newest first."""

    id: int
    number: int
    kettle: str
    kettle_name: str
    fibre_g: float
    liquor_l: float
    top_up_l: float
    stock_ml: tuple[tuple[str, float], ...]
    acid_pure_g: float
    salt_g: float
    sittings: tuple[Sitting, ...]


@dataclass(frozen=True, slots=True)
class Undone:
    """A dyeing that was taken back: when, by whom, why."""

    at: datetime
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class DyeingRow:
    """One dyeing in a list; `undone` where it was taken back and counts no more."""

    id: int
    lot: str
    shade: str
    shade_name: str
    version: int
    begun_at: datetime
    n_loads: int
    fibre_g: float
    person: str
    note: str
    undone: Undone | None


@dataclass(frozen=True, slots=True)
class OneDyeing:
    """A dyeing with its recipe and loads."""

    row: DyeingRow
    recipe: DyeRecipeRow
    loads: tuple[LoadRow, ...]


def tubs() -> tuple[TubRow, ...]:
    """Every tub, kettle and rack of the mill with what is in it; two queries and one for the baths."""
    now = clock.now()
    machines = Machine.objects.filter(archived_at=None, stage__in=TUB_STAGES).order_by("id")
    inside: dict[int, list[InTub]] = {}
    uses = TubUse.objects.filter(out_at=None).select_related("lot__customer").prefetch_related("baths")
    for use in uses.order_by("id"):
        inside.setdefault(use.machine_id, []).append(_in_tub(use, now))
    return tuple(
        TubRow(
            code=machine.code,
            name=machine.name,
            stage=machine.stage,
            capacity=None if machine.capacity_milli is None else machine.capacity_milli / THOUSANDTHS,
            capacity_unit=machine.capacity_unit,
            usable_l=dye_bath.usable_l(machine),
            inside=tuple(inside.get(machine.pk, ())),
        )
        for machine in machines
    )


@dataclass(frozen=True, slots=True)
class DueBath:
    """What is to be done next at a tub, kettle or rack, and when; `is_due` when it should have begun."""

    machine: str
    machine_name: str
    lot: str
    next_step: str
    due_at: datetime
    is_due: bool


def due_baths() -> tuple[DueBath, ...]:
    """What is due next in all of them, the most overdue first, fifty at most; two queries."""
    now = clock.now()
    uses = TubUse.objects.filter(out_at=None, machine__archived_at=None).select_related("machine", "lot")
    newest = [
        (use, max(use.baths.all(), key=lambda one: one.number)) for use in uses.prefetch_related("baths")
    ]
    due = [
        DueBath(
            use.machine.code, use.machine.name, use.lot.code, bath.next_step, bath.due_at, bath.due_at <= now
        )
        for use, bath in newest
        if bath.due_at is not None
    ]
    return tuple(sorted(due, key=lambda one: one.due_at)[:ROWS_A_PAGE])


def _in_tub(use: TubUse, now: datetime) -> InTub:
    bath = max(use.baths.all(), key=lambda one: one.number)
    lot = use.lot
    return InTub(
        use=use.pk,
        lot=lot.code,
        owner=lot.customer.code,
        owner_name=lot.customer.name,
        lab=lab_of(lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi),
        fibre=lot.fibre,
        mass_g=bridge.grams(lot.now_mass_mg),
        n_baths=use.n_baths,
        bath=bath.number,
        what=bath.what,
        in_at=use.in_at,
        bath_since=bath.began_at,
        next_step=bath.next_step,
        due_at=bath.due_at,
        is_due=bath.due_at is not None and bath.due_at <= now,
        due_in=None if bath.due_at is None else bath.due_at - now,
        note=use.note,
    )


def dye_recipes(*, shade: str = "") -> tuple[DyeRecipeRow, ...]:
    """The recipe that counts of every shade, or all versions of one, newest first; two queries."""
    rows = DyeRecipe.objects.select_related("shade", "made_by").prefetch_related("dyes").order_by("-version")
    if shade:
        return tuple(_recipe_row(row) for row in rows.filter(shade__code=shade)[:ROWS_A_PAGE])
    newest: dict[int, DyeRecipe] = {}
    for row in rows.filter(shade__archived_at=None):
        newest.setdefault(row.shade_id, row)
    return tuple(_recipe_row(row) for _, row in sorted(newest.items()))[:ROWS_A_PAGE]


def _recipe_row(row: DyeRecipe) -> DyeRecipeRow:
    return DyeRecipeRow(
        shade=row.shade.code,
        shade_name=row.shade.name,
        version=row.version,
        name=row.name,
        dyes=tuple(DyeRow(one.dye, one.depth_owf_ppm / PPM) for one in row.dyes.all()),
        acid=row.acid,
        acid_frac_owf=row.acid_owf_ppm / PPM,
        salt_frac_owf=row.salt_owf_ppm / PPM,
        liquor_ratio=row.liquor_ratio_milli / THOUSANDTHS,
        stock_g_per_100ml=row.stock_milli_g_per_100ml / THOUSANDTHS,
        ph=None if row.ph_centi is None else row.ph_centi / CENTI,
        steps=tuple(row.steps),
        note=row.note,
        made_at=row.made_at,
        made_by=row.made_by.name,
    )


def recipe_card(
    shade: str,
    *,
    fibre_g: float,
    version: int | None = None,
    wet_pickup_frac: float = 0.0,
    kettle: str = "",
    lot: str = "",
) -> RecipeCard:
    """A recipe worked out for conditioned fibre [g], in equal loads of the free kettles or of the one named.

    A kettle that holds this lot already counts as free, unless it is dyed in it.

    Raises
    ------
    NotFoundError
        No recipe of this shade, or no such kettle.
    InputError
        More than the named kettle takes, or too little to measure a dose for.
    """
    rows = DyeRecipe.objects.select_related("shade", "made_by").prefetch_related("dyes")
    rows = rows.filter(shade__code=shade, **({"version": version} if version else {}))
    recipe = rows.order_by("-version").first()
    if recipe is None:
        raise NotFoundError("dye recipe of this shade", version or shade, "Write one down first")
    machines = {machine.code: machine for machine in dye_bath.kettles()}
    if kettle and kettle not in machines:
        raise NotFoundError("kettle", kettle, f"There are {', '.join(machines)}")
    busy = dye_bath.busy(lot=lot)
    tables = bridge.current_tables()
    try:
        split = [(kettle, fibre_g)] if kettle else dye_bath.split(fibre_g, recipe, [*machines.values()], busy)
    except InfeasibleError as cannot:
        return RecipeCard(_recipe_row(recipe), fibre_g, (), str(cannot))
    loads = tuple(
        dye_bath.load_of(recipe, machines[code], grams, wet_pickup_frac=wet_pickup_frac, tables=tables)
        for code, grams in split
    )
    return RecipeCard(_recipe_row(recipe), fibre_g, loads, "")


def dyeings(*, lot: str = "", shade: str = "", after: int | None = None) -> Page[DyeingRow]:
    """Dyeings, newest first, fifty a page; two queries."""
    rows = DyeBatch.objects.select_related("lot", "recipe__shade", "person", "undone__person")
    rows = rows.prefetch_related("loads")
    if lot:
        rows = rows.filter(lot__code=lot)
    if shade:
        rows = rows.filter(recipe__shade__code=shade)
    if after is not None:
        rows = rows.filter(pk__lt=after)
    return page_of([(row.pk, _dyeing_row(row)) for row in rows.order_by("-pk")[: ROWS_A_PAGE + 1]])


def _dyeing_row(row: DyeBatch) -> DyeingRow:
    loads = list(row.loads.all())
    undone = getattr(row, "undone", None)
    return DyeingRow(
        id=row.pk,
        lot=row.lot.code,
        shade=row.recipe.shade.code,
        shade_name=row.recipe.shade.name,
        version=row.recipe.version,
        begun_at=row.begun_at,
        n_loads=len(loads),
        fibre_g=bridge.grams(sum(load.fibre_mg for load in loads)),
        person=row.person.name,
        note=row.note,
        undone=None if undone is None else Undone(undone.undone_at, undone.person.name, undone.reason),
    )


def lot_to_dye(code: str) -> tuple[LotRow, ToDye]:
    """A lot before the kettle: its row, what was dyed of it, what waits for it; eight queries at most."""
    lot = Lot.objects.filter(code=code).first()
    if lot is None:
        raise NotFoundError("lot", code, "Search the list of lots or scan the tag")
    ((_, row),) = rows_of(Lot.objects.filter(pk=lot.pk), held_now())
    return row, to_dye(lot)


def one_dyeing(dyeing: int) -> OneDyeing:
    """A dyeing with loads and tufts; NotFoundError when there is none."""
    rows = DyeBatch.objects.select_related(
        "lot", "recipe__shade", "recipe__made_by", "person", "undone__person"
    )
    row = rows.prefetch_related("loads__kettle", "recipe__dyes").filter(pk=dyeing).first()
    if row is None:
        raise NotFoundError("dyeing", dyeing, "Look in the list of dyeings")
    loads = sorted(row.loads.all(), key=lambda load: load.number)
    by_load: dict[int, list[Sitting]] = {}
    for one in sittings(ColourReading.objects.filter(load__in=loads)):
        by_load.setdefault(one.load or 0, []).append(one)
    return OneDyeing(
        row=_dyeing_row(row),
        recipe=_recipe_row(row.recipe),
        loads=tuple(_load_row(load, by_load.get(load.pk, ())) for load in loads),
    )


def _load_row(load: Any, found: Iterable[Sitting]) -> LoadRow:
    return LoadRow(
        id=load.pk,
        number=load.number,
        kettle=load.kettle.code,
        kettle_name=load.kettle.name,
        fibre_g=bridge.grams(load.fibre_mg),
        liquor_l=load.liquor_ml / THOUSANDTHS,
        top_up_l=load.top_up_ml / THOUSANDTHS,
        stock_ml=tuple((name, volume_ml) for name, volume_ml in load.stock_ml),
        acid_pure_g=bridge.grams(load.acid_mg),
        salt_g=bridge.grams(load.salt_mg),
        sittings=tuple(sorted(found, key=lambda one: one.turn, reverse=True)),
    )
