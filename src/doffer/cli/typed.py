"""What people type on the command line: numbers, shares, ratios. A wrong word is a usage error (exit 2)."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable

from doffer.errors import InputError
from doffer.exchange.numbers import parse_number


def number(low: float, high: float) -> Callable[[str], float]:
    """A number in a range; "2,7" is read as 2.7, "1,234" is refused because it could be either."""

    def read(text: str) -> float:
        value = _value(text)
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"“{text}” must be from {low:g} to {high:g}")
        return value

    return read


def _value(text: str) -> float:
    try:
        return float(parse_number(text, "number"))
    except InputError as problem:
        raise argparse.ArgumentTypeError(str(problem)) from None


def named_numbers(text: str) -> dict[str, float]:
    """`wool=50,alpaca=30` as a mapping; a decimal point, since the comma parts the entries."""
    found: dict[str, float] = {}
    for part in text.split(","):
        name, sign, amount = (piece.strip() for piece in part.partition("="))
        if not (name and sign and amount):
            raise argparse.ArgumentTypeError(f"“{part}” must look like wool=50")
        if name in found:
            raise argparse.ArgumentTypeError(f"“{name}” is there twice")
        found[name] = _value(amount)
    return found


def parts_of_water(text: str) -> float:
    """`1:4` is one part product and four parts water."""
    one, colon, water = (piece.strip() for piece in text.partition(":"))
    if not colon or one != "1":
        raise argparse.ArgumentTypeError(f"“{text}” must look like 1:4 (one part product, four parts water)")
    return _value(water)


def yarn(text: str) -> tuple[int, str]:
    """`2-ply 200 m/100g` or `2/8 Nm`: plies where the words begin with them (else 0), and what holds a count.

    The count is read later, from all the words: only so "2-ply Nm 8" can be asked about.
    """
    match = re.fullmatch(r"\s*(\d)\s*-?\s*ply\s*,?\s*(.*)", text, re.IGNORECASE)
    if match is not None:
        return int(match[1]), text.strip() if match[2].strip() else ""
    if re.search(r"\d", text) and re.search(r"[a-z]", text, re.IGNORECASE):
        return 0, text.strip()
    raise argparse.ArgumentTypeError(f"“{text}” must look like 2-ply 200 m/100g or 2/8 Nm")


def whole_numbers(text: str) -> tuple[int, ...]:
    """`4,7` as row numbers."""
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” must look like 4,7") from None
