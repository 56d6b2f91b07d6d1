"""A dose of a plan, and its loads, in words, in the units of whoever reads them."""

from __future__ import annotations

from doffer.pictures.wording import say
from doffer.planning.loads import Loads
from doffer.planning.order_plan import DosePlan


def say_dose(dose: DosePlan, system: str = "metric") -> str:
    """The sentence of a dose with its amounts, in metric or in US units.

    Metric words are those of the plan, in whole grams as a bench scale shows them.
    """
    if system == "metric" or not dose.said:
        return dose.words
    figures = [say(figure.value, figure.unit, system) for figure in dose.figures]
    words = dose.said.format(*figures)
    for figure in figures:
        words = words.replace(f"{figure} to {figure} ", f"{figure} ")  # grams apart, alike in ounces
    return words


def say_loads(loads: Loads, machine: str, system: str = "metric") -> str:
    """In how many loads a stage takes its fibre, and why not in one: "in 2 loads of 2.35 kg"."""
    most = say(loads.capacity.mass_g, "g", system) + (" of dry fibre" if loads.capacity.is_oven_dry else "")
    words = (
        f"in {loads.count} loads of {say(loads.load_mass_g, 'g', system)}: the {machine} takes {most} at once"
    )
    if loads.loads_a_round > 1:
        return (
            f"{words}; every round of layers is shared out among {loads.loads_a_round} loads, with its spray"
        )
    if loads.rounds:
        return f"{words}; {loads.rounds} round{'s' if loads.rounds > 1 else ''} of layers in each"
    return words
