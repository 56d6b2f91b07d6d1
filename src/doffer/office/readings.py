"""What was typed into a form at a scale, read field by field; every sentence stays beside its field."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TypeVar

from doffer.errors import InputError
from doffer.exchange.numbers import is_blank, parse_number
from doffer.exchange.quantities import parse_length_mm, parse_mass_g, parse_share
from doffer.mill.booking import Reading
from doffer.mill.queries.door import Air
from doffer.pictures.wording import G_PER_LB

MASS_UNIT = {"metric": "kg", "us": "lb"}
SMALL_MASS_UNIT = {"metric": "g", "us": "oz"}
LENGTH_UNIT = {"metric": "mm", "us": "in"}
COLDEST_C, HOTTEST_C = -20.0, 60.0
BRANCHES = (
    ("desorption", "Dried here after a wash"),
    ("absorption", "Stored dry, then dampened"),
    ("wet", "Still wet"),
)
# How a command names what is wrong -> the end of the field's name on every form.
FIELD_OF = {
    "weight with the container": "gross",
    "weight of the empty container": "tare",
    "weight of the bag": "gross",
    "tare": "tare",
    "room humidity": "rh",
    "relative humidity": "rh",
    "temperature": "temp",
    "conditioner on the fibre": "oil",
    "how the water is known": "branch",
}
T = TypeVar("T")


def as_typed_mass(mass_g: float, system: str) -> str:
    """A weight as somebody would type it into a field of this system."""
    return f"{round(mass_g / G_PER_LB, 3):g}" if system == "us" else f"{mass_g / 1000:g}"


class Typed:
    """One form as it came: values as typed, and the sentences that go beside its fields."""

    def __init__(self, data: Mapping[str, str], system: str) -> None:
        self.data = data
        self.system = system
        self.errors: dict[str, str] = {}
        self.air_read_at: datetime | None = None  # set while the room still stands as it was read last

    def text(self, name: str) -> str:
        """What stands in a field, trimmed."""
        return self.data.get(name, "").strip()

    def is_said(self, name: str) -> bool:
        """Whether anything stands in a field."""
        return not is_blank(self.text(name))

    def wrong(self, name: str, sentence: str) -> None:
        """Put a sentence beside a field; the first one stays."""
        self.errors.setdefault(name, sentence)

    def read(self, name: str, reader: Callable[..., T], label: str, **how: object) -> T | None:
        """What a reader makes of a field; None where it is empty or wrong."""
        if not self.is_said(name):
            return None
        try:
            return reader(self.text(name), label, **how)
        except InputError as wrong:
            self.wrong(name, str(wrong))
            return None

    def needed(self, name: str, sentence: str) -> bool:
        """Whether a field is filled; its sentence when it is not."""
        if not self.is_said(name):
            self.wrong(name, sentence)
        return self.is_said(name)

    def mass_g(self, name: str, label: str, *, unit: str = "") -> float | None:
        """A weight [g] in the form's own unit, or in the one typed with it."""
        return self.read(name, parse_mass_g, label, unit=unit or MASS_UNIT[self.system])

    def small_mass_g(self, name: str, label: str) -> float | None:
        """A weight [g] where grams or ounces are usual."""
        return self.mass_g(name, label, unit=SMALL_MASS_UNIT[self.system])

    def share(self, name: str, label: str) -> float | None:
        """A share [frac] typed as percent."""
        return self.read(name, parse_share, label)

    def length_mm(self, name: str, label: str) -> float | None:
        """A length [mm]."""
        return self.read(name, parse_length_mm, label, unit=LENGTH_UNIT[self.system])

    def count(self, name: str, label: str, *, low: int, high: int) -> int | None:
        """A whole number between two."""
        value = self.read(name, parse_number, label, allowed=f"a whole number from {low} to {high}")
        if value is None:
            return None
        if value != int(value) or not low <= value <= high:
            self.wrong(name, str(InputError(label, self.text(name), f"a whole number from {low} to {high}")))
            return None
        return int(value)

    def temp_c(self, name: str) -> float | None:
        """A room temperature [C], typed in degrees of the form's units."""
        value = self.read(name, parse_number, "temperature", allowed="degrees, such as 18")
        if value is None:
            return None
        temp_c = (float(value) - 32) * 5 / 9 if self.system == "us" else float(value)
        if not COLDEST_C <= temp_c <= HOTTEST_C:
            self.wrong(name, f"A room of {value} degrees cannot be: read the thermometer again.")
            return None
        return temp_c

    def reading(self, prefix: str = "", *, branch: str = "", finish_g: float = 0.0) -> Reading | None:
        """Gross, tare and the room as one reading of the scale; None where something is wrong."""
        gross, tare = f"{prefix}gross", f"{prefix}tare"
        self.needed(gross, "Type what the scale shows, with the bag or bin on it.")
        gross_g = self.mass_g(gross, "weight with the container")
        tare_g = self.mass_g(tare, "weight of the empty container") or 0.0
        rh_frac, temp_c = self.share("rh", "room humidity"), self.temp_c("temp")
        if gross_g is not None and tare_g > gross_g:
            self.wrong(
                tare,
                "The empty container is heavier than the full one. "
                "Were the two numbers exchanged, or is there a slip in one of them?",
            )
        if self.errors or gross_g is None:
            return None
        try:
            return Reading(
                gross_g=gross_g,
                tare_g=tare_g,
                rh_frac=rh_frac,
                temp_c=temp_c,
                branch=branch or self.text("branch") or "desorption",
                finish_g=finish_g,
                scale=self.text("scale"),
            )
        except InputError as error:
            self.put(error, prefix)
            return None

    def put(self, error: InputError, prefix: str = "") -> None:
        """Put an error of a command beside the field it speaks of, else above the form."""
        name = FIELD_OF.get(error.field)
        room = name in ("rh", "temp", "branch")
        self.wrong("__all__" if name is None else name if room else f"{prefix}{name}", str(error))


def first_typed(air: Air, system: str, **first: str) -> Typed:
    """A fresh form: its first values, and the last reading of the room as somebody would type it."""
    words = dict(first)
    if air.rh_frac is not None:
        words["rh"] = f"{air.rh_frac * 100:.0f}"
    if air.temp_c is not None:
        words["temp"] = f"{air.temp_c * 9 / 5 + 32 if system == 'us' else air.temp_c:.0f}"
    typed = Typed(words, system)
    typed.air_read_at = air.read_at
    return typed
