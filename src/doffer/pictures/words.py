"""Words around the numbers: how far a figure can be trusted, small counts in words, US and UK spellings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from doffer.working import STATUS_WORDS, Status

# The same thing under two names or spellings: (UK and elsewhere, US).
REGIONAL: Final = {
    "fibre": ("fibre", "fiber"),
    "fibres": ("fibres", "fibers"),
    "colour": ("colour", "color"),
    "colours": ("colours", "colors"),
    "grey": ("grey", "gray"),
    "wash": ("scour", "wash"),
    "washed": ("scoured", "washed"),
    "washing": ("scouring", "washing"),
    "woollen": ("woollen", "woolen"),
    "mould": ("mould", "mold"),
    "pin drafting": ("gilling", "pin drafting"),
    "metre": ("metre", "meter"),
    "metres": ("metres", "meters"),
    "litre": ("litre", "liter"),
    "litres": ("litres", "liters"),
    "centre": ("centre", "center"),
    "labelled": ("labelled", "labeled"),
    "bulky": ("chunky", "bulky"),
    "fingering": ("4-ply", "fingering"),
    "licence": ("licence", "license"),
}
SMALL_NUMBERS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def say_status(status: Status | str) -> str:
    """How far a figure can be trusted, in words."""
    return STATUS_WORDS[Status(status)]


def word(name: str, country: str) -> str:
    """The word used in a country ("US" or any other); capitals are kept, unknown words pass unchanged."""
    pair = REGIONAL.get(name.lower())
    if pair is None:
        return name
    chosen = pair[1] if country.upper() == "US" else pair[0]
    return chosen.capitalize() if name[:1].isupper() else chosen


def say_many(number: int, thing: str, things: str = "") -> str:
    """A small count in words with its noun: "no lots", "one order", "three orders", "14 lots"."""
    noun = thing if number == 1 else things or f"{thing}s"
    figure = SMALL_NUMBERS[number] if 0 <= number < len(SMALL_NUMBERS) else str(number)
    return f"{figure} {noun}"


def say_list(items: Sequence[str], joiner: str = "and") -> str:
    """A list as it is spoken: "wool", "wool and silk", "wool, alpaca and silk"."""
    if len(items) <= 1:
        return "".join(items)
    return f"{', '.join(items[:-1])} {joiner} {items[-1]}"


def sentence(text: str) -> str:
    """First letter large, a full stop at the end."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:" else ".")
