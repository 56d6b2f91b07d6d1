"""Scoured yield of core-tested greasy wool, as the wool trade counts it."""

from __future__ import annotations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables
from doffer.working import Term, Working

YIELD_DECIMALS = 3  # the trade prints yields to 0.1 %, and multiplies the printed figure


def iwto_scoured_yield_frac(
    tables: Tables, *, wool_base_frac: float, vm_base_frac: float, basis: str = "scoured_16"
) -> float:
    """Scoured mass at trade regain over greasy mass [frac], rounded to 0.1 % as it is printed and used.

    ``Y = (WB + VMB)(1 + R) / (1 - g)``: WB wool base and VMB vegetable matter base, oven-dry over greasy;
    R the trade regain of table regain (iwto_trade); g the residual grease and ash of table constants
    (IWTO-19, from memory; it reproduces a published worked example).

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> iwto_scoured_yield_frac(load_tables(), wool_base_frac=0.60, vm_base_frac=0.01)
    0.724

    """
    for name, value in (("wool base", wool_base_frac), ("vegetable matter base", vm_base_frac)):
        if not 0 <= value <= 1:
            raise InputError(name, value, "a fraction from 0 to 1")
    if wool_base_frac + vm_base_frac > 1:
        raise InputError(
            "wool base and vegetable matter", wool_base_frac + vm_base_frac, "at most 1 together"
        )
    regain = tables.regain[f"wool/{basis}/iwto_trade"].regain_pct / 100
    residual = tables.constants["iwto_residual"].value / 100
    return round((wool_base_frac + vm_base_frac) * (1 + regain) / (1 - residual), YIELD_DECIMALS)


def combined_yield_frac(*, greasy_mass_g: Floats, yield_fracs: Floats) -> float:
    """Yield of joined lots [frac]: clean over greasy, ``sum m_i y_i / sum m_i``; arrays of shape (k,)."""
    if np.any(greasy_mass_g < 0) or float(greasy_mass_g.sum()) <= 0:
        raise InputError(
            "greasy weight", greasy_mass_g.tolist(), "zero or more each, more than zero together"
        )
    return float(greasy_mass_g @ yield_fracs / greasy_mass_g.sum())


def iwto_clean_mass_working(
    tables: Tables,
    *,
    greasy_mass_g: float,
    wool_base_frac: float,
    vm_base_frac: float,
    basis: str = "scoured_16",
) -> Working:
    """Clean wool [g] to expect from greasy wool by its core test, with its working."""
    found = iwto_scoured_yield_frac(
        tables, wool_base_frac=wool_base_frac, vm_base_frac=vm_base_frac, basis=basis
    )
    residual = tables.constants["iwto_residual"]
    regain = tables.regain[f"wool/{basis}/iwto_trade"]
    return Working(
        title="Scoured weight by core test",
        formula="scoured = greasy × (wool base + VM base) × (1 + regain) ÷ (1 − residual), yield to 0.1 %",
        inputs=(
            Term("greasy weight", greasy_mass_g, "g"),
            Term("wool base", wool_base_frac, "frac"),
            Term("vegetable matter base", vm_base_frac, "frac"),
            Term("trade regain", regain.regain_pct / 100, "frac"),
            Term("residual grease and ash", residual.value / 100, "frac"),
            Term("scoured yield", found, "frac"),
        ),
        result=Term("scoured weight", greasy_mass_g * found, "g"),
        source=tables.sources[residual.source].title,
        status=residual.status,
        note=residual.note,
    )
