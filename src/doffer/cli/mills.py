"""Which mill a verb is about, and how its records are opened."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from doffer.errors import NotFoundError


def add_mill_option(parser: argparse.ArgumentParser) -> None:
    """`--mill`, alike in every verb that opens records."""
    parser.add_argument(
        "--mill",
        metavar="NAME",
        help="demo, mill, or a mill's data folder (default: your own mill, else the invented one)",
    )


def mill_path(name: str | None) -> Path:
    """The folder of the mill that is meant.

    Raises
    ------
    NotFoundError
        There is none, or none of this name.
    """
    from doffer.mill.folder import CARD, DEMO, OWN, data_root, mill_folders

    root = data_root()
    if name in (DEMO, OWN):
        folder = root / str(name)
    elif name:
        folder = Path(name)
    else:
        folder = next(iter(reversed(mill_folders(root))), root / OWN)
    if not (folder / CARD).exists():
        hint = "Make one with `doffer init`, or the invented one with `doffer demo`"
        raise NotFoundError("mill", str(name or folder), hint)
    return folder


def open_records(args: argparse.Namespace) -> Path:
    """Open the records of the mill that is meant; brings them up to date when nobody serves them.

    Raises
    ------
    ConflictError
        The records need an update and the mill is being served by an older version.
    """
    from doffer.serve import startup
    from doffer.serve.lock import hold

    folder = mill_path(args.mill)
    startup.open_mill(folder, "commands")
    if startup.pending() or startup.has_answers(folder):
        with hold(folder, "update"):
            startup.prepare(folder, "commands")
    return folder


def acting_owner() -> Any:
    """Who acts at the terminal: the first owner of the mill that is open."""
    from doffer.people.middleware import acting_person

    return acting_person(None)
