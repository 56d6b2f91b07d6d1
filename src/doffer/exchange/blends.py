"""Blends as they are said on the telephone: "50 wool 30 alpaca 20 silk", "60/20/20 wool/alpaca/silk"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from doffer.errors import InputError, NotFoundError
from doffer.exchange.numbers import Cell, parse_number, smoothed
from doffer.fibre.kinds import find_fibre
from doffer.tables.loader import Tables

HUNDRED = Decimal(100)
ROUNDING = Decimal("0.1")  # three thirds written 33.3 miss a hundred by this
SHARES_EXAMPLE = "shares that sum to 100, such as 60/20/20"
BLEND_EXAMPLE = "shares and fibres, such as 50 wool 30 alpaca 20 silk"
_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_SIGNS = re.compile(r"[%/:=+&;|]|\band\b|\bper ?cent\b|\bpct\b|,(?![0-9])|(?<![0-9]),")


def parse_shares(typed: Cell, field: str = "shares") -> tuple[float, ...]:
    """Shares [frac] that sum to 1, in the order typed: "60/20/20", "50 30 20", "33.3 33.3 33.4 %"."""
    text = _SIGNS.sub(" ", smoothed(typed, field, SHARES_EXAMPLE))
    if not re.fullmatch(r"[0-9., ]+", text):
        raise InputError(field, typed, SHARES_EXAMPLE)
    return _shares(text.split(), field, typed)


def parse_blend(typed: Cell, tables: Tables, field: str = "blend") -> dict[str, float]:
    """Share [frac] by label name of ``tables.fibres``, in the order typed; breeds count as their fibre.

    Shares may stand before or behind their fibre, or first all shares and then all fibres; a fibre alone is
    all of it. Two names of one fibre are added up.

    Raises
    ------
    InputError
        A fibre nobody knows (with close names), a share without fibre, or shares that do not sum to 100.
    """
    text = _SIGNS.sub(" ", smoothed(typed, field, BLEND_EXAMPLE))
    numbers = _NUMBER.findall(text)
    names = [" ".join(part.split()) for part in _NUMBER.split(text) if part.strip(" .,")]
    if not numbers:
        return {_label(text, tables, field): 1.0}
    if len(names) == 1 and len(numbers) > 1:
        names = names[0].split(" ")
    if len(names) != len(numbers):
        raise InputError(field, typed, f"a share for each fibre; {BLEND_EXAMPLE}")
    blend: dict[str, float] = {}
    for name, share in zip(names, _shares(numbers, field, typed), strict=True):
        label = _label(name, tables, field)
        blend[label] = blend.get(label, 0.0) + share
    return blend


def _shares(numbers: Sequence[str], field: str, typed: Cell) -> tuple[float, ...]:
    parts = [parse_number(number, field, allowed=SHARES_EXAMPLE, within=typed) for number in numbers]
    total = sum(parts, Decimal(0))
    if total != 1 and abs(total - HUNDRED) > ROUNDING:
        raise InputError(field, typed, f"{SHARES_EXAMPLE}; these sum to {total.normalize():f}")
    return tuple(float(part / total) for part in parts)


def _label(name: str, tables: Tables, field: str) -> str:
    try:
        return find_fibre(tables, name).label_as
    except NotFoundError as missing:
        raise InputError(field, name, f"a fibre that is known. {missing.hint}".rstrip(".")) from None
