"""Between the records and the science: integers and floats, rows and `Material`, own figures and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Constituent, Form, Material
from doffer.fibre.moisture import Branch as AirBranch
from doffer.fibre.moisture import equilibrium_regain_frac
from doffer.mill.models import Lot, LotPart, TableOverride
from doffer.mill.models.weighings import Branch
from doffer.tables.loader import Override, Tables, load_tables

MG_PER_G = 1_000
PPM = 1_000_000
NM_PER_UM = 1_000
CENTI = 100
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


def overrides_in_force() -> tuple[Override, ...]:
    """The mill's own figures: of each cell the newest row, unless that row took it back."""
    newest: dict[tuple[str, str, str], str | None] = {}
    for table, row, column, value in TableOverride.objects.order_by("id").values_list(
        "table", "row", "column", "value"
    ):
        newest[table, row, column] = value
    return tuple(Override(*cell, value) for cell, value in sorted(newest.items()) if value is not None)


@lru_cache(maxsize=4)
def _tables_with(overrides: tuple[Override, ...]) -> Tables:
    return load_tables().override(overrides)


def current_tables() -> Tables:
    """The shipped tables with the mill's own figures over them; one query, built anew after a change."""
    return _tables_with(overrides_in_force())


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
    fibre = tables.fibres[lot.fibre]
    breed = tables.breeds.get(lot.breed)
    diameter_um = (
        lot.diameter_nm / NM_PER_UM if lot.diameter_nm else breed.diameter_um if breed else fibre.diameter_um
    )
    if lot.diameter_nm and lot.diameter_sd_nm:
        cv_frac = lot.diameter_sd_nm / lot.diameter_nm
    elif breed:
        cv_frac = breed.diameter_sd_um / breed.diameter_um
    else:
        cv_frac = fibre.diameter_cv_pct / 100
    return Constituent(
        lot=lot.code,
        fibre=lot.fibre,
        diameter_um=diameter_um,
        diameter_cv_frac=cv_frac,
        staple_mm=float(lot.staple_mm or (breed.staple_mm if breed else fibre.staple_mm)),
        staple_cv_frac=fibre.staple_cv_pct / 100,
    )


def clean_share_of(lot: Lot, tables: Tables) -> tuple[float, float, float]:
    """Low, usual and high clean yield of a raw lot [frac], by its breed, else its fibre.

    A range given only by its ends has its middle as the usual value; a single figure is all three.
    """
    breed = tables.breeds.get(lot.breed)
    row = tables.scour_yields[breed.yields_as if breed else tables.fibres[lot.fibre].yields_as]
    given = [p for p in (row.yield_low_pct, row.yield_mode_pct, row.yield_high_pct) if p is not None]
    low, high = given[0], given[-1]
    mode = row.yield_mode_pct if row.yield_mode_pct is not None else (low + high) / 2
    return low / 100, mode / 100, high / 100


def material_of(
    lot: Lot, origins: Sequence[Origin], tables: Tables, *, clean_share_fracs: Floats | None = None
) -> Material:
    """A lot as it stands, for the planner.

    Clean fibre is taken dry as it was weighed. Raw fibre is estimated: clean share times mass, less the water
    of the standard atmosphere; the rest is grease, dirt and vegetable matter. `clean_share_fracs`, shape
    (n,), gives samples of that share; without it the usual yield is taken as certain (n = 1).
    """
    regain_frac = maybe_frac(lot.now_regain_ppm)
    if regain_frac is None:
        regain_frac = tables.fibres[lot.fibre].regain65_pct / 100
    mass_g = grams(lot.now_mass_mg)
    if lot.now_form in RAW_FORMS:
        clean = np.array([clean_share_of(lot, tables)[1]]) if clean_share_fracs is None else clean_share_fracs
        total_g = mass_g * clean / (1 + regain_frac)
        foreign_g = np.maximum(0.0, mass_g - total_g * (1 + regain_frac))
    else:
        known_g = maybe_grams(lot.now_dry_mg)
        total_g = np.array([mass_g / (1 + regain_frac) if known_g is None else known_g])
        foreign_g = np.zeros_like(total_g)
    shares = np.array([origin.share_frac for origin in origins])[:, None]
    return Material(
        constituents=tuple(constituent_of(origin.lot, tables) for origin in origins),
        dry_mass_g=shares * total_g,
        foreign_mass_g=shares * foreign_g,
        finish_mass_g=np.zeros((len(origins), total_g.size)),
        actual_regain_frac=regain_frac,
        form=Form(lot.now_form),
    )
