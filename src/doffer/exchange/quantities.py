"""Weights, lengths, fineness and shares as people type them, in base units.

Every reader takes what a form or a spreadsheet cell holds and gives one number, or raises `InputError` with
a sentence that says how to mend it. Units may stand beside the number; `unit` is the one meant without it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from doffer.errors import InputError
from doffer.exchange.numbers import (
    PLAIN,
    Cell,
    Habits,
    parse_number,
    refuse_range,
    smoothed,
    without_about,
)

POUND_G = Decimal("453.59237")  # exact, by definition
OUNCE_G = POUND_G / 16
INCH_MM = Decimal("25.4")  # exact, by definition

MASS_G = {
    "mg": Decimal("0.001"),
    "g": Decimal(1),
    "oz": OUNCE_G,
    "lb": POUND_G,
    "kg": Decimal(1000),
    "st": POUND_G * 14,
    "t": Decimal(1_000_000),
}
MASS_WORDS = {
    "mg": "mg",
    **dict.fromkeys(("g", "gm", "gms", "gram", "grams", "gramme", "grammes"), "g"),
    **dict.fromkeys(("oz", "ozs", "ounce", "ounces"), "oz"),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds", "#"), "lb"),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme"), "kg"),
    **dict.fromkeys(("st", "stone", "stones"), "st"),
    **dict.fromkeys(("t", "tonne", "tonnes"), "t"),
}
PARTS_OF = {"st": ("lb", 14), "lb": ("oz", 16), "kg": ("g", 1000), "t": ("kg", 1000)}
LENGTH_MM = {"mm": Decimal(1), "cm": Decimal(10), "in": INCH_MM, "m": Decimal(1000)}
LENGTH_WORDS = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "''", "”"), "in"),
}
MICRON_WORDS = frozenset({"", "um", "µm", "μm", "u", "mic", "mics", "micron", "microns", "micrometre"})
PACK_WORDS = re.compile(
    r"\b(bags?|sacks?|feed ?sacks?|fleeces?|bales?|boxe?s?|bins?|bundles?|sheets?|totes?)\b"
)

MOST_MASS_G = Decimal(50_000_000)  # fifty tonnes: more is a slip of the unit
FINEST_UM, COARSEST_UM = 5, 80  # from the finest down to the coarsest guard hair a mill is sent
SHORTEST_MM, LONGEST_MM = 5, 500
MASS_EXAMPLE = "a weight such as 3.5 kg, 850 g or 7 lb 11 oz"
_PART = re.compile(
    r"\s*(?:,|&|and\b)?\s*([-+]? ?[0-9.,][0-9.,' ]*(?:/[0-9]+)?(?:e[+-]?[0-9]+\b)?)\s*([a-z]+|#)?\.?\s*"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadMass:
    """A weight as read: grams, whether it was called approximate, whether the unit had to be assumed."""

    mass_g: float
    is_approximate: bool
    is_unit_assumed: bool


def read_mass(typed: Cell, field: str = "weight", *, unit: str = "", habits: Habits = PLAIN) -> ReadMass:
    """A weight and how surely it was said: "3,5 kg", "2 lb 3 oz", "2½ lb", "ca. 4 kg", 3.5 with `unit`.

    Raises
    ------
    InputError
        Nothing, no weight ("about 3 bags"), a range, two meanings ("1,234"), below zero, an unknown unit.
    """
    text, is_approximate = without_about(smoothed(typed, field, MASS_EXAMPLE))
    packs = PACK_WORDS.search(text)
    if packs:
        raise InputError(
            field,
            typed,
            f"a weight: weigh the {_plural(packs[1])}, or give kilograms; “ca. 4 kg” is understood",
        )
    refuse_range(text, field, typed)
    parts = _parts(text, field, typed)
    mass_g = _sum_of(parts, field, typed, unit=unit, habits=habits)
    return ReadMass(mass_g=float(mass_g), is_approximate=is_approximate, is_unit_assumed=not parts[0][1])


def parse_mass_g(typed: Cell, field: str = "weight", *, unit: str = "", habits: Habits = PLAIN) -> float:
    """A weight [g]; see `read_mass`.

    >>> parse_mass_g("3,5 kg"), round(parse_mass_g("2 lb 3 oz"), 1)
    (3500.0, 992.2)
    """
    return read_mass(typed, field, unit=unit, habits=habits).mass_g


def _plural(word: str) -> str:
    return word if word.endswith("s") else f"{word}s"


def _parts(text: str, field: str, typed: Cell) -> list[tuple[str, str]]:
    """The text as numbers with their unit words; "" where a number has none."""
    parts, at = [], 0
    while at < len(text):
        match = _PART.match(text, at)
        if match is None:
            raise InputError(field, typed, MASS_EXAMPLE)
        parts.append((match[1].strip().rstrip(","), _unit(match[2] or "", field, typed)))
        at = match.end()
    return parts


def _unit(word: str, field: str, typed: Cell) -> str:
    if word in ("ton", "tons"):
        raise InputError(field, typed, "in kg or lb, because there are several tons")
    if word and word not in MASS_WORDS:
        raise InputError(field, typed, "in kg, g, lb or oz, such as 3.5 kg or 7 lb 11 oz")
    return MASS_WORDS.get(word, "")


def _sum_of(parts: list[tuple[str, str]], field: str, typed: Cell, *, unit: str, habits: Habits) -> Decimal:
    """One figure with a unit, or a larger unit followed by its smaller one."""
    if len(parts) == 1 and not parts[0][1] and not unit:
        raise InputError(field, typed, f"{MASS_EXAMPLE}: say the unit too")
    total, before = Decimal(0), ""
    for number, word in parts:
        value = parse_number(number, field, habits=habits, allowed=MASS_EXAMPLE, within=typed)
        if before or len(parts) > 1:
            _check_follows(before, word, value, field, typed, is_first=not before)
        total += value * MASS_G[word or unit]
        before = word
    if total > MOST_MASS_G:
        raise InputError(field, typed, f"at most {MOST_MASS_G / 1000:,} kg: look at the unit")
    return total


def _check_follows(
    before: str, word: str, value: Decimal, field: str, typed: Cell, *, is_first: bool
) -> None:
    if not word:
        raise InputError(field, typed, f"{MASS_EXAMPLE}, with a unit behind each number")
    if is_first:
        return
    smaller, limit = PARTS_OF.get(before, ("", 0))
    if word != smaller:
        raise InputError(field, typed, "one weight, such as 7 lb 11 oz; write two weights on two lines")
    if value >= limit:
        raise InputError(field, typed, f"less than {limit} {word} behind the {before}")


def _single(text: str, pattern: str) -> tuple[str, str]:
    """Number and unit word of "95mm"; the whole text as number when it does not look so."""
    match = re.fullmatch(
        rf"([-+]?[0-9.,][0-9.,' ]*(?:[0-9]/[0-9]+)?(?:e[+-]?[0-9]+)?)\s*({pattern})\.?", text
    )
    return (match[1].strip(), match[2]) if match else (text, "")


def parse_micron(typed: Cell, field: str = "micron", *, habits: Habits = PLAIN) -> float:
    """Mean fibre diameter [um], from 5 to 80: "23.1", "23,1 µm", "ca. 22 micron"."""
    allowed = f"one figure from {FINEST_UM} to {COARSEST_UM} micron; leave it empty if nobody measured it"
    text, _ = without_about(smoothed(typed, field, allowed))
    refuse_range(text, field, typed)
    number, word = _single(text, r"[a-zµμ]*")
    if word not in MICRON_WORDS:
        raise InputError(field, typed, allowed)
    value = parse_number(number, field, habits=habits, allowed=allowed, within=typed)
    if not FINEST_UM <= value <= COARSEST_UM:
        raise InputError(field, typed, allowed)
    return float(value)


def parse_micron_sd(typed: Cell, field: str = "micron SD", *, habits: Habits = PLAIN) -> float:
    """Standard deviation of the fibre diameter [um], above 0 and up to 40."""
    allowed = f"a spread from 0.1 to {COARSEST_UM // 2} micron"
    number, word = _single(smoothed(typed, field, allowed), r"[a-zµμ]*")
    value = parse_number(number, field, habits=habits, allowed=allowed, within=typed)
    if word not in MICRON_WORDS or not 0 < value <= COARSEST_UM / 2:
        raise InputError(field, typed, allowed)
    return float(value)


def parse_length_mm(typed: Cell, field: str = "staple", *, unit: str = "mm", habits: Habits = PLAIN) -> float:
    """A staple length [mm], from 5 to 500: "95mm", "4 in", '4½"', "9,5 cm"; else in `unit`."""
    allowed = f"a length from {SHORTEST_MM} to {LONGEST_MM} mm, such as 95 mm or 3.75 in"
    text, _ = without_about(smoothed(typed, field, allowed))
    refuse_range(text, field, typed)
    number, word = _single(text, r"[a-z]*|\"|''|”")
    known = LENGTH_WORDS.get(word or unit)
    if known is None:
        raise InputError(field, typed, allowed)
    value_mm = parse_number(number, field, habits=habits, allowed=allowed, within=typed) * LENGTH_MM[known]
    if not SHORTEST_MM <= value_mm <= LONGEST_MM:
        raise InputError(field, typed, allowed)
    return float(value_mm)


def parse_share(typed: Cell, field: str = "share", *, habits: Habits = PLAIN) -> float:
    """A share [frac]: "58 %", "58,5 percent", or 58 alone; 0 is nothing.

    "0.58" alone could be 58 % or just over half a percent: it is refused with that question.
    """
    allowed = "a share from 0 to 100 %, such as 58 %"
    number, word = _single(smoothed(typed, field, allowed), r"%|per ?cent|pct|")
    value = parse_number(number, field, habits=habits, allowed=allowed, within=typed)
    if value > 100:  # percent
        raise InputError(field, typed, allowed)
    if not word and 0 < value <= 1:
        meant = f"{(value * 100).normalize():f} % or {value.normalize():f} %"
        raise InputError(field, typed, f"either {meant}, written with its sign")
    return float(value / 100)
