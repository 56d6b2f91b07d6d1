"""From a weighing to fibre: clean oven-dry mass with its range, and the material a plan starts with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Constituent, Form, Material
from doffer.fibre.moisture import (
    BASIS_WORDS,
    Branch,
    agreed_mass_g,
    agreed_mass_working,
    agreed_regain,
    dry_mass_g,
    dry_mass_working,
    room_regain,
    weighed_mass_g,
)
from doffer.tables.loader import Tables
from doffer.tables.rows import Breed
from doffer.working import Working

SHOWN_BASES = ("eu_agreed", "us_commercial")


@dataclass(frozen=True, slots=True)
class AgreedMass:
    """Mass that counts on one basis [g], with its working."""

    basis: str
    words: str
    mass_g: float
    working: Working


@dataclass(frozen=True, slots=True)
class CleanWeighing:
    """Clean fibre on the scale: net, oven-dry with the span of both branches, and agreed masses [g]."""

    net_mass_g: float
    actual_regain_frac: float
    dry_mass_g: float
    dry_low_g: float
    dry_high_g: float
    agreed: tuple[AgreedMass, ...]
    working: Working


def weigh_clean(
    tables: Tables,
    *,
    fibre: str,
    gross_mass_g: float,
    tare_mass_g: float,
    rh_frac: float,
    branch: Branch = Branch.DESORPTION,
) -> CleanWeighing:
    """Clean fibre that came to rest in a room: net, oven-dry and agreed masses, each saying its basis.

    ``d = (gross - tare) / (1 + R)``, R the equilibrium regain of the room on the branch (drying, as after
    washing, unless the lot was stored dry). Low and high are the two branches; the truth lies between.
    """
    if not 0 <= tare_mass_g <= gross_mass_g:
        raise InputError("tare", tare_mass_g, f"from 0 to the gross weight of {gross_mass_g:g} g")
    room = room_regain(tables, fibre, rh_frac=rh_frac, branch=branch)
    net = gross_mass_g - tare_mass_g
    dry, low, high = (
        dry_mass_g(weighed_mass_g=net, actual_regain_frac=regain)
        for regain in (room.regain_frac, room.high_frac, room.low_frac)
    )
    agreed = tuple(_agreed(tables, fibre, dry, basis) for basis in SHOWN_BASES)
    working = dry_mass_working(
        weighed_mass_g=net,
        actual_regain_frac=room.regain_frac,
        source=room.working.source,
        status=room.working.status,
    )
    nested = Working(
        title=working.title,
        formula=working.formula,
        inputs=working.inputs,
        result=working.result,
        source=working.source,
        status=working.status,
        note=f"between {low / 1000:.3f} kg (drying) and {high / 1000:.3f} kg (taking up water)",
        parts=(room.working,),
    )
    return CleanWeighing(net, room.regain_frac, dry, low, high, agreed, nested)


def constituent(
    tables: Tables,
    *,
    lot: str,
    fibre: str,
    breed: Breed | None = None,
    diameter_um: float | None = None,
    diameter_sd_um: float | None = None,
    staple_mm: float | None = None,
) -> Constituent:
    """One lot's fibre: what was measured, else what is typical of the breed, else of the fibre."""
    kind = tables.fibres[fibre]
    typical_um = breed.diameter_um if breed else kind.diameter_um
    typical_cv = breed.diameter_sd_um / breed.diameter_um if breed else kind.diameter_cv_pct / 100
    mean = typical_um if diameter_um is None else diameter_um
    if mean <= 0:
        raise InputError("mean diameter", mean, "above zero")
    return Constituent(
        lot=lot,
        fibre=fibre,
        diameter_um=mean,
        diameter_cv_frac=typical_cv if diameter_sd_um is None else diameter_sd_um / mean,
        staple_mm=staple_mm or (breed.staple_mm if breed else kind.staple_mm),
        staple_cv_frac=kind.staple_cv_pct / 100,
    )


def greasy_material(
    tables: Tables,
    part: Constituent,
    *,
    raw_mass_g: float,
    washed_yield_fracs: Floats,
    actual_regain_frac: float | None = None,
    form: Form = Form.GREASY,
) -> Material:
    """A lot in the grease: clean oven-dry fibre from its washed yield, the rest foreign.

    ``d = raw x yield / (1 + R_agreed)``; foreign = raw - d (1 + R_now), so that the scale reads
    `raw_mass_g`.

    Parameters
    ----------
    raw_mass_g : float
        Net mass in the grease as weighed [g], >= 0.
    washed_yield_fracs : ndarray, shape (n,)
        Washed mass at agreed regain over raw mass [frac], n samples of what it may be, each above 0 to 1.
    actual_regain_frac : float or None
        Water now over clean dry fibre [frac]; None: as agreed.

    Raises
    ------
    InputError
        Yields or masses that cannot be, or more water than the raw mass leaves room for.
    """
    if raw_mass_g < 0:
        raise InputError("raw weight", raw_mass_g, "zero or more")
    if np.any(washed_yield_fracs <= 0) or np.any(washed_yield_fracs > 1):
        raise InputError("washed yield", float(np.max(washed_yield_fracs)), "above 0 and at most 1 (100 %)")
    agreed = agreed_regain(tables, part.fibre).regain_pct / 100
    now = agreed if actual_regain_frac is None else actual_regain_frac
    dry = (raw_mass_g * washed_yield_fracs / (1 + agreed))[None, :]
    foreign = raw_mass_g - weighed_mass_g(dry_mass_g=dry, actual_regain_frac=now)
    if np.any(foreign < -ROUNDING_FRAC * max(raw_mass_g, 1.0)):
        raise InputError("regain now", now, "low enough for fibre and its water to fit into the raw weight")
    return Material((part,), dry, np.maximum(foreign, 0.0), np.zeros_like(dry), now, form)


def clean_material(
    part: Constituent,
    *,
    weighed_mass_g: float,
    actual_regain_frac: float,
    finish_mass_g: float = 0.0,
    form: Form = Form.SCOURED,
) -> Material:
    """A clean lot as weighed: ``d = (m - finish) / (1 + R_now)``, nothing foreign on it, certain (n = 1)."""
    if not 0 <= finish_mass_g <= weighed_mass_g:
        raise InputError("finish", finish_mass_g, f"from 0 to the weight of {weighed_mass_g:g} g")
    dry = dry_mass_g(weighed_mass_g=weighed_mass_g - finish_mass_g, actual_regain_frac=actual_regain_frac)
    cell = np.array([[dry]])
    return Material((part,), cell, np.zeros_like(cell), np.array([[finish_mass_g]]), actual_regain_frac, form)


ROUNDING_FRAC = 1e-9  # of the mass: what floating point may leave below zero


def _agreed(tables: Tables, fibre: str, dry: float, basis: str) -> AgreedMass:
    row = agreed_regain(tables, fibre, basis=basis)
    return AgreedMass(
        basis=basis,
        words=f"{BASIS_WORDS[basis]} {row.regain_pct:g} %",
        mass_g=agreed_mass_g(dry_mass_g=dry, agreed_regain_frac=row.regain_pct / 100),
        working=agreed_mass_working(tables, fibre=fibre, dry_mass_g=dry, basis=basis),
    )
