"""Numbers as people type them: comma or point, grouped thousands, fractions; never a guess between two.

All readers of this package take what a form or a spreadsheet cell holds (text, a number, a date, nothing)
and raise `InputError` with a sentence; they raise nothing else, whatever is typed. Arithmetic is decimal,
so that 58.3 % is exactly the same number as 0.583.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeVar

from doffer.errors import InputError

Cell = str | float | int | date | None  # what a form field or a spreadsheet cell holds
T = TypeVar("T")

NOTHING_WORDS = frozenset(
    {"", "-", "--", "–", "—", "?", "n/a", "na", "none", "unknown", "not known", "nil", "/"}
)
MOST_SIGNS = 200  # no quantity needs more; keeps a pasted page out of the patterns
GROUP = 3  # digits between two signs that group thousands
LARGEST = Decimal(10) ** 12

_FRACTION_SIGNS = {sign: unicodedata.normalize("NFKC", sign).replace("⁄", "/") for sign in "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"}
_APPROXIMATE = re.compile(
    r"^(?:approximately|approx|about|around|roughly|nearly|circa|ca|est|estimated|c|~|≈)\.?\s*(?=[0-9.,])"
)
_OR_SO = re.compile(r"\s*(?:or so|approx\.?|est\.?|\(approx\.?\)|\(est\.?\))$")
_RANGE = re.compile(r"[0-9]\s*[a-z%\"]*\.?\s*(?:-|–|\bto\b)\s*[0-9]")
_ONE_SIGN = re.compile(r"([0-9]*)([.,])([0-9]+)$")
_EXPONENT = re.compile(r"(.*[0-9])e([+-]?[0-9]{1,2})$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """How a file, a mill or a person writes, where the writing alone leaves it open.

    Parameters
    ----------
    decimal : str
        "," or "." when the decimal sign is known; "" leaves "1,234" a question.
    commas_seen : bool
        Decimal commas stand elsewhere in the same file: then "1.234" is a question too.
    date_order : str
        "dmy" or "mdy" when known; "" leaves 02/03/2026 a question.
    """

    decimal: str = ""
    commas_seen: bool = False
    date_order: str = ""


PLAIN = Habits()


def is_blank(typed: Cell) -> bool:
    """Whether nothing was said: empty, a dash, a question mark, "n/a", "unknown"."""
    if isinstance(typed, float) and math.isnan(typed):
        return False
    return typed is None or (isinstance(typed, str) and typed.strip().casefold() in NOTHING_WORDS)


def maybe(read: Callable[..., T], typed: Cell, *args: object, **named: object) -> T | None:
    """What a reader makes of the text, or None where nothing was said."""
    return None if is_blank(typed) else read(typed, *args, **named)


def smoothed(typed: Cell, field: str, allowed: str) -> str:
    """Typed text in small letters with plain spaces, minus signs and fractions.

    Raises
    ------
    InputError
        Nothing, too long, or a date or a yes/no where a quantity was expected.
    """
    if isinstance(typed, date):
        allowed = f"{allowed}; the spreadsheet made a date of it: format the column as text and type it again"
        raise InputError(field, typed.isoformat()[:10], allowed)
    if isinstance(typed, bool):
        raise InputError(field, "yes" if typed else "no", allowed)
    if is_blank(typed):
        raise InputError(field, None, allowed)
    if isinstance(typed, int) and abs(typed) > LARGEST:
        raise InputError(field, "a very long number", allowed)
    text = _as_text(typed)
    if len(text) > MOST_SIGNS:
        raise InputError(field, f"{text[:MOST_SIGNS]}…", allowed)
    for sign, plain in _FRACTION_SIGNS.items():
        text = text.replace(sign, f" {plain}")
    text = re.sub("[’‘´`]", "'", text.replace("−", "-").replace("⁄", "/"))
    return " ".join(text.casefold().split())


def _as_text(typed: Cell) -> str:
    """Numbers of a spreadsheet as text, whole ones without their ".0"."""
    if isinstance(typed, float) and typed.is_integer() and abs(typed) < LARGEST:
        return str(int(typed))
    return typed if isinstance(typed, str) else repr(typed)


def without_about(text: str) -> tuple[str, bool]:
    """The text without "ca.", "about", "~" before a figure or "or so" behind it; whether there was one."""
    shorter = _OR_SO.sub("", _APPROXIMATE.sub("", text))
    return shorter, shorter != text


def refuse_range(text: str, field: str, typed: Cell) -> None:
    """Two figures such as "3-4 kg" where one is needed: ask for one."""
    if _RANGE.search(text):
        raise InputError(field, typed, "one figure, not a range; give the middle of it")


def parse_number(
    typed: Cell, field: str, *, habits: Habits = PLAIN, allowed: str = "a number", within: Cell = None
) -> Decimal:
    """A number >= 0: "3.5", "3,5", "1,234.5", "1.234,5", "1 234", "2 1/2", "2½".

    `within` is the longer text it was cut out of, to be shown in the sentence.

    Raises
    ------
    InputError
        No number, negative, endless, or "1,234", which can be read in two ways.
    """
    shown = typed if within is None else within  # the whole of what was typed, for the sentence
    text = smoothed(typed, field, allowed)
    is_negative = text.startswith("-")
    value = _value(text[1:].strip() if text[:1] in ("+", "-") else text, field, shown, habits, allowed)
    if is_negative and value:
        raise InputError(field, shown, f"{allowed}, not below zero; take the minus sign away if it is a slip")
    if value > LARGEST:
        raise InputError(field, shown, f"{allowed}, of a size that can be")
    return value


def _value(text: str, field: str, typed: Cell, habits: Habits, allowed: str) -> Decimal:
    exponent = _EXPONENT.match(text)
    if exponent:
        return _value(exponent[1], field, typed, habits, allowed).scaleb(int(exponent[2]))
    mixed = re.fullmatch(r"(?:([0-9]{1,9}) )?([0-9]{1,4})/([0-9]{1,4})", text)
    if mixed and int(mixed[3]):
        return Decimal(mixed[1] or 0) + Decimal(mixed[2]) / Decimal(mixed[3])
    _refuse_doubtful(text, field, typed, habits)
    plain = _ungrouped(text, habits)
    if not plain:
        raise InputError(field, typed, allowed)
    return Decimal(plain)


def _refuse_doubtful(text: str, field: str, typed: Cell, habits: Habits) -> None:
    """The text "1,234" may be one and a bit or a thousand; so may "1.234" beside decimal commas."""
    one = _could_group(text)
    if one is None:
        return
    if habits.decimal or (one[2] == "." and not habits.commas_seen):
        return
    meant = f"{one[1]}.{one[3].rstrip('0') or '0'} or {one[1]}{one[3]}"
    raise InputError(field, typed, f"either {meant}, written so that it can be read in one way only")


def _could_group(text: str) -> re.Match[str] | None:
    """A text such as "1,234", whose one sign could be a decimal sign or group thousands."""
    one = _ONE_SIGN.fullmatch(text)
    if one is None or len(one[3]) != GROUP or not 1 <= len(one[1]) <= GROUP or one[1].startswith("0"):
        return None
    return one


def _ungrouped(text: str, habits: Habits) -> str:
    """Digits with a decimal point at most, or "" when the signs stand where none can."""
    for group in (" ", "'"):
        text = re.sub(rf"(?<=[0-9]){group}(?=[0-9]{{3}}(?![0-9]))", "", text)
    signs = [sign for sign in text if sign in ".,"]
    if not re.fullmatch(r"[0-9]*(?:[.,][0-9]+)*[.,]?", text) or not any(
        sign in "0123456789" for sign in text
    ):
        return ""
    if not signs:
        return text
    decimal = _decimal_sign(text, signs, habits)
    group = "," if decimal == "." else "."
    whole, _, rest = text.partition(decimal)
    is_grouped = re.fullmatch(rf"[0-9]{{1,3}}(?:{re.escape(group)}[0-9]{{3}})+", whole)
    if group in rest or (group in whole and not is_grouped):
        return ""
    return f"{whole.replace(group, '') or '0'}.{rest or '0'}"


def _decimal_sign(text: str, signs: list[str], habits: Habits) -> str:
    """Which sign is the decimal one; a sign that stands twice groups thousands."""
    if len(set(signs)) == 1 and len(signs) > 1:
        return "," if signs[0] == "." else "."
    return habits.decimal if habits.decimal and _could_group(text) else signs[-1]
