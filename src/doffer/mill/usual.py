"""What is usual at the door of this mill, so that a weight far larger or smaller is asked about."""

from __future__ import annotations

from statistics import median

from doffer.mill import bridge
from doffer.mill.booking import QuestionError
from doffer.mill.models import Weighing
from doffer.mill.models.weighings import Moment

BAGS_LOOKED_AT = 60
FEWEST_BAGS = 5  # below this many a mill has no habit yet
USUAL_BAG_G = 3_000.0  # common practice: a fleece with its bag; counts until the mill has its own habit
G_PER_LB = 453.59237  # by definition
TIMES_USUAL = 5  # a slipped decimal point is ten times too much, and bags differ by a factor of two


def usual_bag_g() -> float:
    """Median net weight of the last bags that came in [g]; one query."""
    weights = Weighing.objects.filter(moment=Moment.INTAKE).order_by("-pk")
    nets_mg = [gross - tare for gross, tare in weights.values_list("gross_mg", "tare_mg")[:BAGS_LOOKED_AT]]
    return bridge.grams(round(median(nets_mg))) if len(nets_mg) >= FEWEST_BAGS else USUAL_BAG_G


def say_mass(mass_g: float, units: str) -> str:
    """A weight in a sentence, in kilograms or pounds."""
    return f"{mass_g / G_PER_LB:.2f} lb" if units == "us" else f"{mass_g / 1000:.2f} kg"


def ask_about_bag(net_g: float, confirmation: str, *, units: str = "metric") -> None:
    """A bag far from the usual is asked about until somebody says that it is right; in the owner's units.

    Raises
    ------
    QuestionError
        Too heavy, or as light as if the decimal point had slipped the other way.
    """
    usual_g = usual_bag_g()
    if confirmation.strip() or usual_g / TIMES_USUAL**2 < net_g < usual_g * TIMES_USUAL:
        return
    raise QuestionError(
        "This is far from a usual bag",
        (f"{say_mass(net_g, units)} net, and bags here usually hold about {say_mass(usual_g, units)}",),
        "Look at the scale and at the decimal point again, or say that it is right",
    )
