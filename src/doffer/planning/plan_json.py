"""Plans and what they were asked, as plain JSON and back: a plan is kept beside what happened.

Every value a plan is made of is a frozen dataclass of numbers, words, tuples and mappings, so its type hints
say how to read it. Keys that are missing take the default of their field; keys of later versions are passed
over, so old plans stay readable.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from enum import Enum
from functools import lru_cache
from typing import Any, TypeVar

from doffer.errors import InputError

T = TypeVar("T")


def to_plain(value: Any) -> Any:
    """A value in the words JSON knows.

    >>> from doffer.planning.spread import Spread
    >>> to_plain(Spread(2.0, 1.0, 3.0, 1.5))
    {'mean': 2.0, 'low': 1.0, 'high': 3.0, 'safe': 1.5}
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: to_plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(item) for item in value]
    return value


def from_plain(kind: type[T], data: Any) -> T:
    """The value of a dataclass back from plain JSON; the inverse of `to_plain`.

    Raises
    ------
    InputError
        A field without a default is missing, or the data is of another shape.
    """
    read: T = _read(kind, data, kind.__name__)
    return read


def _read(kind: Any, data: Any, where: str) -> Any:
    if data is None or kind is Any:
        return data
    origin = typing.get_origin(kind)
    if origin in (types.UnionType, typing.Union):
        return _read_union(typing.get_args(kind), data, where)
    if origin is tuple:
        return tuple(_read(typing.get_args(kind)[0], item, where) for item in _listed(data, where))
    if origin is not None and issubclass(origin, Mapping):
        inner = typing.get_args(kind)[1]
        return {str(key): _read(inner, item, where) for key, item in _mapped(data, where).items()}
    if dataclasses.is_dataclass(kind):
        return _read_fields(kind, _mapped(data, where), where)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(data)
    return float(data) if kind is float else data


def _read_union(kinds: tuple[Any, ...], data: Any, where: str) -> Any:
    """Of `X | None` the X, of a word and None the word; of plain kinds (`float | str`) the data as it is."""
    structured = [
        kind
        for kind in kinds
        if dataclasses.is_dataclass(kind)
        or typing.get_origin(kind)
        or (isinstance(kind, type) and issubclass(kind, Enum))
    ]
    return _read(structured[0], data, where) if structured else data


def _read_fields(kind: Any, data: Mapping[str, Any], where: str) -> Any:
    values = {}
    for name, hint in _hints(kind).items():
        if name in data:
            values[name] = _read(hint, data[name], f"{where}, {name}")
    try:
        return kind(**values)
    except TypeError:
        missing = sorted(set(_hints(kind)) - set(values))
        raise InputError(where, None, f"written with {', '.join(missing)}") from None


@lru_cache(maxsize=64)
def _hints(kind: Any) -> dict[str, Any]:
    """Field name to type, in order."""
    hints = typing.get_type_hints(kind)
    return {field.name: hints[field.name] for field in dataclasses.fields(kind)}


def _mapped(data: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(data, Mapping):
        raise InputError(where, data, "names with values")
    return data


def _listed(data: Any, where: str) -> list[Any]:
    if not isinstance(data, list | tuple):
        raise InputError(where, data, "a list")
    return list(data)
