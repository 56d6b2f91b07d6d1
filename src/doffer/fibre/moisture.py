"""Water in fibre: three regains that are never confused, and the masses that follow from them.

*Actual* regain is the water in the fibre now, *equilibrium* regain is where a room would bring it,
*agreed* regain is what a law or a contract counts. All are water over OVEN-DRY fibre; moisture *content*
is water over wet fibre.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

import numpy as np

from doffer.errors import InputError, NotFoundError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables
from doffer.tables.rows import Regain
from doffer.working import STATUS_WORDS, Status, Term, Working, percent

MOST_REGAIN_FRAC = 5.0  # wetter than dripping fleece: a typing error or a percentage taken as a fraction
CARDED = "carded"
FORMS_TRIED = ("any", CARDED, "staple", "normal")  # a table row for the form asked comes first, then these

N = TypeVar("N", float, Floats)


class Branch(StrEnum):
    """Which way fibre came to the room: drying after the wash, or taking up water after a dry store."""

    ABSORPTION = "absorption"
    DESORPTION = "desorption"


def regain_from_content_frac(content_frac: float) -> float:
    """Regain (water / dry) from moisture content (water / wet): ``R = C / (1 - C)`` [frac].

    Examples
    --------
    >>> round(regain_from_content_frac(0.12), 4)
    0.1364

    """
    if not 0 <= content_frac < 1:
        raise InputError("moisture content", content_frac, "a fraction from 0 to below 1")
    return content_frac / (1 - content_frac)


def content_from_regain_frac(regain_frac: float) -> float:
    """Moisture content (water / wet) from regain (water / dry): ``C = R / (1 + R)`` [frac]."""
    _check_regain("regain", regain_frac)
    return regain_frac / (1 + regain_frac)


def dry_mass_g(*, weighed_mass_g: N, actual_regain_frac: float, rides_along_frac: float = 0.0) -> N:
    """Oven-dry clean fibre [g] from what the scale shows: ``d = m / (1 + R) x (1 - g)``.

    Parameters
    ----------
    weighed_mass_g : float or ndarray
        Net mass m as weighed [g], >= 0.
    actual_regain_frac : float
        R, water in it now over dry fibre [frac].
    rides_along_frac : float
        g, residual grease and oil as a share of the dry mass [frac], 0 to below 1.
    """
    _check_regain("actual regain", actual_regain_frac)
    if not 0 <= rides_along_frac < 1:
        raise InputError("grease and oil", rides_along_frac, "a fraction from 0 to below 1")
    if np.any(np.asarray(weighed_mass_g) < 0):
        raise InputError("weight", float(np.min(weighed_mass_g)), "zero or more")
    return weighed_mass_g * ((1 - rides_along_frac) / (1 + actual_regain_frac))


def weighed_mass_g(*, dry_mass_g: N, actual_regain_frac: float) -> N:
    """What a scale shows [g] for oven-dry fibre with its water: ``m = d (1 + R)``."""
    _check_regain("actual regain", actual_regain_frac)
    return dry_mass_g * (1 + actual_regain_frac)


def agreed_mass_g(*, dry_mass_g: N, agreed_regain_frac: float) -> N:
    """Mass [g] that counts for trade and labels: ``m_a = d (1 + R_a)``, whatever water is in it now."""
    _check_regain("agreed regain", agreed_regain_frac)
    return dry_mass_g * (1 + agreed_regain_frac)


def agreed_regain(tables: Tables, fibre: str, *, form: str = CARDED, basis: str = "eu_agreed") -> Regain:
    """Table row of a fibre's agreed regain; when the form is not listed, the row for any form.

    Raises
    ------
    NotFoundError
        Unknown fibre, or no agreed regain on this basis.
    """
    kind = tables.fibres.get(fibre)
    if kind is None:
        raise NotFoundError("fibre", fibre)
    for tried in (form, *FORMS_TRIED):
        row = tables.regain.get(f"{kind.agreed_as}/{tried}/{basis}")
        if row is not None:
            return row
    raise NotFoundError(
        "agreed regain", f"{fibre} ({basis})", "Enter the mill's own figure or choose another basis"
    )


def agreed_regain_frac(tables: Tables, fibre: str, *, form: str = CARDED, basis: str = "eu_agreed") -> float:
    """Agreed regain of a fibre [frac]; see `agreed_regain`."""
    return agreed_regain(tables, fibre, form=form, basis=basis).regain_pct / 100


def blend_agreed_regain_frac(*, dry_shares: Floats, agreed_regain_fracs: Floats) -> float:
    """Agreed regain of a blend [frac]: ``R = sum x_f R_f``, x_f OVEN-DRY shares summing to 1, shape (k,)."""
    if np.any(dry_shares < 0) or abs(float(dry_shares.sum()) - 1) > SHARE_SUM_TOLERANCE:
        raise InputError("dry shares", dry_shares.tolist(), "zero or more each, summing to 1")
    return float(dry_shares @ agreed_regain_fracs)


def hank_regain_frac(*, hank_mass_g: float, hank_dry_mass_g: float) -> float:
    """Actual regain in the room from a hank whose oven-dry mass is known: ``R = m / d - 1`` [frac].

    Replaces the moisture curve for fibre of like history; its error cancels.
    """
    if not 0 < hank_dry_mass_g <= hank_mass_g:
        raise InputError(
            "reference hank", hank_mass_g, f"at least its oven-dry mass of {hank_dry_mass_g:g} g"
        )
    return hank_mass_g / hank_dry_mass_g - 1


def equilibrium_regain_frac(
    tables: Tables, fibre: str, *, rh_frac: N, branch: Branch = Branch.DESORPTION
) -> N:
    """Regain that a fibre takes on in a room of relative humidity a [frac], at about 20 C.

    Keratin (wool, alpaca, mohair, angora ...): ``R = Wm C K a / ((1 - K a)(1 + (C - 1) K a))`` by branch.
    Other fibres: ``R = f R65 a (1/(p + a) + 1/(q - a))``, no branch known. Constants: table sorption
    (from memory; about +-1 percentage point, other temperatures and medullated fibre up to another
    point).

    Raises
    ------
    InputError
        Humidity outside the range of the curve (never extrapolated in silence).
    """
    kind = tables.fibres.get(fibre)
    if kind is None:
        raise NotFoundError("fibre", fibre)
    low, high = (_constant(tables, kind.curve, "any", f"rh_{end}_frac") for end in ("low", "high"))
    given = np.asarray(rh_frac)
    if np.any(given < low) or np.any(given > high):
        raise InputError(
            "relative humidity",
            rh_frac,
            f"from {percent(low)} to {percent(high)}, the range of the moisture curve",
        )
    if kind.curve == "normalised":
        factor, p, q = (_constant(tables, kind.curve, "any", c) for c in ("factor", "low_pole", "high_pole"))
        return rh_frac * factor * (kind.regain65_pct / 100) * (1 / (p + rh_frac) + 1 / (q - rh_frac))
    wm, c, k = (_constant(tables, kind.curve, branch, name) for name in ("wm", "c", "k"))
    ka = rh_frac * k
    return wm * c * ka / ((1 - ka) * (1 + (c - 1) * ka))


@dataclass(frozen=True, slots=True)
class RoomRegain:
    """Equilibrium regain in a room [frac]: the branch asked for, the span of both, and the working."""

    regain_frac: float
    low_frac: float
    high_frac: float
    branch: Branch
    working: Working


def room_regain(
    tables: Tables, fibre: str, *, rh_frac: float, branch: Branch = Branch.DESORPTION
) -> RoomRegain:
    """Equilibrium regain with its working; low and high are the two branches (equal where none are known)."""
    both = {b: equilibrium_regain_frac(tables, fibre, rh_frac=rh_frac, branch=b) for b in Branch}
    kind = tables.fibres[fibre]
    row = tables.sorption["keratin/desorption/wm" if kind.curve == "keratin" else "normalised/any/factor"]
    if kind.curve == "keratin":
        formula = "R = Wm·C·K·a ÷ ((1 − K·a)(1 + (C − 1)·K·a)), a = relative humidity"
        names = [(f"{branch}", name) for name in ("wm", "c", "k")]
    else:
        formula = "R = f·R65·a·(1/(p + a) + 1/(q − a)), a = relative humidity"
        names = [("any", name) for name in ("factor", "low_pole", "high_pole")]
    constants = tuple(Term(name, _constant(tables, kind.curve, b, name)) for b, name in names)
    way = (
        "drying, as after washing" if branch is Branch.DESORPTION else "taking up water, as from a dry store"
    )
    up, down = (percent(both[b], digits=1) for b in (Branch.ABSORPTION, Branch.DESORPTION))
    working = Working(
        title=f"Water in {kind.name} in this room ({way})",
        formula=formula,
        inputs=(Term("relative humidity", rh_frac, "frac"), *constants),
        result=Term("equilibrium regain", both[branch], "frac", "water over oven-dry fibre"),
        source=tables.sources[row.source].title,
        status=row.status,
        note=f"{row.note}. Taking up {up}, drying {down}",
    )
    return RoomRegain(both[branch], min(both.values()), max(both.values()), branch, working)


def agreed_mass_working(
    tables: Tables, *, fibre: str, dry_mass_g: float, form: str = CARDED, basis: str = "eu_agreed"
) -> Working:
    """Agreed mass of oven-dry fibre [g] with its working: which basis, on whose word."""
    row = agreed_regain(tables, fibre, form=form, basis=basis)
    agreed = row.regain_pct / 100
    mass = agreed_mass_g(dry_mass_g=dry_mass_g, agreed_regain_frac=agreed)
    return Working(
        title=f"Agreed weight ({BASIS_WORDS.get(basis, basis)})",
        formula="agreed weight = oven-dry weight × (1 + agreed regain)",
        inputs=(
            Term("oven-dry weight", dry_mass_g, "g"),
            Term("agreed regain", agreed, "frac", f"{row.fibre}, {row.form}; {STATUS_WORDS[row.status]}"),
        ),
        result=Term("agreed weight", mass, "g"),
        source=", ".join(part for part in (tables.sources[row.source].title, row.place) if part),
        status=row.status,
        note=row.note,
    )


BASIS_WORDS = {
    "eu_agreed": "EU agreed allowance",
    "us_commercial": "US commercial regain",
    "us_d2118": "US standard for wool",
    "iwto_trade": "wool trade, scoured",
    "oven_dry": "oven-dry",
}
SHARE_SUM_TOLERANCE = 1e-9  # shares come from a division; 1e-9 is far below 1 mg in 100 kg


def dry_mass_working(
    *, weighed_mass_g: float, actual_regain_frac: float, source: str, status: Status
) -> Working:
    """Oven-dry mass [g] with its working; `source` and `status` say where the regain comes from."""
    mass = dry_mass_g(weighed_mass_g=weighed_mass_g, actual_regain_frac=actual_regain_frac)
    return Working(
        title="Oven-dry weight",
        formula="oven-dry weight = net weight ÷ (1 + regain)",
        inputs=(
            Term("net weight", weighed_mass_g, "g"),
            Term("regain now", actual_regain_frac, "frac", "water over oven-dry fibre"),
        ),
        result=Term("oven-dry weight", mass, "g"),
        source=source,
        status=status,
    )


def _constant(tables: Tables, curve: str, branch: str, name: str) -> float:
    """A constant of a moisture curve."""
    return tables.sorption[f"{curve}/{branch}/{name}"].value


def _check_regain(name: str, regain_frac: float) -> None:
    """A regain is a fraction that can be; 17 for 17 % is refused."""
    if not 0 <= regain_frac < MOST_REGAIN_FRAC:
        raise InputError(name, regain_frac, f"a fraction from 0 to below {MOST_REGAIN_FRAC:g} (17 % is 0.17)")
