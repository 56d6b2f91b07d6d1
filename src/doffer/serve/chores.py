"""Kinds of long work, each a function that runs in a process of its own and reports how far it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from doffer.errors import NotFoundError

Report = Callable[[float, str], None]
Chore = Callable[[Path, Mapping[str, Any], Report], dict[str, Any]]


def back_up(folder: Path, _params: Mapping[str, Any], report: Report) -> dict[str, Any]:
    """A checked safety copy."""
    from doffer.serve import backup
    from doffer.serve.startup import database_url

    report(0.1, "copying the records")
    made = backup.back_up(folder, database_url(folder))
    return {"copy": made.path.name, "sha256": made.database.sha256, "photos": len(made.media)}


def verify(_folder: Path, _params: Mapping[str, Any], report: Report) -> dict[str, Any]:
    """Is the record of weighings as it was written, and the database file sound?"""
    from doffer.mill.queries.chain import verify_chain
    from doffer.serve.startup import check_records

    report(0.1, "checking the database file")
    check_records()
    report(0.3, "checking every weighing")
    verdict = verify_chain()
    return {
        "weighings": verdict.n_checked,
        "is_whole": verdict.is_whole,
        "broken_id": verdict.broken_id,
        "why": verdict.why,
        "last_hash": verdict.last_hash,
    }


CHORES: dict[str, Chore] = {"backup": back_up, "verify": verify}


def chore(kind: str) -> Chore:
    """The function of a kind of work.

    Raises
    ------
    NotFoundError
        This version knows no such work.
    """
    if kind not in CHORES:
        raise NotFoundError("kind of work", kind, f"This version knows {', '.join(CHORES)}")
    return CHORES[kind]
