"""Dates as people and spreadsheets write them; 02/03/2026 is a question until the order is known."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from doffer.errors import InputError
from doffer.exchange.numbers import LARGEST, PLAIN, Cell, Habits, is_blank

EXCEL_DAY_ZERO = date(1899, 12, 30)  # serial 1 is 1900-01-01; 1900 counts as a leap year there
EARLIEST, LATEST = date(1990, 1, 1), date(2099, 12, 31)
CENTURY = 2000
EXAMPLE = "a date such as 2026-03-02 or 2 Mar 2026"
MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january",
            "feb february",
            "mar march",
            "apr april",
            "may",
            "jun june",
            "jul july",
            "aug august",
            "sep sept september",
            "oct october",
            "nov november",
            "dec december",
        ),
        1,
    )
    for name in names.split()
}
_YEAR_FIRST = re.compile(r"([0-9]{4})[-/. ]?([0-9]{1,2})[-/. ]?([0-9]{1,2})(?:[t ].*)?")
_NUMBERS = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})(?: [0-9]{1,2}:[0-9:]+)?")
_DAY_FIRST = re.compile(r"([0-9]{1,2})(?:st|nd|rd|th)?[ .-]*([a-z]+)[ .,'-]*([0-9]{4}|[0-9]{2})")
_MONTH_FIRST = re.compile(r"([a-z]+)[ .-]*([0-9]{1,2})(?:st|nd|rd|th)?[ ,'-]+([0-9]{4}|[0-9]{2})")
_SERIAL = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")


def parse_date(typed: Cell, field: str = "date", *, habits: Habits = PLAIN) -> date:
    """A day: 2026-03-02, "2 Mar 2026", "Mar 2, 2026", 02.03.2026 (day first), a spreadsheet's day number.

    Raises
    ------
    InputError
        No date, no such day, outside 1990 to 2099, or 02/03/2026 while `habits.date_order` is open.
    """
    if isinstance(typed, date):
        return _within(typed.date() if isinstance(typed, datetime) else typed, field, typed)
    if is_blank(typed) or isinstance(typed, bool):
        raise InputError(field, None, EXAMPLE)
    if isinstance(typed, int) and abs(typed) > LARGEST:
        raise InputError(field, "a very long number", EXAMPLE)
    text = " ".join(str(typed).casefold().split())
    if _SERIAL.fullmatch(text):
        return _within(EXCEL_DAY_ZERO + timedelta(days=int(text[:5])), field, typed)
    found = _year_first(text) or _with_month(text) or _of_numbers(text, field, typed, habits.date_order)
    if found is None:
        raise InputError(field, typed, EXAMPLE)
    try:
        return _within(date(*found), field, typed)
    except ValueError as wrong:
        if isinstance(wrong, InputError):
            raise
        raise InputError(field, typed, f"a day of the calendar; {EXAMPLE}") from None


def is_day_number(typed: Cell) -> bool:
    """Whether a spreadsheet's day number was given instead of a date."""
    return not isinstance(typed, date) and _SERIAL.fullmatch(str(typed).strip()) is not None


def _within(day: date, field: str, typed: Cell) -> date:
    if not EARLIEST <= day <= LATEST:
        raise InputError(field, typed, f"from {EARLIEST.year} to {LATEST.year}; {EXAMPLE}")
    return day


def _year(text: str) -> int:
    return int(text) if len(text) > 2 else CENTURY + int(text)  # two digits are years of this century


def _year_first(text: str) -> tuple[int, int, int] | None:
    match = _YEAR_FIRST.fullmatch(text)
    return (int(match[1]), int(match[2]), int(match[3])) if match else None


def _with_month(text: str) -> tuple[int, int, int] | None:
    day_first, month_first = _DAY_FIRST.fullmatch(text), _MONTH_FIRST.fullmatch(text)
    if day_first and day_first[2] in MONTHS:
        return _year(day_first[3]), MONTHS[day_first[2]], int(day_first[1])
    if month_first and month_first[1] in MONTHS:
        return _year(month_first[3]), MONTHS[month_first[1]], int(month_first[2])
    return None


def _of_numbers(text: str, field: str, typed: Cell, order: str) -> tuple[int, int, int] | None:
    match = _NUMBERS.fullmatch(text)
    if match is None:
        return None
    first, second, year = int(match[1]), int(match[3]), _year(match[4])
    months = 12
    if first > months or first == second or match[2] == "." or order == "dmy":
        return year, second, first
    if second > months or order == "mdy":
        return year, first, second
    meant = f"{first} {_short(second)} {year} or {second} {_short(first)} {year}"
    raise InputError(field, typed, f"written with the month as a word: {meant}")


def _short(month: int) -> str:
    return next((name.capitalize() for name, number in MONTHS.items() if number == month), str(month))
