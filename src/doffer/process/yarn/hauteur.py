"""Mean fibre length of combed tops, from tests of the greasy wool. Never for carded yarn or for alpaca."""

from __future__ import annotations

import math

from doffer.errors import InputError
from doffer.tables.loader import Tables


def top_hauteur_mm(
    tables: Tables,
    *,
    staple_mm: float,
    strength_n_per_ktex: float,
    diameter_um: float,
    mid_break_frac: float,
    vegetable_frac: float,
) -> float:
    """Hauteur to expect of a combed Merino top [mm]: ``0.52 SL + 0.47 SS + 0.95 D - 0.19 M - 0.45 VM - 3.5``.

    Parameters
    ----------
    tables : Tables
        Coefficients: yarn_figures; that of the staple is published, the others are from memory.
    staple_mm, strength_n_per_ktex, diameter_um : float
        Staple length, staple strength, mean diameter of the lot.
    mid_break_frac, vegetable_frac : float
        Share of staples that break in the middle, and of vegetable matter [frac]; the formula takes percent.

    References
    ----------
    TEAM 1988 (Handbook of Properties of Textile and Technical Fibres p. 71, extract; rest from memory).
    """
    for name, given in (("mid breaks", mid_break_frac), ("vegetable matter", vegetable_frac)):
        if not 0 <= given <= 1:
            raise InputError(name, given, "a fraction from 0 to 1")
    if not staple_mm > 0 or not strength_n_per_ktex > 0 or not diameter_um > 0:
        raise InputError("test", (staple_mm, strength_n_per_ktex, diameter_um), "above zero each")
    weight = {item: tables.yarn_figures[f"hauteur/{item}"].value for item in _ITEMS}
    return (
        weight["staple"] * staple_mm
        + weight["strength"] * strength_n_per_ktex
        + weight["diameter"] * diameter_um
        + weight["mid_breaks"] * 100 * mid_break_frac
        + weight["vegetable"] * 100 * vegetable_frac
        + weight["level"]
    )


_ITEMS = ("staple", "strength", "diameter", "mid_breaks", "vegetable", "level")


def barbe_mm(*, hauteur_mm: float, hauteur_cv_frac: float) -> float:
    """Mean length by mass [mm] from that by number: ``B = H (1 + CV_H^2)``. IWTO-17, from memory; arithmetic.

    >>> round(barbe_mm(hauteur_mm=70, hauteur_cv_frac=0.45), 1)
    84.2
    """
    if not hauteur_mm > 0 or not hauteur_cv_frac >= 0:
        raise InputError(
            "hauteur", (hauteur_mm, hauteur_cv_frac), "above zero, with a spread of zero or more"
        )
    return hauteur_mm * (1 + hauteur_cv_frac**2)


def hauteur_cv_frac(*, hauteur_mm: float, barbe_mm: float) -> float:
    """Spread of lengths by number [frac] from hauteur and barbe: ``CV_H = sqrt(B / H - 1)``."""
    if not hauteur_mm > 0 or not barbe_mm >= hauteur_mm:
        raise InputError("barbe", barbe_mm, "at least the hauteur, and that above zero")
    return math.sqrt(barbe_mm / hauteur_mm - 1)
