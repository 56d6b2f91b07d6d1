"""How thick a strand is, how many times it goes round a ruler, how bulky and how strong it may be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.tables.loader import Tables
from doffer.working import Status

TEX_PER_MM2_G_CM3 = 1000.0  # a square millimetre of 1 g/cm3 weighs so many grams in 1000 m


def diameter_mm(*, count_tex: float, packing_frac: float, density_g_cm3: float) -> float:
    """Diameter of a round strand [mm]: ``d = sqrt(4 tex / (1000 pi rho phi))``.

    That is ``0.03568 sqrt(tex / (rho phi))``.

    Parameters
    ----------
    count_tex : float
        Count [tex], > 0.
    packing_frac : float
        phi, share of the section that is fibre, 0 to 1; table yarn_figures, from memory.
    density_g_cm3 : float
        rho of the fibre.

    References
    ----------
    Geometry. The published ``4.44e-2 sqrt(tex / rho)`` (from memory) is phi = 0.646, a hard worsted.

    Examples
    --------
    >>> round(diameter_mm(count_tex=435, packing_frac=0.5, density_g_cm3=1.31), 2)
    0.92

    """
    _check_above_zero("count", count_tex)
    if not 0 < packing_frac <= 1:
        raise InputError("packing", packing_frac, "above 0 and up to 1")
    _check_above_zero("density", density_g_cm3)
    return math.sqrt(4 * count_tex / (math.pi * TEX_PER_MM2_G_CM3 * density_g_cm3 * packing_frac))


def packing_frac(*, count_tex: float, diameter_mm: float, density_g_cm3: float) -> float:
    """Share of the section that is fibre, from a measured diameter; the inverse of `diameter_mm`."""
    _check_above_zero("diameter", diameter_mm)
    return 4 * count_tex / (math.pi * TEX_PER_MM2_G_CM3 * density_g_cm3 * diameter_mm**2)


def bulk_cm3_per_g(*, packing_frac: float, density_g_cm3: float) -> float:
    """Bulk of a yarn [cm3/g]: ``v = 1 / (rho phi)``. Geometry."""
    _check_above_zero("packing", packing_frac)
    _check_above_zero("density", density_g_cm3)
    return 1 / (density_g_cm3 * packing_frac)


class Wrapping(StrEnum):
    """How wraps are laid on the ruler; a count of wraps without it is worthless."""

    RELAXED = "relaxed"
    TIGHT = "tight"


def wraps_per_inch(
    tables: Tables, *, count_tex: float, method: Wrapping, own_factor: float | None = None
) -> float:
    """Wraps per inch: ``W = K / sqrt(tex)``, K by the method of wrapping.

    Relaxed K is strikingly constant over the middle classes of a published chart (258 to 272), tight K 2.3
    times as large: table yarn_figures, computed from charts.

    Parameters
    ----------
    tables : Tables
    count_tex : float
        Finished count [tex].
    method : Wrapping
    own_factor : float or None
        K of this person, from one yarn of known count (`wraps_constant`).

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> round(wraps_per_inch(load_tables(), count_tex=435, method=Wrapping.RELAXED), 1)
    12.7

    """
    _check_above_zero("count", count_tex)
    k = tables.yarn_figures[f"wraps/{method}"].value if own_factor is None else own_factor
    return k / math.sqrt(count_tex)


def wraps_constant(*, wraps_per_inch: float, count_tex: float) -> float:
    """K of one person and method from a yarn of known count: ``K = W sqrt(tex)``."""
    _check_above_zero("wraps", wraps_per_inch)
    _check_above_zero("count", count_tex)
    return wraps_per_inch * math.sqrt(count_tex)


def count_from_wraps_tex(
    tables: Tables, *, wraps_per_inch: float, method: Wrapping, own_factor: float | None = None
) -> float:
    """Count that would wrap so often [tex]: ``(K / W)^2``; a rough guess, one wrap more or less is 15 %."""
    _check_above_zero("wraps", wraps_per_inch)
    k = tables.yarn_figures[f"wraps/{method}"].value if own_factor is None else own_factor
    return (k / wraps_per_inch) ** 2


@dataclass(frozen=True, slots=True)
class StrengthGuess:
    """A coarse estimate of breaking force [cN] with its range; never for a label."""

    force_cn: float
    low_force_cn: float
    high_force_cn: float
    status: Status = Status.MEMORY
    words: str = "estimate, to 40 % either way; break twenty lengths on a spring balance instead"


def strength_guess(tables: Tables, *, count_tex: float, system: str) -> StrengthGuess:
    """Breaking force of a yarn [cN]: ``F = tenacity x tex``, tenacity from memory (table yarn_figures).

    Thin places govern and are not in it.
    """
    _check_above_zero("count", count_tex)
    force_cn = tables.yarn_figures[f"tenacity/{system}"].value * count_tex
    error = tables.yarn_figures["tenacity_error/any"].value
    return StrengthGuess(force_cn, force_cn * (1 - error), force_cn * (1 + error))


def strength_kept_frac(tables: Tables, *, angle_rad: float) -> float:
    """Share of a fibre bundle's strength left in a twisted staple yarn: ``cos^2 a (1 - k / sin a)``.

    a is the surface angle, k about 0.05 to 0.15 and not known (Hearle et al. 1969, from memory, unverified).
    Zero where the twist is too low to hold: ``sin a <= k``.
    """
    k = tables.yarn_figures["slip/any"].value
    sine = math.sin(angle_rad)
    return max(0.0, math.cos(angle_rad) ** 2 * (1 - k / sine)) if sine > 0 else 0.0


def _check_above_zero(name: str, given: float) -> None:
    if not given > 0:
        raise InputError(name, given, "above zero")
