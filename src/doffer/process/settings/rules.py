"""The rows of table settings that apply to a fibre, put together to one suggestion a setting.

A row "is" sets the figure, "times" multiplies it within the usual range, "gentle" is the most it may be:
fragile fibre is never driven faster because it is also coarse.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from doffer.process.settings.suggestion import Suggestion
from doffer.tables.loader import Tables
from doffer.tables.rows import Setting


def rows_for(stage: str, on: Mapping[str, str], tables: Tables) -> dict[str, list[tuple[Setting, str]]]:
    """Rows of a stage that hold, by setting, each with what makes it hold, in their order."""
    found: dict[str, list[tuple[Setting, str]]] = {}
    for row in tables.settings.values():
        if row.stage == stage and row.applies in on and row.effect != "limit":
            found.setdefault(row.setting, []).append((row, on[row.applies]))
    return found


def from_table(
    stage: str,
    on: Mapping[str, str],
    tables: Tables,
    *,
    base: Mapping[str, Suggestion] | None = None,
) -> dict[str, Suggestion]:
    """Suggestions of table settings for a stage, by setting.

    Parameters
    ----------
    on : mapping
        Words that hold for the fibre, as `facts.applying` finds them.
    base : mapping, optional
        Where to begin for settings whose usual figure is the machine's own.
    """
    base = base or {}
    found = {}
    for setting, rows in rows_for(stage, on, tables).items():
        now = base.get(setting)
        for row, because in rows:
            now = _begin(row, because, tables) if now is None else _apply(now, row, because, tables)
        if now is not None and (now.value is not None or now.words):
            found[setting] = now
    return {**base, **found}


def _begin(row: Setting, because: str, tables: Tables) -> Suggestion:
    has_figure = row.effect != "times"
    return Suggestion(
        setting=row.setting,
        low=row.low if has_figure else None,
        value=row.value if has_figure else None,
        high=row.high if has_figure else None,
        unit=row.unit,
        reason=_reason(row, because),
        source=tables.sources[row.source].title,
        status=row.status,
        words=row.words,
    )


def _apply(now: Suggestion, row: Setting, because: str, tables: Tables) -> Suggestion:
    source, status = tables.sources[row.source].title, row.status
    if row.effect == "times":
        if now.value is None or row.value is None:
            return now
        value = within(now.value * row.value, low=now.low, high=now.high)
        return dataclasses.replace(
            now,
            value=value,
            high=value if row.applies == "fragile" else now.high,
            reason=_joined(now.reason, _reason(row, because)),
            source=source,
            status=status,
            words=row.words or now.words,
        )
    if row.value is None:
        return dataclasses.replace(
            now,
            words=_joined(now.words, row.words),
            reason=_joined(now.reason, _reason(row, because)),
        )
    begun = _begin(row, because, tables)
    if row.effect == "gentle" and now.value is not None and now.value < row.value:
        return dataclasses.replace(
            begun,
            low=min(now.value, row.low or now.value),
            value=now.value,
            reason=_joined(now.reason, begun.reason),
        )
    return begun


def within(value: float, *, low: float | None, high: float | None) -> float:
    """A figure brought into a range with open ends."""
    if low is not None:
        value = max(low, value)
    return value if high is None else min(high, value)


def _reason(row: Setting, because: str) -> str:
    return f"{row.reason} ({because})" if because else row.reason


def _joined(first: str, then: str) -> str:
    return "; ".join(part for part in (first, then) if part)
