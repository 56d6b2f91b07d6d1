"""Days and times in words: "Friday 6 March", "since Friday", "yesterday 16:20"."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final

WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
WEEK: Final = 7


def say_day(day: date, today: date | None = None) -> str:
    """A day by name: "Friday 6 March"; the year is said when it is not that of `today`."""
    text = f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
    return text if today is not None and today.year == day.year else f"{text} {day.year}"


def say_near_day(day: date, today: date) -> str:
    """A day as one speaks of it: "today", "yesterday", "Friday" within a week, else the full day."""
    distance = (day - today).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    if distance in near:
        return near[distance]
    if abs(distance) < WEEK:
        return WEEKDAYS[day.weekday()]
    return say_day(day, today)


def say_since(day: date, today: date) -> str:
    """The start of something still going on: "since Friday", "since Friday 6 March"."""
    return f"since {say_near_day(day, today)}"


def say_due(day: date, today: date) -> str:
    """A promise against today: "due Friday", "due today", "2 days late, since Friday"."""
    late = (today - day).days
    if late > 0:
        return f"{late} {'day' if late == 1 else 'days'} late, {say_since(day, today)}"
    return f"due {say_near_day(day, today)}"


def say_time(moment: datetime) -> str:
    """Time of day on the 24-hour clock: "16:20"."""
    return f"{moment.hour:02d}:{moment.minute:02d}"


def say_moment(moment: datetime, today: date) -> str:
    """A moment: "today 16:20", "yesterday 16:20", "Friday 6 March 16:20"."""
    return f"{say_near_day(moment.date(), today)} {say_time(moment)}"
