"""The hash chain over weighings: each row seals the one before it, so an edit with a database tool shows."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from uuid import UUID

FIRST_PREV_HASH = "0" * 64

# What a seal covers, in this order; adding a column means adding a version of this tuple, never changing it.
SEALED = (
    "key",
    "body_sha256",
    "lot_id",
    "container_id",
    "run_id",
    "moment",
    "form",
    "gross_mg",
    "tare_mg",
    "rh_ppm",
    "temp_milli_c",
    "branch",
    "finish_mg",
    "actual_regain_ppm",
    "dry_mg",
    "tables_sha256",
    "scale_id",
    "source",
    "weighed_at",
    "recorded_at",
    "person_id",
    "device_id",
    "corrects_id",
    "note",
)


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    return str(value) if isinstance(value, UUID) else value


def canonical(values: dict[str, object]) -> str:
    """One spelling of a record: sorted keys, no spaces, instants in UTC."""
    plain = {key: _plain(value) for key, value in values.items()}
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def sha256(text: str) -> str:
    """Hex digest of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def seal(prev_hash: str, values: dict[str, object]) -> str:
    """The hash of a weighing: sha256 of the hash before it followed by its canonical record."""
    return sha256(prev_hash + canonical({name: values[name] for name in SEALED}))
