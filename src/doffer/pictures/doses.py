"""A dose of a plan in words, in the units of whoever reads it."""

from __future__ import annotations

from doffer.pictures.wording import say
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
