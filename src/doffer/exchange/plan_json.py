"""Plans as JSON and back: what an order asks (`OrderSpec`) and what was planned (`OrderPlan`).

One reader for every frozen dataclass: the type of a field says what must stand there, so a new field of a
plan needs nothing here. What does not fit is refused with the place where it stands.
"""

from __future__ import annotations

import dataclasses
import math
import types
from collections.abc import Mapping, Sequence
from enum import Enum
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

from doffer.errors import InputError
from doffer.planning.order_plan import OrderPlan
from doffer.planning.spec import OrderSpec


def spec_to_json(spec: OrderSpec) -> dict[str, Any]:
    """What an order asks, as a mapping that `json.dumps` takes."""
    return dict(_plain(spec))


def spec_from_json(data: object) -> OrderSpec:
    """What an order asks, from JSON.

    Raises
    ------
    InputError
        A field that is missing, unknown, of the wrong type or out of its range; `where` names the place.
    """
    spec: OrderSpec = _read(OrderSpec, data, "order")
    return spec


def plan_to_json(plan: OrderPlan) -> dict[str, Any]:
    """A plan with all its workings, as a mapping that `json.dumps` takes."""
    return dict(_plain(plan))


def plan_from_json(data: object) -> OrderPlan:
    """A stored plan; InputError when it is none."""
    plan: OrderPlan = _read(OrderPlan, data, "plan")
    return plan


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key.value if isinstance(key, Enum) else key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError("figure", value, "a finite number")  # JSON has no word for it
    return value


def _read(kind: Any, data: object, where: str) -> Any:
    if dataclasses.is_dataclass(kind):
        return _dataclass(kind, data, where)
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _one_of(get_args(kind), data, where)
    if origin is tuple:
        return _tuple(get_args(kind), data, where)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        keys, values = get_args(kind)
        _check(data, Mapping, where, "names with values")
        return {
            _read(keys, key, where): _read(values, item, f"{where}, {key}")
            for key, item in data.items()  # type: ignore[attr-defined]
        }
    return _single(kind, data, where)


def _check(data: object, kind: type, where: str, allowed: str) -> None:
    if not isinstance(data, kind) or (kind is Sequence and isinstance(data, str)):
        raise InputError("value", _shown(data), allowed, where)


def _shown(data: object) -> str:
    text = repr(data)
    return text if len(text) <= 60 else f"{text[:60]}…"  # a whole plan would hide the sentence


def _single(kind: Any, data: object, where: str) -> Any:
    if isinstance(kind, type) and issubclass(kind, Enum):
        try:
            return kind(data)
        except ValueError:
            allowed = f"one of {', '.join(str(item.value) for item in kind)}"
            raise InputError("value", _shown(data), allowed, where) from None
    if kind is float and isinstance(data, int) and not isinstance(data, bool):
        data = _float(data, where)
    if not isinstance(data, kind) or (isinstance(data, bool) and kind is not bool):
        names = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}
        raise InputError("value", _shown(data), names.get(kind, "nothing"), where)
    if isinstance(data, float) and not math.isfinite(data):
        raise InputError("value", data, "a finite number", where)
    return data


def _float(data: int, where: str) -> float:
    try:
        return float(data)
    except OverflowError:
        raise InputError("value", "a very long number", "a number of a size that can be", where) from None


def _one_of(kinds: Sequence[Any], data: object, where: str) -> Any:
    """The first kind that fits exactly, so that 1 stays whole and "x" stays text."""
    if data is None and type(None) in kinds:
        return None
    others = [kind for kind in kinds if kind is not type(None)]
    exact = [kind for kind in others if isinstance(kind, type) and type(data) is kind]
    if exact or len(others) == 1:
        return _read((exact or others)[0], data, where)
    for kind in others:
        try:
            return _read(kind, data, where)
        except InputError:
            continue
    raise InputError("value", _shown(data), "of another kind", where)


def _tuple(kinds: tuple[Any, ...], data: object, where: str) -> tuple[Any, ...]:
    _check(data, Sequence, where, "a list")
    items: Sequence[object] = data  # type: ignore[assignment]
    if len(kinds) == 2 and kinds[1] is Ellipsis:
        kinds = (kinds[0],) * len(items)
    if len(kinds) != len(items):
        raise InputError("value", _shown(data), f"a list of {len(kinds)}", where)
    return tuple(
        _read(kind, item, f"{where} {at}")
        for at, (kind, item) in enumerate(zip(kinds, items, strict=True), 1)
    )


@cache
def _types_of(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _dataclass(kind: Any, data: object, where: str) -> Any:
    _check(data, Mapping, where, "names with values")
    given: Mapping[str, object] = data  # type: ignore[assignment]
    fields = {field.name: field for field in dataclasses.fields(kind) if field.init}
    for name in given:
        if name not in fields:
            raise InputError(str(name), "unknown", f"one of {', '.join(fields)}", where)
    types_ = _types_of(kind)
    values = {}
    for name, field in fields.items():
        if name in given:
            values[name] = _read(types_[name], given[name], f"{where}, {name}")
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise InputError(name, None, "there", where)
    try:
        return kind(**values)
    except InputError as wrong:
        raise InputError(wrong.field, wrong.value, wrong.allowed, wrong.where or where) from None
