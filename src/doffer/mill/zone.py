"""The time zone a mill lives in: told, else that of the computer."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import available_timezones

FALLBACK = "UTC"
LOCAL_TIME = Path("/etc/localtime")
FOLDER = "zoneinfo"


def local_zone(*told: str, link: Path = LOCAL_TIME) -> str:
    """Name of the zone: the first of those told that is one, else what `link` points to, else UTC.

    The mill's day begins at midnight there, so that an evening's weighing counts for that day.
    """
    known = available_timezones()
    for name in told:
        if name.removeprefix(":") in known:
            return name.removeprefix(":")
    parts = link.resolve().parts
    if FOLDER in parts:
        name = "/".join(parts[parts.index(FOLDER) + 1 :])
        if name in known:
            return name
    return FALLBACK
