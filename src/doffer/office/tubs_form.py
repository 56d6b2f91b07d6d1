"""When the next step is due, as people type it: "30 min", "2 h", "14:20"."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from doffer.errors import InputError

ALLOWED = "a time such as 14:20, or how long from now, such as 30 min or 2 h"
LONGEST = timedelta(days=14)
_CLOCK = re.compile(r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})")
_SPAN = re.compile(
    r"(?:(?P<days>\d{1,2})\s*(?:d|days?))?\s*(?:(?P<hours>\d{1,3}(?:[.,]\d+)?)\s*(?:h|hours?|hrs?))?"
    r"\s*(?:(?P<minutes>\d{1,4})\s*(?:min|mins|minutes?|m))?"
)


def parse_due(typed: str, now: datetime) -> datetime | None:
    """When it is due; None where nothing is typed. A time of day that is past means tomorrow.

    Raises
    ------
    InputError
        Neither a time nor a span, or further off than a fortnight.
    """
    text = typed.strip().lower().removeprefix("in ").removeprefix("at ").strip()
    if not text:
        return None
    clock = _CLOCK.fullmatch(text)
    if clock:
        hour, minute = int(clock["hour"]), int(clock["minute"])
        if hour > 23 or minute > 59:
            raise InputError("when it is due", typed, ALLOWED)
        due = now.replace(hour=hour, minute=minute, second=0, microsecond=0)
        return due if due > now else due + timedelta(days=1)
    span = _SPAN.fullmatch(text)
    if span is None or not any(span.groups()):
        raise InputError("when it is due", typed, ALLOWED)
    after = timedelta(
        days=int(span["days"] or 0),
        hours=float((span["hours"] or "0").replace(",", ".")),
        minutes=int(span["minutes"] or 0),
    )
    if not timedelta(0) < after <= LONGEST:
        raise InputError("when it is due", typed, f"{ALLOWED}, within a fortnight")
    return now + after
