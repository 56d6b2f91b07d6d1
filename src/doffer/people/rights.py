"""Who may do what: one table of rights, and the one check that commands make."""

from __future__ import annotations

from enum import StrEnum

from doffer.errors import RefusedError
from doffer.people.models import Person, Role


class Right(StrEnum):
    """One kind of act, named as the sentence that refuses it says it."""

    WEIGH = "weigh fibre"
    INTAKE = "take bags in"
    RUN = "record a run"
    HOLD = "put something on hold"
    CLEAR_HOLD = "clear a hold"
    CORRECT = "correct a weighing"
    JOIN = "decide that lots of two owners are joined"
    LOTS = "change what is written about a lot"
    CUSTOMERS = "change customers"
    ORDERS = "take or change orders"
    MACHINES = "change machines"
    SETTINGS = "change the mill's settings"
    TABLES = "put own figures into the tables"
    IMPORT = "import lots from a file"
    JOBS = "start long calculations"
    PEOPLE = "change who works here"
    READ_COLOUR = "record a colour reading"
    SHADES = "set standard shades or write recipes"
    KITCHEN = "record what the dye kitchen does"
    EVENNESS = "record how evenly a machine mixes"
    YARN = "record what machines are set to, or test yarn"


_FLOOR = frozenset(
    {
        Right.WEIGH,
        Right.INTAKE,
        Right.RUN,
        Right.HOLD,
        Right.CORRECT,
        Right.READ_COLOUR,
        Right.KITCHEN,
        Right.EVENNESS,
        Right.YARN,
    }
)
_OFFICE = frozenset(Right) - {Right.PEOPLE}
RIGHTS: dict[str, frozenset[Right]] = {
    Role.OWNER: frozenset(Right),
    Role.OFFICE: _OFFICE,
    Role.FLOOR: _FLOOR,
    Role.VIEWER: frozenset(),
}


def may(person: Person | None, right: Right) -> bool:
    """Whether this person may do this; nobody and archived people may do nothing."""
    return person is not None and person.is_active and right in RIGHTS[person.role]


def require(person: Person | None, right: Right) -> Person:
    """The person, if the act is theirs to do.

    Raises
    ------
    RefusedError
        Nobody is chosen, or the role does not hold this right.
    """
    if person is None:
        raise RefusedError(
            f"Nobody is chosen who could {right}",
            ("each record keeps who made it",),
            "Choose who you are first",
        )
    if not may(person, right):
        state = f"is {person.role}" if person.is_active else "no longer works here"
        able = " or ".join(role for role, rights in RIGHTS.items() if right in rights)
        raise RefusedError(
            f"{person.name} may not {right}", (f"{person.name} {state}",), f"Ask a person who is {able}"
        )
    return person
