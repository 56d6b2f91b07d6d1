"""A yarn count as somebody said it, and how its trade writes it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

OWN_HANK = "own_hank"
DIRECT_SPELT = frozenset({"tex", "dtex", "ktex", "denier"})


class SaidOf(StrEnum):
    """What a count was said of."""

    SINGLE = "single"  # each of the strands
    YARN = "yarn"  # all strands together, as the yarn is sold


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedCount:
    """A yarn count as somebody said it.

    Parameters
    ----------
    system : str
        Key of table counts, or `OWN_HANK` for a hank that was described with it.
    number : float
        The figure in that system, of the single or of the yarn as `said_of` tells.
    said_of : SaidOf
        What the figure is about.
    plies : int or None
        Strands in the yarn; None where nobody said.
    yarn_tex : float
        Count of the strands laid together [tex]; their take-up in plying and in washing is not in it.
    twists : tuple of (direction, turns in a metre)
        As written behind an ISO designation, in its order.
    hank_m_per_g : float
        For an own hank: metres of one hank to a gram.
    """

    system: str
    number: float
    said_of: SaidOf
    yarn_tex: float
    plies: int | None = None
    twists: tuple[tuple[str, float], ...] = ()
    hank_m_per_g: float = 0.0

    @property
    def single_tex(self) -> float | None:
        """Count of one strand [tex]; None where the number of strands is not known."""
        return None if self.plies is None else self.yarn_tex / self.plies

    def with_plies(self, plies: int | None) -> TypedCount:
        """The same yarn with its strands, where the count left them open."""
        return self if self.plies is not None or plies is None else replace(self, plies=plies)


def spell(count: TypedCount) -> str:
    """The count as its trade writes it, so that `parse_count` reads the same: "2/8 Nm", "R 250 tex / 2"."""
    figure = _figure(count.number)
    if count.system == OWN_HANK:
        words = f"{figure} hanks of {_figure(count.hank_m_per_g)} m/g"
    else:
        words = _SPELT[count.system].format(figure)
    if count.plies is None:
        return words
    if count.said_of is SaidOf.YARN:
        return _yarn_spelt(count, figure, words)
    if count.system in ("nm", "new_worsted"):
        return _SPELT[count.system].format(f"{count.plies}/{figure}")
    if count.system in DIRECT_SPELT:
        return f"{words} x {count.plies}"
    strands = "strand" if count.plies == 1 else "strands"
    return f"{count.plies} {strands} of {words}"


def _yarn_spelt(count: TypedCount, figure: str, words: str) -> str:
    if count.system in ("tex", "dtex", "ktex"):
        return f"R {figure} {count.system} / {count.plies}"
    if count.system in _BY_SYSTEM_NAME:
        return f"{words} resultant, {count.plies} strands"
    return f"{words}, {count.plies} strands"


_SPELT = {
    "nm": "{} Nm",
    "new_worsted": "{}s worsted",
    "ne_cotton": "{} Ne",
    "woollen_run": "{} run",
    "woollen_cut": "{} cut",
    "yorkshire_skein": "{} Yorkshire skein",
    "tex": "{} tex",
    "dtex": "{} dtex",
    "ktex": "{} ktex",
    "denier": "{} denier",
    "m_per_100g": "{} m/100 g",
    "m_per_kg": "{} m/kg",
    "yd_per_lb": "{} yd/lb",
    "yd_per_100g": "{} yd/100 g",
    "yd_per_oz": "{} yd/oz",
    "yd_per_4oz": "{} yd/4 oz",
    "g_per_m": "{} g/m",
    "grains_per_yd": "{} grains/yd",
    "oz_per_yd": "{} oz/yd",
}
_BY_SYSTEM_NAME = frozenset(
    {"nm", "new_worsted", "ne_cotton", "woollen_run", "woollen_cut", "yorkshire_skein", "denier", OWN_HANK}
)


def spelt_as(system: str, number: str) -> str:
    """A figure with the words of its system: "8 Nm", "1984 yd/lb"."""
    return _SPELT[system].format(number)


def _figure(value: float) -> str:
    """The shortest decimal that is read back as the same number, never with an exponent."""
    return f"{Decimal(repr(value)):f}".removesuffix(".0")
