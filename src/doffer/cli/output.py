"""What every verb prints: an aligned table for people, JSON for programs, one sentence for a refusal."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from pathlib import Path
from typing import Any

GAP = "  "


def add_json_option(parser: argparse.ArgumentParser) -> None:
    """`--json`, alike in every verb that gives data."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def emit(args: argparse.Namespace, data: object, text: Iterable[str]) -> None:
    """Print data as JSON or, without `--json`, the lines of text."""
    if args.json:
        print(json.dumps(plain(data), ensure_ascii=False, indent=2))
        return
    for line in text:
        print(line)


def refuse(sentence: str) -> None:
    """Say on the error stream why something was not done."""
    print(f"doffer: {sentence}", file=sys.stderr)


def plain(value: Any) -> Any:
    """A value in the words JSON knows."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):  # numpy numbers and arrays, without importing numpy here
        return value.tolist()
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    return value


def cell(value: object) -> str:
    """A table cell: numbers short, nothing for nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:,.4g}" if abs(value) < 1000 else f"{value:,.0f}"
    return str(value)


def aligned(head: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    """Lines of a table; columns whose cells are all numbers stand to the right."""
    table = [[cell(value) for value in row] for row in rows]
    width = [max(len(line[place]) for line in (head, *table)) for place in range(len(head))]
    is_number = [
        bool(table) and all(_looks_numeric(line[place]) for line in table) for place in range(len(head))
    ]

    def line(cells: Sequence[str]) -> str:
        parts = (
            text.rjust(width[place]) if is_number[place] else text.ljust(width[place])
            for place, text in enumerate(cells)
        )
        return GAP.join(parts).rstrip()

    return [line(head), GAP.join("-" * number for number in width), *(line(cells) for cells in table)]


def _looks_numeric(text: str) -> bool:
    return not text or text.removesuffix("%").replace(",", "").replace(".", "", 1).lstrip("-").isdigit()


def working_lines(working: Any, indent: str = "    ") -> list[str]:
    """A working as text: formula, inputs with units, result, source; the workings inside it follow."""
    from doffer.errors import InputError
    from doffer.pictures.wording import say
    from doffer.working import STATUS_WORDS

    def term(word: Any) -> str:
        note = f" ({word.note})" if word.note else ""
        try:
            value = say(word.value, word.unit)
        except InputError:
            # A unit the wording does not know is a fault of ours; the figure is shown all the same.
            value = f"{cell(word.value)} {word.unit}"
        return f"{word.name} = {value}{note}"

    lines = [f"{indent}{working.title}: {working.formula}"]
    lines += [f"{indent}  {term(word)}" for word in working.inputs]
    lines.append(f"{indent}  -> {term(working.result)}")
    lines.append(f"{indent}  {STATUS_WORDS[working.status]}: {working.source}")
    for part in working.parts:
        lines += working_lines(part, indent + "    ")
    return lines
