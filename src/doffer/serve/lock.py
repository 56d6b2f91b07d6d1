"""One server per mill folder, held by an operating-system lock that a crash releases."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from doffer.errors import ConflictError
from doffer.mill.folder import LOCK

_GUARD_BYTE = 1_000_000  # Windows forbids reading a locked byte: lock one behind the text


def _take(handle: IO[str]) -> None:
    """Lock or raise OSError."""
    if os.name == "nt":
        import msvcrt

        handle.seek(_GUARD_BYTE)
        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def holder(folder: Path) -> dict[str, object] | None:
    """Who serves this mill now (pid, what), or None."""
    path = folder / LOCK
    if not path.exists():
        return None
    with path.open("r+", encoding="utf-8") as handle:
        try:
            _take(handle)
        except OSError:
            handle.seek(0)
            return json.loads(handle.read() or "{}")
    return None


@contextmanager
def hold(folder: Path, what: str) -> Iterator[None]:
    """Hold the mill for as long as the block runs.

    Raises
    ------
    ConflictError
        Another process holds it; the sentence says which.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / LOCK
    with path.open("a+", encoding="utf-8") as handle:
        try:
            _take(handle)
        except OSError:
            handle.seek(0)
            other = json.loads(handle.read() or "{}")
            who = f"process {other.get('pid', '?')} ({other.get('what', 'unknown')})"
            raise ConflictError(
                f"This mill is already in use by {who}", "Use that one, or stop it first"
            ) from None
        handle.seek(0)
        handle.truncate()
        json.dump({"pid": os.getpid(), "what": what}, handle)
        handle.flush()
        yield
        handle.seek(0)
        handle.truncate()
