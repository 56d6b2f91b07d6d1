"""Between the records and the science: integers and floats, rows and planner, own figures and tables."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import groupby
from typing import Any

from doffer.errors import InputError, TableError
from doffer.fibre.material import Constituent, Form
from doffer.fibre.moisture import Branch as AirBranch
from doffer.fibre.moisture import equilibrium_regain_frac
from doffer.fibre.weighing import constituent
from doffer.mill.models import Lot, LotPart, TableOverride
from doffer.mill.models.lots import Place
from doffer.mill.models.weighings import Branch
from doffer.planning.spec import LotStart, Wish
from doffer.process.settings.facts import Soundness
from doffer.tables.loader import Override, Tables, load_tables

MG_PER_G = 1_000
PPM = 1_000_000
NM_PER_UM = 1_000
CENTI = 100
ROUNDING_G = 0.5  # finish below this is the rounding of regain to parts per million
RAW_FORMS = frozenset({Form.GREASY, Form.SKIRTED})


def mg(mass_g: float) -> int:
    """Grams as whole milligrams."""
    return round(mass_g * MG_PER_G)


def grams(mass_mg: int) -> float:
    """Milligrams as grams."""
    return mass_mg / MG_PER_G


def maybe_grams(mass_mg: int | None) -> float | None:
    """Milligrams as grams; unknown stays unknown."""
    return None if mass_mg is None else mass_mg / MG_PER_G


def ppm(frac: float) -> int:
    """A share as whole parts per million."""
    return round(frac * PPM)


def maybe_frac(parts_ppm: int | None) -> float | None:
    """Parts per million as a share; unknown stays unknown."""
    return None if parts_ppm is None else parts_ppm / PPM


def overrides_in_force(until: datetime | None = None) -> tuple[Override, ...]:
    """The mill's own figures, now or at a moment: of each cell the newest row, unless that took it back."""
    newest: dict[tuple[str, str, str], str | None] = {}
    entries = TableOverride.objects.order_by("id")
    if until is not None:
        entries = entries.filter(made_at__lte=until)
    for table, row, column, value in entries.values_list("table", "row", "column", "value"):
        newest[table, row, column] = value
    return tuple(Override(*cell, value) for cell, value in sorted(newest.items()) if value is not None)


@lru_cache(maxsize=4)
def _tables_with(overrides: tuple[Override, ...]) -> tuple[Tables, tuple[str, ...]]:
    """The tables with own figures over them, and a sentence for each row of own figures that does not fit.

    After an update a shipped row may be gone or have another range: its own figures are left out and said,
    so that one of them never stops the mill.
    """
    tables = load_tables()
    try:
        return tables.override(overrides), ()
    except TableError:
        pass
    refused = []
    for _, row in groupby(overrides, key=lambda one: (one.table, one.row)):
        try:
            tables = tables.override(row)
        except TableError as problem:
            refused.append(str(problem))
    return tables, tuple(refused)


def current_tables() -> Tables:
    """The shipped tables with the mill's own figures over them; one query, built anew after a change."""
    return _tables_with(overrides_in_force())[0]


def tables_as_of(moment: datetime) -> Tables:
    """The rows shipped today with the own figures that counted at a moment; one query."""
    return _tables_with(overrides_in_force(moment))[0]


def own_figures_left_out() -> tuple[str, ...]:
    """Sentences about own figures that no longer fit the shipped tables; one query."""
    return _tables_with(overrides_in_force())[1]


def known_fibre(fibre: str, tables: Tables) -> str:
    """The fibre key, if the tables know it."""
    if fibre not in tables.fibres:
        raise InputError("fibre", fibre, f"one of {', '.join(tables.fibres)}")
    return fibre


def regain_of(
    fibre: str, *, form: str, branch: str, rh_frac: float | None, measured_frac: float | None, tables: Tables
) -> float | None:
    """Water over oven-dry fibre [frac] of a weighing, or None where the air says nothing about it.

    Raw fibre carries grease and dirt, wet fibre carries more water than the air gives: both have none. A room
    whose humidity nobody read is taken as the standard atmosphere, 65 % RH.
    """
    if form in RAW_FORMS or branch == Branch.WET:
        return None
    if branch == Branch.MEASURED:
        if measured_frac is None:
            raise InputError("measured water", None, "a share of the dry fibre such as 0.15")
        return measured_frac
    row = tables.fibres[fibre]
    if rh_frac is None:
        return row.regain65_pct / 100
    return equilibrium_regain_frac(
        tables, fibre, rh_frac=rh_frac, branch=AirBranch(branch or Branch.DESORPTION)
    )


