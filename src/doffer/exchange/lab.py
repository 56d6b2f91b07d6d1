"""Lab values as people type them: "46.6, -20.9, 19.2", "46,6 -20,9 19,2", "L 46.6 a -20.9 b 19.2"."""

from __future__ import annotations

import re

from doffer.errors import InputError
from doffer.exchange.numbers import MOST_SIGNS, Cell, is_blank

ALLOWED = "three numbers, L, a and b, such as 46.6, -20.9, 19.2"
_LETTERS = re.compile(r"(?i)(?<![a-z])(?:l|a|b)\s*\*?\s*[=:]?\s*(?=[-+−]?[0-9.])")
_WITH_POINT = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_WITH_COMMA = re.compile(r"[-+]?[0-9]+(?:,[0-9]+)?")

Lab = tuple[float, float, float]


def parse_lab(typed: Cell, field: str = "Lab") -> Lab:
    """L, a and b from one text; decimal commas need spaces, semicolons or slashes between the numbers.

    >>> parse_lab("46,6; -20,9; 19,2")
    (46.6, -20.9, 19.2)

    Raises
    ------
    InputError
        Not three numbers, or three that could be read in two ways.
    """
    if is_blank(typed) or not isinstance(typed, str) or len(typed) > MOST_SIGNS:
        raise InputError(field, typed, ALLOWED)
    text = _LETTERS.sub(" ", typed.replace("−", "-")).strip()
    for parted in _ways(text):
        if parted is not None and len(parted) == 3:
            first, second, third = parted
            return first, second, third
    raise InputError(field, typed, ALLOWED)


def _ways(text: str) -> tuple[list[float] | None, ...]:
    """The text parted by semicolons, slashes or spaces first, else by its commas."""
    pieces = [piece for piece in re.split(r"[;/\s]+", text) if piece.strip(",")]
    return _numbers([piece.strip(",") for piece in pieces]), _numbers(text.split(","))


def _numbers(pieces: list[str]) -> list[float] | None:
    found = []
    for piece in (piece.strip() for piece in pieces):
        if _WITH_POINT.fullmatch(piece):
            found.append(float(piece))
        elif _WITH_COMMA.fullmatch(piece):
            found.append(float(piece.replace(",", ".")))
        else:
            return None
    return found
