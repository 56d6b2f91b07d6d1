"""What a fibre can be spun to: fibres across, finest count, length, soundness, and what a blend would help.

The fewest fibres a frame holds together is no law: the figures of table yarn_limits are common practice
until the mill's own end breaks say better (`breaks`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from doffer.errors import InputError, NotFoundError
from doffer.fibre.material import Material
from doffer.process.evenness.fibres import Limit, blend_limit_cv_frac, fibre_tex, fibres_in_section
from doffer.process.evenness.passage import Part
from doffer.tables.loader import Tables
from doffer.working import Status


class System(StrEnum):
    """Way of spinning."""

    WORSTED = "worsted"
    SEMI_WORSTED = "semi_worsted"
    WOOLLEN = "woollen"


class Verdict(StrEnum):
    """Whether a count can be spun."""

    OK = "ok"
    MARGINAL = "marginal"
    NO = "no"


class BreakPoint(StrEnum):
    """Where in its length a tender staple breaks."""

    UNKNOWN = "unknown"
    TIP = "tip"
    MIDDLE = "middle"
    BASE = "base"


@dataclass(frozen=True, slots=True)
class YarnFibre:
    """The fibre a yarn is spun from, as far as spinning asks.

    Parameters
    ----------
    parts : tuple of Part
        Lots with their share of oven-dry fibre [frac], summing to 1.
    slippery_frac : float
        Share of it that is slippery or of low crimp [frac].
    strength_n_per_ktex : float or None
        Staple strength, where tested.
    break_point : BreakPoint
        Where a tender staple breaks.
    break_frac : float
        Share of staples that break there [frac]; read for a break in the middle of tender fibre.
    short_fibre_frac : float or None
        Share of fibre under 25 to 30 mm [frac], where known.
    """

    parts: tuple[Part, ...]
    slippery_frac: float = 0.0
    strength_n_per_ktex: float | None = None
    break_point: BreakPoint = BreakPoint.UNKNOWN
    break_frac: float = 1.0
    short_fibre_frac: float | None = None

    def __post_init__(self) -> None:
        total_frac = math.fsum(part.share_frac for part in self.parts)
        if not self.parts or abs(total_frac - 1) > SHARE_SUM_TOLERANCE:
            raise InputError("shares of the fibre", total_frac, "one lot or more, adding up to 1")

    @property
    def fibre_tex(self) -> float:
        """Mean linear density of a fibre by number [tex]: ``1 / f = sum w_i / f_i``, w by mass."""
        return 1.0 / fibres_in_section(self.parts, strand_tex=1.0)

    @property
    def density_g_cm3(self) -> float:
        """Density of the blend [g/cm3]: ``1 / rho = sum w_i / rho_i``."""
        return 1 / math.fsum(part.share_frac / part.density_g_cm3 for part in self.parts)

    @property
    def staple_mm(self) -> float:
        """Mean staple length by mass [mm]."""
        return math.fsum(part.share_frac * part.staple_mm for part in self.parts)

    @property
    def diameter_um(self) -> float:
        """Mean diameter as the trade joins lots, by mass [um]."""
        return math.fsum(part.share_frac * part.diameter_um for part in self.parts)


SHARE_SUM_TOLERANCE = 1e-9  # shares come from a division


def fibre_of(material: Material, tables: Tables, *, strength_n_per_ktex: float | None = None) -> YarnFibre:
    """The fibre of a material: its lots with their mean shares of oven-dry mass, density by kind of fibre."""
    masses_g = material.dry_mass_g.mean(axis=1)
    total_g = float(masses_g.sum())
    if not total_g > 0:
        raise InputError("fibre", total_g, "more than zero grams to spin")
    shares = [float(mass) for mass in masses_g / total_g]
    parts = tuple(
        Part(
            name=lot.lot,
            share_frac=share,
            diameter_um=lot.diameter_um,
            diameter_cv_frac=lot.diameter_cv_frac,
            staple_mm=lot.staple_mm,
            staple_cv_frac=lot.staple_cv_frac,
            density_g_cm3=tables.fibres[lot.fibre].density_g_cm3,
        )
        for lot, share in zip(material.constituents, shares, strict=True)
        if share > 0
    )
    slippery = math.fsum(
        share
        for lot, share in zip(material.constituents, shares, strict=True)
        if tables.fibres[lot.fibre].slippery
    )
    return YarnFibre(parts, slippery_frac=slippery, strength_n_per_ktex=strength_n_per_ktex)


@dataclass(frozen=True, slots=True)
class FewestFibres:
    """Fibres across below which a frame does not hold, and from which it runs well."""

    hard: float
    comfortable: float
    status: Status
    source: str

    def verdict(self, fibres: float) -> Verdict:
        """Ok from the comfortable number on, marginal from the hard one, else no."""
        if fibres >= self.comfortable:
            return Verdict.OK
        return Verdict.MARGINAL if fibres >= self.hard else Verdict.NO


def fewest_fibres(tables: Tables, *, system: System, short_fibre_frac: float | None = None) -> FewestFibres:
    """Fewest fibres across by way of spinning: table yarn_limits, more where short fibre is known.

    Short fibre floats in the draft: both numbers are multiplied by ``1 + share`` (common practice, a
    placeholder). None of them is sourced for wool.
    """
    hard, comfortable = (
        tables.yarn_limits.get(f"{quantity}/{system}") for quantity in ("min_fibres", "comfortable_fibres")
    )
    if hard is None or comfortable is None or hard.value is None or comfortable.value is None:
        raise NotFoundError("limit of spinning", system, "Known are worsted, semi_worsted and woollen")
    more = 1 + (short_fibre_frac or 0.0)
    return FewestFibres(
        hard.value * more, comfortable.value * more, hard.status, tables.sources[hard.source].title
    )


def fibres_across(fibre: YarnFibre, *, fibre_only_tex: float) -> float:
    """Fibres in the section of a strand: ``n = tex / f``, the front-roll count without oil.

    At about 16 % regain. Bobbin counts overstate it by the contraction of the twist, 2 to 3 %. A hollow
    fibre is lighter than its table says, so its number is understated by up to 15 %.

    References
    ----------
    Geometry; worked cases in table cross_section.
    """
    return fibres_in_section(fibre.parts, strand_tex=fibre_only_tex)


def finest_tex(fibre: YarnFibre, *, fibres: float) -> float:
    """Finest front-roll count [tex] with so many fibres across: ``n f``."""
    if not fibres > 0:
        raise InputError("fibres across", fibres, "above zero")
    return fibres * fibre.fibre_tex


def limit_cv_frac(fibre: YarnFibre, *, fibre_only_tex: float, form: Limit = Limit.EXACT) -> float:
    """Unevenness a single cannot fall below [frac], blend and all; see ``process.evenness.fibres``."""
    return blend_limit_cv_frac(fibre.parts, strand_tex=fibre_only_tex, form=form)


def expected_cv_frac(tables: Tables, *, limit_cv_frac: float, system: System) -> float:
    """Unevenness to expect of a single [frac]: index of the way of spinning times the limit.

    The index (table yarn_limits) is common practice and depends on count: measure your own.
    """
    index = tables.yarn_limits[f"index_irregularity/{system}"].value
    return limit_cv_frac * (1.0 if index is None else index)


def plied_cv_frac(*, single_cv_frac: float, plies: int) -> float:
    """Unevenness of a plied yarn [frac]: ``CV / sqrt(n)`` for independent singles.

    Texcoms handbook p. 141, read in extract.
    """
    if not single_cv_frac >= 0 or plies < 1:
        raise InputError("unevenness", (single_cv_frac, plies), "zero or more, of one ply or more")
    return single_cv_frac / math.sqrt(plies)


def is_tender(fibre: YarnFibre, tables: Tables) -> bool:
    """Whether the staple was tested and is weaker than what is called tender (table yarn_limits)."""
    limit = tables.yarn_limits["staple_strength_tender/wool"].value
    return fibre.strength_n_per_ktex is not None and limit is not None and fibre.strength_n_per_ktex < limit


def effective_staple_mm(fibre: YarnFibre, tables: Tables) -> float:
    """Staple that reaches the frame [mm]: tender fibre broken in the middle loses half, ``L (1 - 0.5 p)``."""
    if not is_tender(fibre, tables) or fibre.break_point is not BreakPoint.MIDDLE:
        return fibre.staple_mm
    return fibre.staple_mm * (1 - tables.yarn_figures["mid_break_loss/any"].value * fibre.break_frac)


@dataclass(frozen=True, slots=True)
class LengthGate:
    """Whether fibre of a length suits a way of spinning, and why."""

    verdict: Verdict
    reason: str


def length_gate(tables: Tables, *, system: System, staple_mm: float) -> LengthGate:
    """Whether a staple suits a way of spinning; gates of common practice (table yarn_figures).

    Hauteur rules of combed tops (10 mm about 1 um) do not hold for carded yarn and are not used.
    """
    if not staple_mm > 0:
        raise InputError("staple", staple_mm, "longer than zero")
    gate = tables.yarn_figures.get(f"length_gate/{system}")
    if gate is None or gate.low is None or gate.high is None:
        return LengthGate(Verdict.OK, "woollen yarn takes any length the card takes")
    if staple_mm < gate.low:
        return LengthGate(
            Verdict.NO,
            f"{staple_mm:.0f} mm is shorter than the {gate.low:.0f} mm a draft can hold: woollen only",
        )
    if staple_mm < gate.value:
        return LengthGate(
            Verdict.MARGINAL, f"{staple_mm:.0f} mm is short for drafting; {gate.value:.0f} mm runs well"
        )
    if staple_mm > gate.high:
        return LengthGate(
            Verdict.MARGINAL, f"{staple_mm:.0f} mm is long: check the ratch, and the card for lapping"
        )
    return LengthGate(Verdict.OK, f"{staple_mm:.0f} mm suits")


def worse(*verdicts: Verdict) -> Verdict:
    """The worst of several verdicts."""
    return max(verdicts, key=list(Verdict).index)


@dataclass(frozen=True, slots=True)
class ShareToReach:
    """Share of the finer fibre that brings enough fibres across [frac], and whether any share does."""

    share_frac: float
    is_needed: bool
    is_possible: bool


def share_to_reach(
    *, wanted_fibres: float, fibre_only_tex: float, coarse: YarnFibre, fine: YarnFibre
) -> ShareToReach:
    """How much of a second, finer fibre gives so many fibres across.

    ``x = (n / T - 1/f1) / (1/f2 - 1/f1)``, by mass. Below zero: not needed; above one: impossible, go thicker
    or add a ply. It cures neither short nor tender fibre. Computed.
    """
    if not wanted_fibres > 0 or not fibre_only_tex > 0:
        raise InputError("wish", (wanted_fibres, fibre_only_tex), "fibres and a count above zero")
    have, bring = 1 / coarse.fibre_tex, 1 / fine.fibre_tex
    need = wanted_fibres / fibre_only_tex
    if need <= have:
        return ShareToReach(0.0, is_needed=False, is_possible=True)
    if bring <= have or need > bring:
        return ShareToReach(1.0, is_needed=True, is_possible=False)
    return ShareToReach((need - have) / (bring - have), is_needed=True, is_possible=True)


def mismatches(fibre: YarnFibre, tables: Tables) -> tuple[str, ...]:
    """Lots so unlike that they separate at the card and shed from the yarn, in words (common practice)."""
    apart_um = tables.yarn_figures["far_apart_diameter/any"].value
    times = tables.yarn_figures["far_apart_staple/any"].value
    by_diameter = sorted(fibre.parts, key=lambda part: part.diameter_um)
    by_length = sorted(fibre.parts, key=lambda part: part.staple_mm)
    said = []
    if by_diameter[-1].diameter_um - by_diameter[0].diameter_um > apart_um:
        said.append(
            f"{by_diameter[0].name} and {by_diameter[-1].name} differ by more than {apart_um:g} µm: "
            "the coarser fibre will work out and prickle"
        )
    if by_length[-1].staple_mm > times * by_length[0].staple_mm:
        said.append(
            f"{by_length[-1].name} is more than {times:g} times as long as {by_length[0].name}: "
            "the short fibre will fall out at the card and shed"
        )
    return tuple(said)


def one_fibre(
    *,
    diameter_um: float,
    diameter_cv_frac: float,
    density_g_cm3: float,
    staple_mm: float,
    name: str = "fibre",
) -> YarnFibre:
    """Fibre of one lot, from its figures."""
    fibre_tex(diameter_um=diameter_um, density_g_cm3=density_g_cm3, diameter_cv_frac=diameter_cv_frac)
    part = Part(name, 1.0, diameter_um, diameter_cv_frac, staple_mm, 0.0, density_g_cm3)
    return YarnFibre((part,))


def blended(first: YarnFibre, second: YarnFibre, *, second_share_frac: float) -> YarnFibre:
    """Two fibres joined by oven-dry mass; strength and short fibre are not known of the blend."""
    if not 0 <= second_share_frac <= 1:
        raise InputError("share", second_share_frac, "from 0 to 1")
    pairs = ((first, 1 - second_share_frac), (second, second_share_frac))
    parts = tuple(
        _scaled(part, part.share_frac * share) for fibre, share in pairs for part in fibre.parts if share > 0
    )
    return YarnFibre(parts, slippery_frac=math.fsum(fibre.slippery_frac * share for fibre, share in pairs))


def _scaled(part: Part, share_frac: float) -> Part:
    return Part(
        part.name,
        share_frac,
        part.diameter_um,
        part.diameter_cv_frac,
        part.staple_mm,
        part.staple_cv_frac,
        part.density_g_cm3,
    )
