"""The question whether anybody has looked for moth, beside the form that would let a bag go on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from doffer.mill.commands.intake import check_for_pests
from doffer.mill.queries.lots import one_lot
from doffer.office.readings import Typed
from doffer.people.models import Person

LOOKS: Final = (
    ("clear", "Looked now: nothing seen", "it goes on"),
    ("found", "Moth, larvae or cases", "it goes to the quarantine shelf, on hold"),
)


def write_down_look(person: Person | None, typed: Typed, lots: Iterable[str]) -> None:
    """Keep what was seen in each of these lots that nobody had looked into, where something was said."""
    for code in lots:
        seen = typed.text(f"looked_{code}")
        if seen in ("clear", "found") and one_lot(code).row.pest == "unchecked":
            check_for_pests(
                person, code, seen=seen, note="" if seen == "clear" else "seen before its first stage"
            )
