"""Fibre that is told of but not weighed in: what is not said is usual for its breed, else for its fibre."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.fibre.kinds import Kind
from doffer.fibre.material import Constituent, Form
from doffer.planning.spec import LotStart
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Expected:
    """Fibre that is announced but not weighed in yet, as the owner told it."""

    lot: str
    words: str
    fibre: str
    yields_as: str
    form: str
    mass_g: float
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float


def expected_fibre(
    kind: Kind,
    *,
    lot: str,
    form: str,
    mass_g: float,
    diameter_um: float | None = None,
    staple_mm: float | None = None,
) -> Expected:
    """Fibre told on the telephone: what is not known is usual for its breed, else for its fibre."""
    breed, row = kind.breed, kind.fibre
    usual_um = breed.diameter_um if breed else row.diameter_um
    cv_frac = breed.diameter_sd_um / breed.diameter_um if breed else row.diameter_cv_pct / 100
    return Expected(
        lot=lot,
        words=breed.name if breed else row.name,
        fibre=row.fibre,
        yields_as=breed.yields_as if breed else row.yields_as,
        form=form,
        mass_g=mass_g,
        diameter_um=diameter_um or usual_um,
        diameter_cv_frac=cv_frac,
        staple_mm=float(staple_mm or (breed.staple_mm if breed else row.staple_mm)),
        staple_cv_frac=row.staple_cv_pct / 100,
    )


def start_of_expected(told: Expected, tables: Tables) -> LotStart:
    """Announced fibre as the planner reads it; clean fibre is taken at the standard atmosphere."""
    part = Constituent(
        lot=told.lot,
        fibre=told.fibre,
        diameter_um=told.diameter_um,
        diameter_cv_frac=told.diameter_cv_frac,
        staple_mm=told.staple_mm,
        staple_cv_frac=told.staple_cv_frac,
    )
    regain = tables.fibres[told.fibre].regain65_pct / 100
    return LotStart(part, Form(told.form), told.mass_g, regain, told.yields_as)
