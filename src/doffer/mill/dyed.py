"""Which dyeings took all of a lot, and how much of a lot lies dyed beside the rest of it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from doffer.fibre.moisture import agreed_mass_g, agreed_regain_frac
from doffer.mill import bridge
from doffer.mill.models import DyeBatch, Lot, RunInput, Weighing
from doffer.mill.models.weighings import Moment
from doffer.tables.loader import Tables

DYE = "dye"
WHOLE_FRAC = 0.98  # a scale and the air may be that far off; more is a part left undyed


@dataclass(frozen=True, slots=True)
class LotDyeing:
    """One dyeing of a lot: its loads, and whether they took all that the lot was when it was begun."""

    batch: int
    lot: int
    shade: str
    begun_at: datetime
    loads: frozenset[int]
    fibre_mg: int
    lot_mg: int
    is_whole: bool


def dyeings_of(lots: Collection[int]) -> dict[int, tuple[LotDyeing, ...]]:
    """The dyeings of lots (by id), the oldest first; four queries, one where nothing was dyed.

    One that was taken back is none.
    """
    rows = DyeBatch.objects.filter(lot__in=lots, undone=None).select_related("lot", "recipe__shade")
    batches = list(rows.prefetch_related("loads").order_by("begun_at", "pk"))
    if not batches:
        return {}
    weighed = Weighing.objects.filter(lot__in={row.lot_id for row in batches}, corrected_by=None)
    by_lot: dict[int, list[Weighing]] = {}
    for one in weighed.order_by("weighed_at", "pk"):
        by_lot.setdefault(one.lot_id, []).append(one)
    tables = bridge.current_tables()
    found: dict[int, list[LotDyeing]] = {}
    for row in batches:
        found.setdefault(row.lot_id, []).append(_dyeing(row, by_lot.get(row.lot_id, ()), tables))
    return {lot: tuple(dyeings) for lot, dyeings in found.items()}


def _dyeing(row: DyeBatch, weighed: Iterable[Weighing], tables: Tables) -> LotDyeing:
    loads = list(row.loads.all())
    fibre_mg = sum(load.fibre_mg for load in loads)
    lot_mg, dry_mg = _stood(row.lot, [one for one in weighed if one.weighed_at <= row.begun_at])
    # a kettle is dosed for the agreed weight of the fibre, which a damp lot exceeds on the scale
    regain = agreed_regain_frac(tables, row.lot.fibre)
    agreed_g = agreed_mass_g(dry_mass_g=bridge.grams(dry_mg), agreed_regain_frac=regain)
    all_mg = min(lot_mg, bridge.mg(agreed_g)) if dry_mg else lot_mg
    return LotDyeing(
        batch=row.pk,
        lot=row.lot_id,
        shade=row.recipe.shade.name,
        begun_at=row.begun_at,
        loads=frozenset(load.pk for load in loads),
        fibre_mg=fibre_mg,
        lot_mg=lot_mg,
        is_whole=fibre_mg >= WHOLE_FRAC * all_mg,
    )


def _stood(lot: Lot, weighed: Sequence[Weighing]) -> tuple[int, int]:
    """What a lot weighed after these weighings, and its oven-dry fibre (0: not known) [mg]."""
    mass_mg, dry_mg = 0, 0
    for one in weighed:
        if one.moment == Moment.WASTE:
            continue
        if one.moment == Moment.IN:
            rest_mg = max(0, mass_mg - one.net_mg)
            dry_mg = round(dry_mg * rest_mg / mass_mg) if mass_mg else 0
            mass_mg = rest_mg
        else:
            mass_mg, dry_mg = one.net_mg, one.dry_mg or 0
    return (mass_mg, dry_mg) if mass_mg else (lot.now_mass_mg, lot.now_dry_mg or 0)


def dyed_apart(lots: Sequence[Lot], dyed: dict[int, tuple[LotDyeing, ...]]) -> dict[int, int]:
    """By lot, fibre of kettle loads that still counts in a lot with an undyed rest [mg]; one query.

    What left the lot since then, or went through a run of dyeing, counts as the dyed fibre.
    """
    parts = {lot.pk: [one for one in dyed.get(lot.pk, ()) if not one.is_whole] for lot in lots}
    parts = {lot: rows for lot, rows in parts.items() if rows}
    if not parts:
        return {}
    runs = RunInput.objects.filter(lot__in=parts, run__stage=DYE)
    ran = list(runs.values_list("lot_id", "run__recorded_at", "mass_mg"))
    found = {}
    for lot in lots:
        if lot.pk in parts:
            first, rows = parts[lot.pk][0], parts[lot.pk]
            gone_mg = max(0, first.lot_mg - lot.now_mass_mg)
            run_mg = sum(mass for of, at, mass in ran if of == lot.pk and at >= first.begun_at)
            apart_mg = sum(one.fibre_mg for one in rows) - max(gone_mg, run_mg)
            found[lot.pk] = min(max(0, apart_mg), lot.now_mass_mg)
    return {lot: mass for lot, mass in found.items() if mass}


def undyed_dry(lots: Sequence[Lot], dyed: dict[int, tuple[LotDyeing, ...]] | None = None) -> dict[int, int]:
    """By lot, its oven-dry fibre that has the colour of the lot [mg]: all but what lies dyed apart.

    A lot whose dry fibre nobody knows is not in it.
    """
    apart = dyed_apart(lots, dyeings_of([lot.pk for lot in lots]) if dyed is None else dyed)
    return {
        lot.pk: lot.now_dry_mg - round(apart.get(lot.pk, 0) * lot.now_dry_mg / lot.now_mass_mg)
        if lot.now_mass_mg
        else 0
        for lot in lots
        if lot.now_dry_mg is not None
    }
