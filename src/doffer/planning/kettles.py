"""Which kettle, how many loads: one load that fits, else equal loads, never one full and one half."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InfeasibleError, InputError
from doffer.planning.loads import least_loads


@dataclass(frozen=True, slots=True)
class Kettle:
    """A dye kettle: how much bath it takes with freeboard, and whether it is free."""

    name: str
    usable_volume_l: float
    is_free: bool = True


@dataclass(frozen=True, slots=True)
class KettleLoad:
    """One load: which kettle, how much fibre, how much bath."""

    kettle: str
    fibre_mass_g: float
    liquor_volume_l: float


@dataclass(frozen=True, slots=True)
class KettlePlan:
    """Loads that are all alike, and why other kettles were not taken."""

    loads: tuple[KettleLoad, ...]
    refused: tuple[str, ...]


def most_fibre_g(kettle: Kettle, *, liquor_ratio: float) -> float:
    """Heaviest load of a kettle [g] = usable litres / liquor ratio."""
    return kettle.usable_volume_l / liquor_ratio * 1000


def kettle_loads(*, fibre_mass_g: float, liquor_ratio: float, kettles: Sequence[Kettle]) -> KettlePlan:
    """Equal loads in one kettle: as few as can be, then in the smallest kettle that takes them.

    Unequal loads exhaust differently and come out in two shades, so a lot is never split 1.8 + 0.8 kg.

    Raises
    ------
    InfeasibleError
        No kettle is free.
    """
    if not fibre_mass_g > 0:
        raise InputError("fibre to dye", f"{fibre_mass_g:g} g", "a weight above zero")
    if not liquor_ratio > 0:
        raise InputError("liquor ratio", f"{liquor_ratio:g} L to 1 kg", "above zero")
    free = [kettle for kettle in kettles if kettle.is_free]
    if not free:
        raise InfeasibleError("Dyeing this lot", "no kettle is free", "Free a kettle or choose another day")

    def n_loads(kettle: Kettle) -> int:
        return least_loads(mass_g=fibre_mass_g, most_mass_g=most_fibre_g(kettle, liquor_ratio=liquor_ratio))

    best = min(free, key=lambda kettle: (n_loads(kettle), kettle.usable_volume_l))
    count = n_loads(best)
    load_g = fibre_mass_g / count
    load = KettleLoad(best.name, load_g, load_g / 1000 * liquor_ratio)
    return KettlePlan(
        loads=(load,) * count,
        refused=tuple(
            _why_not(kettle, fibre_mass_g, liquor_ratio) for kettle in kettles if kettle is not best
        ),
    )


def _why_not(kettle: Kettle, fibre_mass_g: float, liquor_ratio: float) -> str:
    most_g = most_fibre_g(kettle, liquor_ratio=liquor_ratio)
    if not kettle.is_free:
        return f"{kettle.name} is busy"
    if most_g < fibre_mass_g:
        return f"{kettle.name} takes {most_g / 1000:.2f} kg at {liquor_ratio:g}:1 and no more"
    return f"{kettle.name} is larger than needed"
