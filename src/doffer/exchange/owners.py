"""Owners that a list names: found in the mill, asked about when only like one, recorded when told to."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from doffer.exchange.desk import MOST_SIGNS, Beside, Desk, clean
from doffer.exchange.headings import plain
from doffer.exchange.numbers import Cell

LIKENESS = 0.6
MOST_NEAR = 3
_NUMBER = re.compile(r"C[0-9]{2,6}", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class UnknownOwner:
    """Somebody a list names and the mill does not know.

    Parameters
    ----------
    name : str
        As the list writes it first.
    n_bags : int
        Lines that name this owner.
    near : tuple of (str, str)
        Name and number of known owners whose names are like it: it may be one of them.
    near_in_list : tuple of str
        Other unknown owners of the same list with a name like it.
    is_number : bool
        It looks like the number of an owner of another mill, not like a name.
    """

    name: str
    n_bags: int
    near: tuple[tuple[str, str], ...]
    near_in_list: tuple[str, ...]
    is_number: bool


def name_key(name: str) -> str:
    """A name without capitals, accents and signs, to compare by; names in other letters stay as they are."""
    return plain(name) or name.casefold().strip()


def owner_of(desk: Desk) -> str:
    """Number of the line's owner, or the name of one to be recorded; "" with a sentence when unknown."""
    typed = desk.text("owner") or desk.beside.owner
    beside = desk.beside
    if not typed:
        desk.sentences.append(
            "The owner is missing; write whose fibre it is, or choose one owner for the file."
        )
        return ""
    if beside.owners is None:
        return typed
    key = name_key(typed)
    if key in beside.new_owners:
        desk.remarks.append(f"“{beside.new_owners[key]}” is recorded as a new owner.")
        return beside.new_owners[key]
    if key in beside.same_owners:
        desk.remarks.append(f"“{typed}” is taken as owner {beside.same_owners[key]}.")
        return beside.same_owners[key]
    known = known_owner(typed, beside.owners)
    if known:
        return known
    guess = [f"“{name}”" for name, _ in _near(key, beside.owners)]
    did_you = f" Did you mean {' or '.join(guess)}?" if guess else ""
    desk.sentences.append(f"There is no owner “{typed}” in the mill.{did_you} {beside.owner_mend}")
    return ""


def known_owner(typed: str, owners: Mapping[str, str]) -> str:
    """Number of a known owner by number or name, or ""."""
    if typed in owners.values():
        return typed
    key = name_key(typed)
    return next(
        (number for name, number in owners.items() if key in (name_key(name), name_key(number))),
        "",
    )


def unknown_owners(cells: Iterable[Cell], beside: Beside) -> tuple[UnknownOwner, ...]:
    """Owners among the cells of a list's owner column whom the mill does not know, in the list's order."""
    if beside.owners is None:
        return ()
    counts: dict[str, int] = {}
    names: dict[str, str] = {}
    for cell in cells:
        name = clean(cell)
        if not name or len(name) > MOST_SIGNS["owner"]:
            continue
        key = name_key(name)
        names.setdefault(key, name)
        counts[key] = counts.get(key, 0) + 1
    strangers = {key: name for key, name in names.items() if not known_owner(name, beside.owners)}
    return tuple(
        UnknownOwner(
            name=name,
            n_bags=counts[key],
            near=_near(key, beside.owners),
            near_in_list=tuple(near for near, _ in _near(key, _others(strangers, key))),
            is_number=bool(_NUMBER.fullmatch(name)),
        )
        for key, name in strangers.items()
    )


def _others(strangers: Mapping[str, str], key: str) -> dict[str, str]:
    return {name: "" for other, name in strangers.items() if other != key}


def _near(key: str, owners: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Known owners whose names are like a name, the likest first."""
    if _NUMBER.fullmatch(key):
        return ()
    by_key = {name_key(name): (name, number) for name, number in owners.items()}
    return tuple(
        by_key[close] for close in difflib.get_close_matches(key, by_key, n=MOST_NEAR, cutoff=LIKENESS)
    )
