"""In how many loads a stage takes its fibre: equal ones, never one full and one half."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from doffer.errors import InputError

FULL_DUST = 1e-9  # a machine that is exactly full is full, not overfull
_MASS_AT_ONCE = re.compile(r"kg(?: (?:raw|OD))?(?: per charge| in bin)?")


@dataclass(frozen=True, slots=True)
class Capacity:
    """What a machine takes at once [g]: as weighed before the stage, or counted as oven-dry fibre."""

    mass_g: float
    is_oven_dry: bool = False

    def __post_init__(self) -> None:
        if self.mass_g <= 0:
            raise InputError("what a machine takes at once", self.mass_g, "above zero grams")


@dataclass(frozen=True, slots=True)
class Loads:
    """Equal loads of a stage: how many, how much each weighs before the stage [g], and why.

    Lots that are laid in layers give each load `rounds` whole rounds of layers, or share every round out
    among `loads_a_round` loads; both are 0 where there are none.
    """

    count: int
    load_mass_g: float
    capacity: Capacity
    rounds: int = 0
    loads_a_round: int = 0


def capacity_of(figure_kg: float | None, unit: str) -> Capacity | None:
    """What a machine takes at once, read from its figure and words: "3.5 kg raw per charge".

    None where it is not counted in weight at once (spindles, skeins), where there are many of them ("6 kg
    each"), or where the bath decides ("3.6 kg at 30:1", which `kettles` reckons with).

    >>> capacity_of(5.0, "kg OD per charge")
    Capacity(mass_g=5000.0, is_oven_dry=True)
    >>> capacity_of(8.0, "spindles") is None
    True
    """
    if figure_kg is None or figure_kg <= 0 or not _MASS_AT_ONCE.fullmatch(unit.strip()):
        return None
    return Capacity(figure_kg * 1000, is_oven_dry=" OD" in unit)


def least_loads(*, mass_g: float, most_mass_g: float) -> int:
    """Fewest equal loads [count] = mass / most, rounded up; one for no fibre at all."""
    if most_mass_g <= 0:
        raise InputError("what goes in at once", most_mass_g, "above zero grams")
    return max(1, math.ceil(mass_g / most_mass_g - FULL_DUST))


def equal_loads(
    *, weighed_mass_g: float, dry_mass_g: float, capacity: Capacity | None, rounds: int = 0
) -> Loads | None:
    """Loads of a stage; None where it goes in at once, or nothing is known of the machine.

    ``count = mass / capacity``, rounded up; all loads alike, so that baths and doses are alike too. Where
    lots are laid in `rounds` of layers, the count is raised until every load is made of whole rounds, or
    every round fills as many loads: each load then holds the blend of the whole. Common practice.

    Parameters
    ----------
    weighed_mass_g, dry_mass_g : float
        Fibre before the stage, as weighed and oven-dry [g].
    capacity : Capacity or None
        What the machine takes at once.
    rounds : int
        Rounds of layers to share out among the loads; 0: none.
    """
    if capacity is None:
        return None
    counted_g = dry_mass_g if capacity.is_oven_dry else weighed_mass_g
    least = least_loads(mass_g=counted_g, most_mass_g=capacity.mass_g)
    if least == 1:
        return None
    if not rounds:
        return Loads(least, weighed_mass_g / least, capacity)
    if least > rounds:
        among = math.ceil(least / rounds)
        return Loads(rounds * among, weighed_mass_g / (rounds * among), capacity, loads_a_round=among)
    count = next(n for n in range(least, rounds + 1) if rounds % n == 0)
    return Loads(count, weighed_mass_g / count, capacity, rounds=rounds // count)
