"""The questions a yarn count leaves open, each in one sentence that says how to write what is meant."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from doffer.errors import InputError
from doffer.exchange.numbers import Cell
from doffer.fibre.count import to_tex
from doffer.tables.loader import Tables

_QUALITY = re.compile(r"([0-9]{2,3})'?s(?: (?:quality|grade|wool|count))?")
_FOLDED = re.compile(r"([0-9]{1,3}) ?/ ?([0-9]{1,3})('?s)?")
_PLY_ALONE = re.compile(r"(?:[0-9]{1,2}|one|two|three|four|five|six|seven|eight)[ -]?(?:ply|fold|plies)")
_WRAPS = re.compile(r".*\b(?:wpi|wraps?)\b.*")
_LINEN = re.compile(r".*\b(?:lea|leas|linen)\b.*")
_SKEINS = re.compile(r"[0-9.,]+ ?(?:skeins?|hanks?)")
_SIZE = re.compile(r"(?:size|no\.?|#) ?[0-9/]+")
MORE_NAMES = frozenset({"double knitting", "double knit", "chunky", "sock", "baby", "cobweb", "thread"})
WAYS_OF_SPINNING = frozenset({"woollen", "woolen", "semi-worsted", "semiworsted"})
THICKNESS_PLIES = frozenset(
    {4, 5, 8, 10, 12}
)  # “ply” with these is a thickness in the shops of some countries
_MOST_STRANDS_SEEN = 4  # bare "2/8" or "8/2": the smaller figure is the strands


def ask_named(text: str, field: str, typed: Cell, tables: Tables) -> None:
    """Refuse what has a name or a figure but is no count yet, with the question it leaves.

    Raises
    ------
    InputError
        A wool grade, a thickness by name, plies alone, wraps, "2/8" without its system.
    """
    questions = (
        _quality(text, tables),
        _thickness(text, tables),
        _plies(text),
        _folded(text, tables),
        _other(text),
    )
    for allowed in questions:
        if allowed:
            raise InputError(field, typed, allowed)


def ask_for_more(text: str, field: str, typed: Cell, tables: Tables) -> None:
    """Refuse a figure without its system, once nothing else fits."""
    if re.fullmatch(r"[0-9][0-9.,' ]*", text):
        raise InputError(field, typed, "written with its system: m/100 g, yd/lb, tex, Nm or another")
    ask_named(text, field, typed, tables)


def _quality(text: str, tables: Tables) -> str:
    """The words "64s" are a wool grade; "12s" may be worsted or cotton."""
    match = _QUALITY.fullmatch(text)
    if match is None:
        return ""
    figure = match[1]
    both = f"{figure}s worsted or {figure} Ne (cotton)"
    if f"{figure}s" in tables.wool_grades or not text.endswith("s"):
        return f"the count of a yarn, and {figure}s is a grade of wool: write {both} if the yarn is meant"
    return f"written with its system: {both}"


def _thickness(text: str, tables: Tables) -> str:
    """Names of thicknesses mean other lengths in other charts; “worsted” is a way of spinning too."""
    name = text.removesuffix(" weight").removesuffix("-weight")
    rows = [
        row
        for row in tables.yarn_classes.values()
        if row.quantity == "m_per_100g" and row.name.casefold() == name and row.chart != "hand_spinners"
    ]
    if not rows and name in MORE_NAMES:
        return f"a count: “{text}” is a thickness that everybody draws differently; type metres in 100 g"
    if not rows and name not in WAYS_OF_SPINNING:
        return ""
    if not rows:
        return "a count: this is a way of spinning; type metres in 100 g, such as 230 m/100 g"
    row = rows[0]
    length = f"{row.low:g} to {row.high:g}" if row.low and row.high else f"{row.low or row.high:g}"
    also = "a way of spinning and a thickness" if name == "worsted" else "a thickness"
    return (
        f"a count: “{row.name}” is {also} that charts draw differently (one has {length} m in 100 g); "
        "type metres in 100 g"
    )


def _plies(text: str) -> str:
    if _PLY_ALONE.fullmatch(text) is None:
        return ""
    return (
        f"a count: “{text}” is a number of strands, and in some countries a thickness; say metres in 100 g, "
        "such as 230 m/100 g, and where strands are meant such as 230 m/100 g, 2 strands"
    )


def strands_or_thickness(plies: int, rest: str) -> str:
    """The words "8 ply" before a length may name the thickness (DK in some countries) or the strands."""
    return f"either “{rest}, {plies} strands”, or “{rest}” alone where {plies}-ply is meant as a thickness"


def _folded(text: str, tables: Tables) -> str:
    """A bare "2/8" is three different yarns."""
    match = _FOLDED.fullmatch(text)
    if match is None:
        return ""
    low, high = sorted((int(match[1]), int(match[2])))
    if not 1 <= low <= _MOST_STRANDS_SEEN:
        return "written with its system, such as 2/8 Nm, 2/8s worsted or 8/2 Ne"
    spelt = (
        ("nm", f"{low}/{high} Nm"),
        ("new_worsted", f"{low}/{high}s worsted"),
        ("ne_cotton", f"{high}/{low} Ne"),
    )
    said = [
        f"{words} is {low * to_tex(tables, system=system, count=float(high)):.0f} tex"
        for system, words in spelt
    ]
    return f"written with its system: {said[0]}, {said[1]}, and in cotton {said[2]}"


def _other(text: str) -> str:
    if _WRAPS.fullmatch(text):
        return (
            "a count: wraps depend on how they are laid, twofold between methods; weigh 10 m and type metres "
            "in 100 g"
        )
    if _LINEN.fullmatch(text) and " of " not in text:
        return (
            "in another system, since linen lea is not kept here: say the hank, such as 20 leas of 300 yd/lb"
        )
    if _SKEINS.fullmatch(text):
        return "written with the length of a hank, such as 20 hanks of 300 yd/lb, or as Yorkshire skein"
    if _SIZE.fullmatch(text):
        return "a count with its system; sizes of threads have no common measure: type metres in 100 g"
    return ""


def strands_or_fraction(values: Sequence[Decimal], *, system: str) -> str:
    """The figures "2/3 run" may be two thirds of a run or two strands of 3 run."""
    first, second = values
    strands = "1 strand" if first == 1 else f"{first} strands"
    return (
        f"either {strands} of {second} {system}, or {float(first / second):.4g} {system} without the stroke"
    )


def which_order(values: Sequence[Decimal], *, spelt: str, is_cotton: bool) -> str:
    """The figures "8/2 Nm" stand against the habit of their system: strands first, in cotton last."""
    low, high = sorted(values)
    usual = f"{high}/{low}" if is_cotton else f"{low}/{high}"
    return f"either {usual} {spelt}, which is {low} strands of {high}, or {high} strands of {low} {spelt}"
