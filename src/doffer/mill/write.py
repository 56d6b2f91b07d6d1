"""The only way commands open a transaction."""

from __future__ import annotations

import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from django.db import connection, transaction

# SQLite's busy handler sleeps and is unfair; one writer at a time in the process keeps waiting short.
_WRITER = threading.RLock()


@contextmanager
def write() -> Iterator[None]:
    """One business act: everything inside is kept, or nothing is."""
    with _WRITER if connection.vendor == "sqlite" else nullcontext(), transaction.atomic():
        yield


def serialise(what: str) -> None:
    """Let acts that share a series (numbers, the chain of weighings) follow one another until they end.

    PostgreSQL takes an advisory lock that ends with the transaction; on SQLite the writer is alone anyway.
    Must be called inside `write()`.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [zlib.crc32(what.encode())])
