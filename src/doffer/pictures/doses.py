"""A dose of a plan, and its loads, in words, in the units of whoever reads them."""

from __future__ import annotations

from doffer.pictures.bench import say_grams, say_litres
from doffer.pictures.wording import say
from doffer.planning.loads import Loads
from doffer.planning.order_plan import DosePlan
from doffer.working import Term


def say_dose(dose: DosePlan, system: str = "metric") -> str:
    """The sentence of a dose with its amounts, in metric or in US units.

    Metric words are those of the plan, in whole grams as a bench scale shows them; US words keep the grams
    and the litres that are measured out, with ounces and gallons beside.
    """
    if system == "metric" or not dose.said:
        return dose.words
    return dose.said.format(*(_figure(figure, system) for figure in dose.figures))


def _figure(figure: Term, system: str) -> str:
    if figure.unit == "g":
        return say_grams(float(figure.value), system)
    if figure.unit == "l":
        return say_litres(float(figure.value), system)
    return say(figure.value, figure.unit, system)


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
