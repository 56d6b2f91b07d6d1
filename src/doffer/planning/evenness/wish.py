"""What goods must be and fibre allows, and what is told of the ways to get there."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.planning.evenness.answer import Likely
from doffer.planning.evenness.breakage import (
    GUESSED_RATE,
    TENDER_STRENGTH_RATIO,
    BreakRate,
    scaled_rate,
)
from doffer.planning.evenness.cost import StageCost
from doffer.planning.evenness.doublings import MOST_ENDS
from doffer.planning.evenness.sensitivity import Matter

MOST_SANDWICH_G = 100.0  # what the nip of a small picker takes at once: our own guess
MOST_PASSES, MOST_PASSES_TENDER = 3, 1  # common practice: one to three, fragile fibre fewest
FRAGILE = frozenset({"angora_rabbit"})
LEAST_LENGTH_FRAC = 0.7  # of the mean length before picking: our own guess
MOST_LABEL_CHANCE = 0.05  # of missing the label: our own choice


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

    most_passes: int = MOST_PASSES
    least_passes: int = 1
    most_ends: int = MOST_ENDS
    least_length_frac: float = LEAST_LENGTH_FRAC
    break_rate: BreakRate = GUESSED_RATE
    most_sandwich_g: float = MOST_SANDWICH_G


def gentle_limits(
    fibres: Sequence[str], *, tender: frozenset[str] = frozenset(), limits: Limits | None = None
) -> Limits:
    """Limits for a blend: one pass where a fibre is fragile or a lot is tender (common practice).

    Parameters
    ----------
    fibres : sequence of str
        Fibre keys of the blend.
    tender : frozenset of str
        Fibre keys whose lots broke in the snap test.
    limits : Limits, optional
        What holds for sound fibre.
    """
    usual = limits or Limits()
    if not FRAGILE.isdisjoint(fibres) or not tender.isdisjoint(fibres):
        rate = scaled_rate(usual.break_rate, strength_ratio=TENDER_STRENGTH_RATIO)
        most = min(usual.most_passes, MOST_PASSES_TENDER)
        return dataclasses.replace(usual, most_passes=most, break_rate=rate)
    return usual


@dataclass(frozen=True, slots=True)
class Wish:
    """What the goods must be: how far apart pairs may be, and how often a label test may fail.

    Parameters
    ----------
    is_strict : bool
        True: 95 of 100 pairs within the limit; False: a spread within the limit.
    distance_mm : float or None
        From where the strand is looked at; None: as is usual.
    most_label_chance : float
        Chance of missing the label, at most.
    specimens : int
        Specimens of a label test.
    bias_frac : float
        What weighing out may be wrong by [frac].
    """

    is_strict: bool = True
    distance_mm: float | None = None
    most_label_chance: float = MOST_LABEL_CHANCE
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
