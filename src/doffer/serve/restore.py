"""Putting a safety copy back: only while the mill is stopped, only a sound copy, and nothing is lost."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.mill.folder import CARD, DATABASE, write_card
from doffer.serve.backup import MANIFEST_IN_BUNDLE, STAMP, describe, manifest_of, real_time, sync_folder
from doffer.serve.lock import hold

PACKAGE = Path(__file__).parent.parent
OWN_APPS = ("mill", "people")
MAX_BUNDLE_BYTES = 20_000_000_000


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, and where the records it replaced are kept."""

    source: Path
    replaced: Path | None
    photos: int


def restore(folder: Path, source: Path, database_url: str | None = None) -> Restored:
    """Put a copy (`.sqlite3`, `.pgdump` or `.zip`) back into a mill's folder.

    Raises
    ------
    ConflictError
        The mill is being served.
    RefusedError
        The copy is damaged, does not fit its manifest, or was made by a newer Doffer.
    """
    if not source.exists():
        raise NotFoundError("backup", str(source), "`doffer backup --list` shows what there is")
    with hold(folder, "restore"), tempfile.TemporaryDirectory(dir=folder) as temporary:
        copy, manifest, photos = _unpacked(source, Path(temporary))
        _require_fits(copy, manifest)
        if copy.suffix == ".pgdump":
            replaced = _restore_postgres(copy, folder, database_url)
        else:
            replaced = _restore_sqlite(copy, folder, Path(temporary), database_url)
        number = _restore_photos(manifest, photos, folder / "media")
        card = manifest.get("mill")
        if card and not (folder / CARD).exists():
            write_card(folder, card)
    return Restored(source, replaced, number)


def require_sound(path: Path) -> None:
    """Integrity, foreign keys, and a table layout this version knows.

    Raises
    ------
    RefusedError
        One of them fails.
    """
    try:
        with closing(sqlite3.connect(path.resolve().as_uri() + "?mode=ro", uri=True)) as copy:
            faults = [str(row[0]) for row in copy.execute("PRAGMA integrity_check")]
            orphans = copy.execute("PRAGMA foreign_key_check").fetchall()
            applied = set(copy.execute("SELECT app, name FROM django_migrations"))
    except sqlite3.DatabaseError as error:
        raise RefusedError(
            f"{path.name} cannot be put back",
            (f"it is not a sound database ({error})",),
            "Use another backup",
        ) from None
    reasons = [] if faults == ["ok"] else faults[:3]
    if orphans:
        reasons.append(f"{len(orphans)} records point at records that are missing")
    if reasons:
        raise RefusedError(f"{path.name} cannot be put back", tuple(reasons), "Use another backup")
    unknown = sorted(f"{app} {name}" for app, name in applied - _known() if app in OWN_APPS)
    if unknown:
        raise RefusedError(
            f"{path.name} cannot be put back",
            (f"a newer version of Doffer made it ({unknown[0]} is unknown here)",),
            "Install that version first",
        )


def _known() -> set[tuple[str, str]]:
    return {(app, path.stem) for app in OWN_APPS for path in (PACKAGE / app / "migrations").glob("[0-9]*.py")}


def _unpacked(source: Path, temporary: Path) -> tuple[Path, dict[str, Any], Path]:
    """The database file, its manifest and the folder of photos of a copy or a bundle."""
    if source.suffix != ".zip":
        return source, manifest_of(source), source.parent / "media"
    try:
        with zipfile.ZipFile(source) as pack:
            _require_tame(pack)
            pack.extractall(temporary / "bundle")
    except (zipfile.BadZipFile, OSError) as error:
        raise RefusedError(f"{source.name} cannot be read", (str(error),), "Use another backup") from None
    inside = temporary / "bundle"
    note = inside / MANIFEST_IN_BUNDLE
    if not note.exists():
        raise RefusedError(
            f"{source.name} is not a backup of a mill", ("it has no manifest",), "Use another file"
        )
    manifest = json.loads(note.read_text(encoding="utf-8"))
    return inside / Path(str(manifest["database"]["name"])).name, manifest, inside / "media"


