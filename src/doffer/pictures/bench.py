"""Words of the bench: weights as a gram scale shows them, baths in litres, and which fibre a line weighs."""

from __future__ import annotations

from typing import Final

from doffer.pictures.wording import THIN, say

RAW_FORMS: Final = ("greasy", "skirted")
MEETING: Final = {"pick": "at the picker", "card": "at the card"}


def say_grams(mass_g: float, system: str = "metric") -> str:
    """Whole grams, ounces beside for US readers: "1062 g", "1062 g (2 lb 5.5 oz)".

    A portion is weighed on a gram scale: rounded to ounces, layers would no longer add up.
    """
    said = f"{say(round(mass_g), 'count')}{THIN}g"
    return f"{said} ({say(mass_g, 'g', 'us', digits=1)})" if system == "us" else said


def say_litres(volume_l: float, system: str = "metric") -> str:
    """A bath in litres, gallons beside for US readers: "142 L", "142 L (37.5 gal)"."""
    said = say(volume_l, "l", digits=0 if volume_l >= 1 else None)
    return f"{said} ({say(volume_l, 'l', 'us', digits=1)})" if system == "us" else said


def say_weighed_when(form: str, mass_g: float, meeting: str) -> str:
    """What a weigh-out line of fibre still in the grease means; nothing to say of washed fibre.

    `meeting` is the stage at which the lots come together.
    """
    if form not in RAW_FORMS:
        return ""
    at = MEETING.get(meeting, "where the lots meet")
    return f"after washing, {at}: {say_grams(mass_g)} of clean dry fibre"
