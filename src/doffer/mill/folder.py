"""The folder of one mill on disk: where it lies, what it says of itself, how a new one is begun.

Needs neither Django nor a database, because it is what exists before them. Layout below the data root:
`demo/` and `mill/`, each with `mill.json`, `doffer.sqlite3`, `secret.key`, `media/`, `backups/`, `logs/`.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import platformdirs

from doffer.errors import ConflictError, InputError
from doffer.tables.loader import load_tables

DEMO = "demo"
OWN = "mill"
DATABASE = "doffer.sqlite3"
CARD = "mill.json"
LOCK = "lock"  # held by the process that serves the mill, which notes itself in it
UNITS = ("metric", "us")
COUNTRY_RULES = ("EU", "UK", "US", "CA")


@dataclass(frozen=True, slots=True)
class StartAnswers:
    """The five answers that begin a mill of one's own; `machines` are keys of the table machine_kinds."""

    name: str
    units: str
    country_rules: str
    machines: tuple[str, ...]
    your_name: str


def data_root() -> Path:
    """The folder that holds all mills of this computer user; `DOFFER_ROOT` names another one."""
    return Path(os.environ.get("DOFFER_ROOT") or platformdirs.user_data_dir("doffer", appauthor=False))


def read_card(folder: Path) -> dict[str, Any]:
    """What the folder says of itself: name, kind ("demo" or "own"), and answers not yet acted on."""
    path = folder / CARD
    if not path.exists():
        return {}
    card: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return card


def write_card(folder: Path, card: Mapping[str, Any]) -> None:
    """Replace `mill.json` whole, so that a reader never sees half of it."""
    folder.mkdir(parents=True, exist_ok=True)
    fresh = folder / f"{CARD}.new"
    fresh.write_text(json.dumps(card, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    fresh.replace(folder / CARD)


def mill_folders(root: Path) -> tuple[Path, ...]:
    """The mills under a data root, the demo first."""
    return tuple(root / key for key in (DEMO, OWN) if (root / key / CARD).exists())


def begin_own_mill(root: Path, answers: StartAnswers) -> Path:
    """Put down the folder of a mill of one's own; the server finds it and carries out the answers.

    Raises
    ------
    ConflictError
        There is already a mill of one's own in this place.
    InputError
        An answer cannot be used.
    """
    folder = root / OWN
    if (folder / CARD).exists():
        name = read_card(folder).get("name", "unnamed")
        raise ConflictError(f"Your own mill “{name}” already exists", "Open it instead of starting another")
    _check(answers)
    write_card(folder, {"name": answers.name.strip(), "kind": "own", "start": asdict(answers)})
    return folder


def _check(answers: StartAnswers) -> None:
    """Everything is looked at now: later, when the answers are carried out, nobody is there to ask."""
    if not answers.name.strip():
        raise InputError("name of the mill", "", "a name, as it shall stand on tags and labels")
    if not answers.your_name.strip():
        raise InputError("your name", "", "the name of the person who runs the mill")
    if answers.units not in UNITS:
        raise InputError("units", answers.units, " or ".join(UNITS))
    if answers.country_rules not in COUNTRY_RULES:
        raise InputError("label rules", answers.country_rules, f"one of {', '.join(COUNTRY_RULES)}")
    kinds = load_tables().machine_kinds
    unknown = [kind for kind in answers.machines if kind not in kinds]
    if unknown:
        raise InputError("machines", ", ".join(unknown), f"chosen from {', '.join(kinds)}")


def begin_demo(root: Path) -> Path:
    """Put down the folder of the invented mill."""
    folder = root / DEMO
    write_card(folder, {"name": "Quillfern Hollow", "kind": "demo", "start": {}})
    return folder


def started(folder: Path) -> None:
    """Note that the answers have been carried out."""
    card = read_card(folder)
    card.pop("start", None)
    write_card(folder, card)


def served_at(folder: Path) -> str:
    """Where a server says it serves this mill, or ""; after a crash this may be out of date: ask there."""
    try:
        noted = json.loads((folder / LOCK).read_text(encoding="utf-8") or "{}")
    except (OSError, ValueError):
        return ""
    what = str(noted.get("what", ""))
    return what if what.startswith("http://") else ""
