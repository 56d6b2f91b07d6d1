"""What is known of a fibre and of a machine, as far as settings ask."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError
from doffer.fibre.material import Constituent, Material
from doffer.tables.loader import Tables
from doffer.tables.rows import Setting


class Soundness(StrEnum):
    """What the staple says when it is snapped at the ear."""

    UNKNOWN = "unknown"
    SOUND = "sound"
    TENDER = "tender"
    FRAGILE = "fragile"


class Crimp(StrEnum):
    """How much a fibre waves; unknown: as is usual for its kind."""

    UNKNOWN = "unknown"
    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class FibrePart:
    """A lot of the feed with its share of oven-dry fibre [frac]."""

    lot: Constituent
    share_frac: float


@dataclass(frozen=True, slots=True)
class FibreFacts:
    """The fibre on the belt.

    Parameters
    ----------
    parts : tuple of FibrePart
        Lots with their shares, summing to 1.
    soundness : Soundness
        Of the weakest lot.
    strength_n_per_ktex : float or None
        Staple strength, where tested [N/ktex].
    crimp : Crimp
    times_dyed : int
        How often the fibre went through a dye bath.
    """

    parts: tuple[FibrePart, ...]
    soundness: Soundness = Soundness.UNKNOWN
    strength_n_per_ktex: float | None = None
    crimp: Crimp = Crimp.UNKNOWN
    times_dyed: int = 0

    def __post_init__(self) -> None:
        if not self.parts:
            raise InputError("fibre", None, "one lot or more to set a machine for")

    @property
    def diameter_um(self) -> float:
        """Mean diameter by mass [um]."""
        return math.fsum(part.share_frac * part.lot.diameter_um for part in self.parts)

    @property
    def staple_mm(self) -> float:
        """Mean staple by mass [mm]."""
        return math.fsum(part.share_frac * part.lot.staple_mm for part in self.parts)

    @property
    def staple_cv_frac(self) -> float:
        """Spread of staple over all lots together: ``sqrt(E[L^2] / mean^2 - 1)`` [frac]."""
        mean = self.staple_mm
        square = math.fsum(
            part.share_frac * part.lot.staple_mm**2 * (1 + part.lot.staple_cv_frac**2) for part in self.parts
        )
        return math.sqrt(max(0.0, square / mean**2 - 1))

    def share_of(self, groups: Sequence[str], tables: Tables) -> float:
        """Share of fibre whose losses go by one of the groups of table stage_losses [frac]."""
        return math.fsum(
            part.share_frac for part in self.parts if tables.fibres[part.lot.fibre].losses_as in groups
        )


def facts_of(
    material: Material,
    *,
    soundness: Soundness = Soundness.UNKNOWN,
    strength_n_per_ktex: float | None = None,
    crimp: Crimp = Crimp.UNKNOWN,
    times_dyed: int = 0,
) -> FibreFacts:
    """The facts of a material: its lots with their mean shares of oven-dry mass."""
    masses_g = material.dry_mass_g.mean(axis=1)
    total_g = float(masses_g.sum())
    if not total_g > 0:
        raise InputError("fibre", total_g, "more than zero grams to set a machine for")
    parts = tuple(
        FibrePart(lot, float(mass_g) / total_g)
        for lot, mass_g in zip(material.constituents, masses_g, strict=True)
        if mass_g > 0
    )
    return FibreFacts(parts, soundness, strength_n_per_ktex, crimp, times_dyed)


@dataclass(frozen=True, slots=True)
class MachineLimits:
    """What a machine can be set to; empty and None: nobody wrote it down.

    Parameters
    ----------
    name : str
    beater_steps_rpm : tuple of float
        Slow, middle, fast.
    ratch_low_mm, ratch_high_mm : float or None
        Closest and widest, nip to nip.
    most_ends : int or None
        Ends a drafter is fed with at most.
    spindle_rpm, most_spindle_rpm, roll_speed_cap_m_per_min : float or None
    ring_mm : float or None
        Diameter of the ring.
    reel_circumference_m : float or None
        Of a skein winder, with the yarn on.
    """

    name: str = ""
    beater_steps_rpm: tuple[float, ...] = ()
    ratch_low_mm: float | None = None
    ratch_high_mm: float | None = None
    most_ends: int | None = None
    spindle_rpm: float | None = None
    most_spindle_rpm: float | None = None
    roll_speed_cap_m_per_min: float | None = None
    ring_mm: float | None = None
    reel_circumference_m: float | None = None


def applying(facts: FibreFacts, tables: Tables) -> dict[str, str]:
    """Which words of table settings hold for a fibre, each with what they mean here.

    "usual" always holds. Limits are the rows ``any/<word>/usual`` of effect "limit".
    """
    found = {"usual": ""}
    if facts.diameter_um < _limit(tables, "fine"):
        found["fine"] = f"{facts.diameter_um:.1f} micron is fine"
    if facts.diameter_um > _limit(tables, "coarse"):
        found["coarse"] = f"{facts.diameter_um:.1f} micron is coarse"
    if facts.staple_mm < _limit(tables, "short"):
        found["short"] = f"a staple of {facts.staple_mm:.0f} mm is short"
    if facts.staple_mm >= _limit(tables, "long") and facts.staple_cv_frac <= _limit(tables, "even_staple"):
        found["long_even"] = f"a staple of {facts.staple_mm:.0f} mm is long and even"
    if facts.crimp is Crimp.HIGH:
        found["high_crimp"] = "it is well crimped"
    elif facts.crimp is Crimp.LOW or is_of_low_crimp(facts, tables):
        found["low_crimp"] = "it has little crimp"
    fragile = fragile_because(facts, tables)
    if fragile:
        found["fragile"] = fragile
    return found


def is_of_low_crimp(facts: FibreFacts, tables: Tables) -> bool:
    """Whether enough of the fibre is of a kind with little crimp."""
    row = tables.settings["any/low_crimp/usual"]
    return facts.share_of(row.words.split(";"), tables) >= (row.value or 0.0)


def fragile_because(facts: FibreFacts, tables: Tables) -> str:
    """Why the fibre is handled as fragile, in words; empty where it is not."""
    if facts.soundness in (Soundness.TENDER, Soundness.FRAGILE):
        return f"it is {facts.soundness}"
    tender_n_per_ktex = tables.yarn_limits["staple_strength_tender/wool"].value or 0.0
    if facts.strength_n_per_ktex is not None and facts.strength_n_per_ktex < tender_n_per_ktex:
        return f"{facts.strength_n_per_ktex:.0f} N/ktex is tender, below {tender_n_per_ktex:.0f}"
    if facts.share_of(tables.settings["any/fragile/usual"].words.split(";"), tables) > 0:
        return "angora is in it"
    if facts.times_dyed >= _limit(tables, "dyed_often"):
        return f"it was dyed {facts.times_dyed} times"
    return ""


def limit_row(tables: Tables, word: str) -> Setting:
    """The row of table settings that says where a word begins."""
    return tables.settings[f"any/{word}/usual"]


def _limit(tables: Tables, word: str) -> float:
    return limit_row(tables, word).value or 0.0
