"""What a cell of a table may hold, said once beside the field and read by the loader and by forms."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Rule:
    """What a cell may hold: `choices` or `refers` ("table.column") for text, `low` to `high` for numbers."""

    is_key: bool = False
    is_number: bool = False
    is_flag: bool = False
    optional: bool = False
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    refers: str = ""


def key(*, choices: tuple[str, ...] = (), refers: str = "") -> Any:
    """Text that is part of the row's key."""
    return field(metadata={"rule": Rule(is_key=True, choices=choices, refers=refers)})


def number_key(low: float, high: float) -> Any:
    """A number that is part of the row's key."""
    return field(metadata={"rule": Rule(is_key=True, is_number=True, low=low, high=high)})


def text(*, choices: tuple[str, ...] = (), refers: str = "") -> Any:
    """Text that must be there."""
    return field(metadata={"rule": Rule(choices=choices, refers=refers)})


def free_text() -> Any:
    """Text that may be empty."""
    return field(metadata={"rule": Rule(optional=True)})


def flag() -> Any:
    """Yes or no."""
    return field(metadata={"rule": Rule(is_flag=True)})


def number(low: float, high: float) -> Any:
    """A number from low to high."""
    return field(metadata={"rule": Rule(is_number=True, low=low, high=high)})


def maybe_number(low: float, high: float) -> Any:
    """A number from low to high, or nothing."""
    return field(metadata={"rule": Rule(is_number=True, optional=True, low=low, high=high)})