def _require_tame(pack: zipfile.ZipFile) -> None:
    """No path out of the folder, no endless content."""
    infos = pack.infolist()
    if any(info.filename.startswith(("/", "\\")) or ".." in Path(info.filename).parts for info in infos):
        raise RefusedError(
            "The bundle cannot be read", ("it names files outside itself",), "Use another file"
        )
    if sum(info.file_size for info in infos) > MAX_BUNDLE_BYTES:
        raise RefusedError(
            "The bundle cannot be read", ("it is larger than 20 GB unpacked",), "Use another file"
        )


def _require_fits(copy: Path, manifest: dict[str, Any]) -> None:
    """The database is the one that the manifest describes."""
    if not copy.exists():
        raise RefusedError(
            "The bundle cannot be put back", ("its database is missing",), "Use another backup"
        )
    if copy.suffix not in (".sqlite3", ".pgdump"):
        raise InputError("backup", copy.name, "a file ending in .sqlite3, .pgdump or .zip")
    noted = manifest.get("database", {}).get("sha256")
    if noted and describe(copy, copy.name).sha256 != noted:
        raise RefusedError(
            f"{copy.name} cannot be put back",
            ("its content is not what was written when it was made",),
            "Use another backup",
        )


def _restore_sqlite(copy: Path, folder: Path, temporary: Path, database_url: str | None) -> Path | None:
    if database_url:
        raise RefusedError(
            f"{copy.name} cannot be put back",
            ("this mill keeps its records in PostgreSQL and the copy is an SQLite file",),
            "Use a .pgdump copy",
        )
    require_sound(copy)
    fresh = temporary / "fresh.sqlite3"
    shutil.copyfile(copy, fresh)
    with fresh.open("r+b") as handle:
        os.fsync(handle.fileno())
    replaced = _put_aside(folder)
    fresh.replace(folder / DATABASE)
    sync_folder(folder)
    return replaced


def _put_aside(folder: Path) -> Path | None:
    """Keep the records that are about to be replaced; leave no write-ahead file for the new ones."""
    current = folder / DATABASE
    if not current.exists():
        return None
    store = folder / "backups"
    store.mkdir(exist_ok=True)
    stem = f"replaced-{real_time().astimezone().strftime(STAMP)}"
    numbers = ("", *(f"-{number}" for number in range(2, 100)))
    target = next(path for n in numbers if not (path := store / f"{stem}{n}.sqlite3").exists())
    try:
        with closing(sqlite3.connect(current)) as source:
            with closing(sqlite3.connect(target)) as keep:
                source.backup(keep)
            source.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            source.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.DatabaseError:
        # A damaged file is the usual reason to restore: keep its bytes as they are, write-ahead file too.
        shutil.copyfile(current, target)
        for tail in ("-wal", "-shm"):
            beside = current.with_name(current.name + tail)
            if beside.exists():
                beside.replace(target.with_name(target.name + tail))
    return target


def _restore_postgres(copy: Path, folder: Path, database_url: str | None) -> Path | None:
    if not database_url:
        raise RefusedError(
            f"{copy.name} cannot be put back",
            ("it is a PostgreSQL copy and this mill keeps its records in a file",),
            "Set DOFFER_DATABASE_URL to the database, or use an .sqlite3 copy",
        )
    from doffer.serve.pg_backup import dump, put_back

    stem = f"replaced-{real_time().astimezone().strftime(STAMP)}"
    replaced = dump(database_url, folder / "backups" / f"{stem}.pgdump")
    put_back(database_url, copy)
    return replaced


def _restore_photos(manifest: dict[str, Any], store: Path, media: Path) -> int:
    """Bring back the photos the copy names; a photo that is there already stays."""
    number = 0
    for photo in manifest.get("media", ()):
        source, target = store / photo["name"], media / photo["name"]
        if ".." in Path(photo["name"]).parts or not source.exists() or target.exists():
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
        number += 1
    return number
