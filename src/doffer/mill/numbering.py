"""Numbers of lots, orders, customers and tags: never twice, also when two people ask at once."""

from __future__ import annotations

import re

from doffer.mill.models import Counter
from doffer.mill.tags import tag_of
from doffer.mill.write import serialise

LOT = "L"
ORDER = "O"
CUSTOMER = "C"
PERSON = "P"
RUN = "N"
BLEND = "B"
ROVING = "R"
YARN = "Y"
SHADE = "S"
MIX = "M"
TAG = "tag"
_DIGITS = {CUSTOMER: 2, PERSON: 1}
_USUAL_DIGITS = 3
_CODE = re.compile(r"([A-Z]+)(\d+)$")


def _next(series: str) -> int:
    serialise("numbers")
    counter, _ = Counter.objects.select_for_update().get_or_create(series=series)
    counter.last += 1
    counter.save(update_fields=["last"])
    return counter.last


def next_code(series: str) -> str:
    """The next number of a series, such as L041; must be called inside `write()`."""
    return f"{series}{_next(series):0{_DIGITS.get(series, _USUAL_DIGITS)}d}"


def next_tag() -> str:
    """The next container tag."""
    while (tag := tag_of(_next(TAG))) is None:
        pass
    return tag


def note_code(code: str) -> None:
    """Remember a number that came from outside, so that it is not given out again."""
    match = _CODE.match(code)
    if match is None:
        return
    serialise("numbers")
    counter, _ = Counter.objects.select_for_update().get_or_create(series=match[1])
    if counter.last < int(match[2]):
        counter.last = int(match[2])
        counter.save(update_fields=["last"])