def dry_mg_of(*, net_mg: int, finish_mg: int, regain_frac: float | None) -> int | None:
    """Oven-dry fibre [mg]: what lay on the scale less finish, over 1 + regain."""
    if regain_frac is None:
        return None
    return max(0, round((net_mg - finish_mg) / (1 + regain_frac)))


@dataclass(frozen=True, slots=True)
class Origin:
    """One door lot inside a lot, with its share of the oven-dry fibre [frac]."""

    lot: Lot
    share_frac: float


def origins_of(lots: Sequence[Lot]) -> dict[int, tuple[Origin, ...]]:
    """For each lot (by id) the door lots it is made of; a lot that was never joined is its own origin."""
    parts: dict[int, list[Origin]] = {}
    for part in (
        LotPart.objects.filter(lot__in=[lot.pk for lot in lots]).select_related("origin").order_by("id")
    ):
        parts.setdefault(part.lot_id, []).append(Origin(part.origin, part.share_ppm / PPM))
    return {lot.pk: tuple(parts.get(lot.pk, [Origin(lot, 1.0)])) for lot in lots}


def constituent_of(lot: Lot, tables: Tables) -> Constituent:
    """The fibre of a door lot: what was measured, else what is usual for its breed, else for its fibre."""
    return constituent(
        tables,
        lot=lot.code,
        fibre=lot.fibre,
        breed=tables.breeds.get(lot.breed),
        diameter_um=lot.diameter_nm / NM_PER_UM if lot.diameter_nm else None,
        diameter_sd_um=lot.diameter_sd_nm / NM_PER_UM if lot.diameter_nm and lot.diameter_sd_nm else None,
        staple_mm=float(lot.staple_mm) if lot.staple_mm else None,
    )


def _water_left_frac(lot: Lot, tables: Tables) -> float:
    """Water over dry fibre in a lot weighed wet whose dry weight nobody knows yet, by where it stands."""
    row = "water_after_wash" if lot.place in (Place.WASH, Place.DYE) else "water_after_extract"
    return tables.plan_defaults[row].value


def lot_start_of(lot: Lot, origins: Sequence[Origin], tables: Tables) -> LotStart:
    """A lot as it lies there, for the planner; wet fibre is taken at the dry mass that was known before."""
    kind = tables.breeds.get(lot.breed) or tables.fibres[lot.fibre]
    mass_g, regain_frac = grams(lot.now_mass_mg), maybe_frac(lot.now_regain_ppm)
    if regain_frac is None:
        regain_frac = tables.fibres[lot.fibre].regain65_pct / 100
        if lot.now_form not in RAW_FORMS and lot.now_dry_mg:
            mass_g = grams(lot.now_dry_mg) * (1 + regain_frac)
        elif lot.now_form not in RAW_FORMS and lot.now_mass_mg:
            mass_g *= (1 + regain_frac) / (1 + _water_left_frac(lot, tables))
    finish_g = 0.0
    if lot.now_form not in RAW_FORMS and lot.now_dry_mg is not None:
        finish_g = max(0.0, mass_g - grams(lot.now_dry_mg) * (1 + regain_frac))
    joined = len(origins) > 1 or origins[0].lot.pk != lot.pk
    return LotStart(
        part=constituent_of(lot, tables),
        form=Form(lot.now_form),
        weighed_mass_g=mass_g,
        actual_regain_frac=regain_frac,
        yields_as=kind.yields_as,
        finish_mass_g=finish_g if finish_g > ROUNDING_G else 0.0,
        blend=tuple((constituent_of(o.lot, tables), o.share_frac) for o in origins) if joined else (),
        soundness=weakest([lot.soundness, *(origin.lot.soundness for origin in origins)]),
    )


def weakest(words: Sequence[str]) -> Soundness:
    """The worst that was said of lots when their staple was snapped."""
    return max((Soundness(word) for word in words), key=list(Soundness).index)


def wish_from(plain: Mapping[str, Any]) -> Wish:
    """A wish from the JSON that an order keeps; InputError names a field that no wish has."""
    known = {field.name for field in dataclasses.fields(Wish)}
    unknown = set(plain) - known
    if unknown:
        raise InputError("wish", ", ".join(sorted(unknown)), f"described by {', '.join(sorted(known))}")
    return Wish(**plain)


def plain_wish(wish: Wish) -> dict[str, Any]:
    """A wish as plain JSON, without what is unsaid."""
    plain = {field.name: getattr(wish, field.name) for field in dataclasses.fields(Wish)}
    plain["shares"] = dict(wish.shares)
    plain["lot_shares"] = dict(wish.lot_shares)
    return {name: value for name, value in plain.items() if value not in (None, {})}
