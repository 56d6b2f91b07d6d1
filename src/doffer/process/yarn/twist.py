"""Twist: factors, turns, the angle of the fibres, how much a single shortens, and which way it goes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.fibre.count import YARD_M
from doffer.process.yarn.dimensions import diameter_mm
from doffer.tables.loader import Tables

INCH_M = YARD_M / 36  # exact
TEX_OF_NM = 1000.0  # tex = 1000 / Nm, by definition
MM_M = 1000.0


class Direction(StrEnum):
    """Way of the turns, by the slope in the middle of the letter."""

    Z = "Z"
    S = "S"

    @property
    def opposite(self) -> Direction:
        """The other way."""
        return Direction.S if self is Direction.Z else Direction.Z


class FactorKind(StrEnum):
    """Which twist factor is meant; they differ by 22 to 1000 times."""

    ALPHA_METRIC = "alpha_metric"  # turns per m / sqrt(Nm)
    ALPHA_TEX = "alpha_tex"  # turns per m x sqrt(tex)
    COTTON = "ne_cotton"  # turns per inch / sqrt(Ne)
    WORSTED = "new_worsted"  # turns per inch / sqrt(worsted count)
    RUN = "woollen_run"  # turns per inch / sqrt(run)
    CUT = "woollen_cut"  # turns per inch / sqrt(cut)


def _alpha_tex_of_one(tables: Tables, kind: FactorKind) -> float:
    """Turns per m x sqrt(tex) of a factor of 1."""
    if kind is FactorKind.ALPHA_TEX:
        return 1.0
    if kind is FactorKind.ALPHA_METRIC:
        return math.sqrt(TEX_OF_NM)
    return math.sqrt(tables.counts[kind].factor) / INCH_M


def turns_tpm(
    tables: Tables, *, factor: float, count_tex: float, kind: FactorKind = FactorKind.ALPHA_METRIC
) -> float:
    """Turns per metre of a twist factor: ``T = alpha_m sqrt(1000 / tex)``; ``TM sqrt(c)`` per inch by system.

    Parameters
    ----------
    tables : Tables
    factor : float
        The factor, >= 0.
    count_tex : float
        Count of the single on the bobbin [tex], never of the plied yarn.
    kind : FactorKind

    References
    ----------
    Definitions; conversions checked against table twist.

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> round(turns_tpm(load_tables(), factor=80, count_tex=125), 2)
    226.27

    """
    _check(factor, count_tex)
    return factor * _alpha_tex_of_one(tables, kind) / math.sqrt(count_tex)


def twist_factor(
    tables: Tables, *, twist_tpm: float, count_tex: float, kind: FactorKind = FactorKind.ALPHA_METRIC
) -> float:
    """Twist factor of so many turns per metre; the inverse of `turns_tpm`."""
    _check(twist_tpm, count_tex)
    return twist_tpm * math.sqrt(count_tex) / _alpha_tex_of_one(tables, kind)


def convert_factor(tables: Tables, *, factor: float, given: FactorKind, wanted: FactorKind) -> float:
    """The same twist in another factor; any count, since all go with the square root of it."""
    if not factor >= 0:
        raise InputError("twist factor", factor, "zero or more")
    return factor * _alpha_tex_of_one(tables, given) / _alpha_tex_of_one(tables, wanted)


def turns_per_inch(twist_tpm: float) -> float:
    """Turns per metre to turns per inch (exact)."""
    return twist_tpm * INCH_M


def surface_angle_rad(*, diameter_mm: float, twist_tpm: float) -> float:
    """Angle of the outer fibres to the yarn [rad]: ``tan a = pi d T``. Geometry."""
    if not diameter_mm > 0 or not twist_tpm >= 0:
        raise InputError("strand", (diameter_mm, twist_tpm), "thicker than zero, with twist of zero or more")
    return math.atan(math.pi * diameter_mm / MM_M * twist_tpm)


class Contraction(StrEnum):
    """Which published form of twist contraction is taken; they agree to a quarter of the angle squared."""

    HEARLE = "hearle"
    LAYERS = "layers"


def retraction_frac(angle_rad: float, form: Contraction = Contraction.HEARLE) -> float:
    """Length a strand loses to its own twist over untwisted length [frac].

    ``R = tan^2(a / 2)`` (HEARLE) or ``1 + ln(cos a) cos a / (1 - cos a)`` (LAYERS); 3.11 or 3.08 % at 20
    degrees. Staple yarn of low twist usually loses less: measure it.

    Parameters
    ----------
    angle_rad : float
        Surface angle a [rad], 0 to below pi/2.
    form : Contraction

    References
    ----------
    HEARLE: Hearle, Grosberg and Backer 1969, from memory, unverified. LAYERS: J-STAGE jte1955 14(3-4):115,
    abstract. The take-up of plying is worked out with HEARLE.

    Examples
    --------
    >>> round(100 * retraction_frac(math.radians(20)), 4)
    3.1091

    """
    if not 0 <= angle_rad < math.pi / 2:
        raise InputError("twist angle", math.degrees(angle_rad), "from 0 to below 90 degrees")
    if form is Contraction.HEARLE:
        return math.tan(angle_rad / 2) ** 2
    away = 2 * math.sin(angle_rad / 2) ** 2  # 1 - cos a, exact where a is tiny
    return 1 + math.log1p(-away) * (1 - away) / away if away > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Section:
    """How dense a twisted single is: packing phi [frac] and density of its fibre."""

    packing_frac: float
    density_g_cm3: float

    def diameter_mm(self, count_tex: float) -> float:
        """Diameter of a strand of so many tex [mm]."""
        return diameter_mm(
            count_tex=count_tex, packing_frac=self.packing_frac, density_g_cm3=self.density_g_cm3
        )

    def angle_rad(self, *, count_tex: float, twist_tpm: float) -> float:
        """Surface angle of a single [rad]; depends on the twist factor alone."""
        return surface_angle_rad(diameter_mm=self.diameter_mm(count_tex), twist_tpm=twist_tpm)

    def retraction_frac(self, *, count_tex: float, twist_tpm: float) -> float:
        """Length a single loses to its twist [frac]; see `retraction_frac`."""
        return retraction_frac(self.angle_rad(count_tex=count_tex, twist_tpm=twist_tpm))


def roller_tex(*, bobbin_tex: float, retraction_frac: float) -> float:
    """Count at the front roll [tex] of a single that has contracted: ``tex (1 - R)``."""
    _check_retraction(retraction_frac)
    return bobbin_tex * (1 - retraction_frac)


def bobbin_tex(*, roller_tex: float, retraction_frac: float) -> float:
    """Count on the bobbin [tex] of a strand that leaves the rolls: ``tex / (1 - R)``."""
    _check_retraction(retraction_frac)
    return roller_tex / (1 - retraction_frac)


def bobbin_from_roller_tex(*, roller_tex: float, twist_tpm: float, section: Section) -> float:
    """Count on the bobbin [tex] when the frame sets the twist: solves ``t (1 - R(t)) = t_roller``.

    By repetition, each step at least halving the error: however hard the twist, there is one answer.
    """
    tex = roller_tex
    for _ in range(MOST_STEPS):
        contracted = section.retraction_frac(count_tex=tex, twist_tpm=twist_tpm)
        before, tex = tex, bobbin_tex(roller_tex=roller_tex, retraction_frac=contracted)
        if abs(tex - before) <= SOLVED * tex:
            break
    return tex


MOST_STEPS = 200
SOLVED = 1e-14  # relative; far finer than any scale


def spin_speed_m_per_min(
    *, spindle_rpm: float, twist_tpm: float, roll_speed_cap_m_per_min: float = math.inf
) -> float:
    """Speed of the yarn [m/min]: ``v = rpm / T``, at most what rolls and take-up can give.

    >>> spin_speed_m_per_min(spindle_rpm=3000, twist_tpm=250)
    12.0
    """
    if not spindle_rpm > 0 or not twist_tpm >= 0 or not roll_speed_cap_m_per_min > 0:
        raise InputError(
            "spindle",
            (spindle_rpm, twist_tpm, roll_speed_cap_m_per_min),
            "turning, with twist of zero or more",
        )
    return min(spindle_rpm / twist_tpm if twist_tpm > 0 else math.inf, roll_speed_cap_m_per_min)


def nearest_turns_tpm(wanted_tpm: float, steps_tpm: tuple[float, ...]) -> float:
    """The twist the gears can give that is nearest by ratio; the wanted one where there are no steps."""
    if not steps_tpm:
        return wanted_tpm
    if wanted_tpm <= 0:
        return min(steps_tpm)
    return min(steps_tpm, key=lambda step_tpm: abs(math.log(step_tpm / wanted_tpm)))


def _check(turns: float, count_tex: float) -> None:
    if not turns >= 0:
        raise InputError("twist", turns, "zero or more")
    if not count_tex > 0:
        raise InputError("count", count_tex, "above zero tex")


def _check_retraction(retraction_frac: float) -> None:
    if not 0 <= retraction_frac < 1:
        raise InputError("contraction by twist", retraction_frac, "a fraction from 0 to below 1")
