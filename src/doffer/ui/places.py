"""The places of the mill office, as they stand in the page head."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Place:
    """One entry of the page head: key (what a page sets as `here`), name, address, icon."""

    key: str
    name: str
    path: str
    icon: str


# A place joins this tuple when its pages exist; until then there is no dead link.
# Still to come: Calendar and Counter (before Records).
PLACES: Final = (
    Place("today", "Today", "/", "today"),
    Place("lots", "Lots", "/lots/", "lots"),
    Place("orders", "Orders", "/orders/", "orders"),
    Place("bench", "Bench", "/bench/", "bench"),
    Place("shades", "Shades", "/shades/", "shades"),
    Place("weigh_in", "Weigh in", "/weigh-in/", "weigh"),
    Place("records", "Records", "/records/", "records"),
)
