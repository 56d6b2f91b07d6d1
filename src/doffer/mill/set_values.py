"""What a machine or a run is set to: figures in the shape their table row asks for, checked and kept."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TypeVar

from doffer.errors import InputError
from doffer.mill.evenness_facts import MICRO, micro
from doffer.tables.loader import Tables
from doffer.tables.rows import MachineSetting, RunSetting

MOST_IN_A_LIST = 60  # more pinions than any mill has
Set = float | str | Sequence[float]
Row = MachineSetting | RunSetting
Found = TypeVar("Found", MachineSetting, RunSetting)


def say_setting(key: str) -> str:
    """A setting in words."""
    return key.replace("_", " ")


def names_of(row: Row) -> tuple[str, ...]:
    """Words that a row's figures stand for: the steps of a beater, the ways of spinning."""
    return tuple(row.names.split())


def machine_row(tables: Tables, *, key: str, stage: str) -> MachineSetting:
    """The row of a machine setting; InputError names those that a machine of this stage has."""
    return _row_of(tables.machine_settings, key, stage, "setting of the machine")


def run_row(tables: Tables, *, key: str, stage: str) -> RunSetting:
    """The row of what a run can be set to; InputError names what a run of this stage has."""
    return _row_of(tables.run_settings, key, stage, "setting of the run")


def _row_of(table: Mapping[str, Found], key: str, stage: str, what: str) -> Found:
    row = table.get(f"{key}/{stage}")
    if row is None:
        known = [one.setting for one in table.values() if one.stage == stage]
        wanted = f"one of {', '.join(known)}" if known else f"nothing, the {stage} has none"
        raise InputError(what, key, wanted)
    return row


def checked(row: Row, given: Set) -> tuple[float, ...]:
    """Figures of a setting in its shape: a word as its place among the names, a list rising and each once.

    Raises
    ------
    InputError
        Not above zero, a part of a tooth, a share above 1, a window whose ends are not two and rising, steps
        that are not as many as their names, or a word that is not among them.
    """
    what = say_setting(row.setting)
    if isinstance(given, str):
        return (_place_of(row, given),)
    values = (float(given),) if isinstance(given, int | float) else tuple(float(one) for one in given)
    for value in values:
        _possible(row, value)
    said = ", ".join(f"{value:g}" for value in values) or "nothing"
    if row.shape == "list":
        if not 1 <= len(set(values)) <= MOST_IN_A_LIST:
            raise InputError(what, said, f"from 1 to {MOST_IN_A_LIST} figures")
        return tuple(sorted(set(values)))
    counts = {"one": 1, "word": 1, "range": 2, "steps": len(names_of(row))}
    if len(values) != counts[row.shape]:
        named = f" ({', '.join(names_of(row))})" if row.shape == "steps" else ""
        raise InputError(what, said, f"{counts[row.shape]} of them{named}")
    if list(values) != sorted(values):
        raise InputError(what, said, "rising figures, the smallest first")
    return values


def _place_of(row: Row, word: str) -> float:
    names = names_of(row)
    if row.shape != "word" or word not in names:
        wanted = f"one of {', '.join(names)}" if row.shape == "word" else f"a number of {row.unit}"
        raise InputError(say_setting(row.setting), word, wanted)
    return float(names.index(word) + 1)


def _possible(row: Row, value: float) -> None:
    what, said = say_setting(row.setting), f"{value:g}"
    if not value > 0 or not math.isfinite(value):
        raise InputError(what, said, f"above zero {row.unit}")
    if row.whole and value != int(value):
        raise InputError(what, said, f"a whole number of {row.unit}")
    if row.unit == "frac" and value > 1:
        raise InputError(what, said, "from 0 to 1 (0.8 for 80 %)")
    if row.shape == "word" and value > len(names_of(row)):
        raise InputError(what, said, f"one of {', '.join(names_of(row))}")


def far_off(row: Row, values: Sequence[float]) -> str:
    """Why figures look like a slip of the pen or of the unit, in words; "" where they do not."""
    odd = [value for value in values if not row.least <= value <= row.most]
    if not odd:
        return ""
    said = ", ".join(f"{value:g}" for value in odd)
    return f"{say_setting(row.setting)} is {said} {row.unit}, and {row.least:g} to {row.most:g} is possible"


def word_of(row: Row, values: Sequence[float]) -> str:
    """The word a kept figure stands for, "" for other shapes."""
    names = names_of(row)
    if row.shape != "word" or not values or not 1 <= int(values[0]) <= len(names):
        return ""
    return names[int(values[0]) - 1]


def kept(values: Sequence[float]) -> list[int]:
    """Figures as they are kept."""
    return [micro(value) for value in values]


def read(kept_micro: Sequence[int]) -> tuple[float, ...]:
    """Kept figures."""
    return tuple(value / MICRO for value in kept_micro)
