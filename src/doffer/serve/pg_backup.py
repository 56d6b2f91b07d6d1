"""Safety copies of a mill that keeps its records in PostgreSQL, made by PostgreSQL's own programs."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from urllib.parse import unquote, urlparse

from doffer.errors import RefusedError


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise RefusedError(
            "The PostgreSQL records cannot be copied",
            (f"the program {name} is not installed on this computer",),
            "Install the PostgreSQL client programs, or ask whoever looks after the database for a copy",
        )
    return found


def _environment(database_url: str) -> dict[str, str]:
    """Where the database is, by environment: a password on a command line can be read by everybody."""
    parts = urlparse(database_url)
    known = {
        "PGHOST": parts.hostname,
        "PGPORT": str(parts.port) if parts.port else None,
        "PGUSER": unquote(parts.username) if parts.username else None,
        "PGPASSWORD": unquote(parts.password) if parts.password else None,
        "PGDATABASE": parts.path.lstrip("/"),
    }
    return {**os.environ, **{name: value for name, value in known.items() if value}}


def _run(words: list[str], database_url: str, act: str) -> None:
    done = subprocess.run(words, env=_environment(database_url), capture_output=True, text=True, check=False)
    if done.returncode:
        lines = tuple(line for line in done.stderr.strip().splitlines()[:3]) or ("it gave no reason",)
        raise RefusedError(f"PostgreSQL could not {act}", lines, "Look at the database server")


def dump(database_url: str, target: Path) -> Path:
    """Write a copy in PostgreSQL's own compressed format and read its table of contents back."""
    target.parent.mkdir(parents=True, exist_ok=True)
    fresh = target.with_name(target.name + ".new")
    _run([_program("pg_dump"), "--format=custom", "--no-owner", f"--file={fresh}"], database_url, "be copied")
    _run([_program("pg_restore"), "--list", str(fresh)], database_url, "read its copy back")
    with fresh.open("r+b") as handle:
        os.fsync(handle.fileno())
    fresh.replace(target)
    return target


def put_back(database_url: str, copy: Path) -> None:
    """Replace the records by a copy, all or nothing."""
    database = _environment(database_url)["PGDATABASE"]
    words = [
        "--clean",
        "--if-exists",
        "--no-owner",
        "--single-transaction",
        f"--dbname={database}",
        str(copy),
    ]
    _run([_program("pg_restore"), *words], database_url, "take the copy back")
