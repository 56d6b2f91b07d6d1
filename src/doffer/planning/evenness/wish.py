"""What goods must be and fibre allows, and what is told of the ways to get there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.planning.evenness.answer import Likely
from doffer.planning.evenness.breakage import BreakRate, scaled_rate, usual_break_rate
from doffer.planning.evenness.cost import StageCost
from doffer.planning.evenness.doublings import MOST_ENDS
from doffer.planning.evenness.sensitivity import Matter
from doffer.tables.loader import Tables

FRAGILE = frozenset({"angora_rabbit"})  # fibre that sees as few passes as tender lots: common practice


@dataclass(frozen=True, slots=True)
class Limits:
    """What fibre and machines allow.

    Parameters
    ----------
    most_passes, least_passes : int
        Passes through the picker.
    most_ends : int
        Ends the drawing machine takes.
    least_length_frac : float
        Mean fibre length that must be left, of that before [frac].
    break_rate : BreakRate
        Breaking of one pass.
    most_sandwich_g : float
        What may enter the nip together [g]; 0: no sandwiches.
    """

    most_passes: int
    least_length_frac: float
    break_rate: BreakRate
    most_sandwich_g: float
    least_passes: int = 1
    most_ends: int = MOST_ENDS


def gentle_limits(
    tables: Tables, fibres: Sequence[str], *, is_tender: bool = False, most_ends: int = MOST_ENDS
) -> Limits:
    """Usual limits of a blend (table evenness_figures); fewest passes for fragile fibre and tender lots.

    Parameters
    ----------
    fibres : sequence of str
        Fibre keys of the blend.
    is_tender : bool
        Whether a lot of it broke in the snap test.
    most_ends : int
        Ends the drawing machine takes.
    """
    row = tables.evenness_figures
    is_fragile = is_tender or not FRAGILE.isdisjoint(fibres)
    rate = usual_break_rate(tables)
    if is_fragile:
        rate = scaled_rate(rate, strength_ratio=row["tender_strength"].value)
    return Limits(
        most_passes=int(row["picker_passes_tender" if is_fragile else "picker_passes"].value),
        least_length_frac=row["least_length"].value,
        break_rate=rate,
        most_sandwich_g=row["sandwich_most"].value,
        most_ends=most_ends,
    )


@dataclass(frozen=True, slots=True)
class Wish:
    """What the goods must be: how far apart pairs may be, and how often a label test may fail.

    Parameters
    ----------
    is_strict : bool
        True: 95 of 100 pairs within the limit; False: a spread within the limit.
    distance_mm : float or None
        From where the strand is looked at; None: as is usual.
    most_label_chance : float or None
        Chance of missing the label, at most; None: as is usual.
    specimens : int
        Specimens of a label test.
    bias_frac : float
        What weighing out may be wrong by [frac].
    """

    is_strict: bool = True
    distance_mm: float | None = None
    most_label_chance: float | None = None
    specimens: int = 2
    bias_frac: float = 0.0


@dataclass(frozen=True, slots=True)
class Option:
    """One way to make the goods, with what it leaves and costs.

    `apart_de` is what 95 of 100 pairs lie within (as the eye takes them in), `points` the spread of the
    smallest part in a specimen, `label_chance` the chance of missing the label, all low, likely and high;
    `length_frac` the mean fibre length left of that before; `is_likely` whether the wish is met by likely
    figures, `is_sure` whether also by those that mix worse.
    """

    layers: int
    set_g: float
    sandwich_g: float
    passes: int
    ends: tuple[int, ...]
    apart_de: Likely | None
    points: Likely
    label_chance: Likely
    length_frac: float
    cost: StageCost
    is_likely: bool
    is_sure: bool

    @property
    def doublings(self) -> int:
        """Doublings in all."""
        return math.prod(self.ends)

    def words(self) -> str:
        """24 sets of 250 g, picked twice, drawn 4 and 6."""
        passes = "not picked" if not self.passes else f"{self.passes} pass{'es' if self.passes > 1 else ''}"
        drawn = f"drawn {' and '.join(map(str, self.ends))}" if self.ends else "not drawn"
        belt = f" as sandwiches of {self.sandwich_g:.0f} g" if self.sandwich_g else ""
        return f"{self.layers} sets of {self.set_g:.0f} g{belt}, {passes}, {drawn}"


@dataclass(frozen=True, slots=True)
class Choice:
    """The gentlest way that is likely enough, the gentlest that is sure, and why if there is none.

    Parameters
    ----------
    best, sure : Option or None
        By likely figures (about even odds), and by figures that mix worse than likely (9 of 10).
    by_passes : tuple of Option
        The gentlest likely way for every number of passes, fewest first.
    extra_pass : StageCost
        What one more pass through the picker costs: fibre and minutes.
    n_tried : int
        Ways that were reckoned.
    sentence : str
        The verdict in mill words.
    matters : tuple of Matter
        Which figure matters most.
    """

    best: Option | None
    sure: Option | None
    by_passes: tuple[Option, ...]
    extra_pass: StageCost
    n_tried: int
    sentence: str
    matters: tuple[Matter, ...]
