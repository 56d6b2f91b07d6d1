"""Safety copies of a mill: made while it runs, checked before they count, thinned out with age.

A copy is three things in `backups/`: the database `YYYYMMDD-HHMM.sqlite3` (or `.pgdump`), a manifest of
the same name in JSON (hash of the database, what the mill is called, the photos with their hashes), and the
photos in `backups/media/`, each kept once however many copies name it. `bundle` packs all of it into one zip
for a memory stick. The mill's secret key is in none of them.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import zipfile
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from doffer.errors import ConflictError, NotFoundError, RefusedError
from doffer.mill.folder import DATABASE, read_card

KEEP_DAYS = 7
KEEP_WEEKS = 5
KEEP_MONTHS = 12
STAMP = "%Y%m%d-%H%M"
STAMP_LENGTH = 13
COPY_NAME = re.compile(r"\d{8}-\d{4}(-\d{2})?")  # whoever put another file there keeps it as it is
READ_BYTES = 1 << 20
SUFFIXES = (".sqlite3", ".pgdump")
MANIFEST_IN_BUNDLE = "manifest.json"


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A file by name, content hash and size."""

    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Backup:
    """One safety copy that was written and checked."""

    path: Path
    made_at: datetime
    database: StoredFile
    media: tuple[StoredFile, ...]


def back_up(folder: Path, database_url: str | None = None) -> Backup:
    """Copy the running mill, check the copy, note it, thin out old copies.

    Raises
    ------
    NotFoundError
        The mill has no database yet.
    RefusedError
        The copy does not pass its check; nothing is kept of it.
    """
    made_at = real_time()
    store = folder / "backups"
    store.mkdir(parents=True, exist_ok=True)
    stem = _free_stem(store, made_at.astimezone().strftime(STAMP))
    if database_url:
        from doffer.serve.pg_backup import dump

        path = dump(database_url, store / f"{stem}.pgdump")
    else:
        path = _copy_sqlite(folder / DATABASE, store / f"{stem}.sqlite3")
    made = Backup(path, made_at, describe(path, path.name), _keep_media(folder / "media", store / "media"))
    _write_manifest(folder, made)
    thin_out(store)
    return made


def real_time() -> datetime:
    """The computer's clock: the mill's own may stand on another day, and needs a database to say so."""
    return datetime.now(UTC)  # noqa: TID251


def describe(path: Path, name: str) -> StoredFile:
    """Name, SHA-256 and size of a file."""
    digest = hashlib.sha256()
    with path.open("rb") as source:
        while block := source.read(READ_BYTES):
            digest.update(block)
    return StoredFile(name, digest.hexdigest(), path.stat().st_size)


def quick_check(path: Path) -> None:
    """SQLite's quick check of a file that nobody else uses.

    Raises
    ------
    RefusedError
        The file is damaged or no database.
    """
    try:
        with closing(sqlite3.connect(path.resolve().as_uri() + "?mode=ro", uri=True)) as copy:
            found = [row[0] for row in copy.execute("PRAGMA quick_check")]
    except sqlite3.DatabaseError as error:
        found = [str(error)]
    if found != ["ok"]:
        raise RefusedError(f"{path.name} is not a sound database", tuple(found[:3]), "Use another backup")


def listed(folder: Path) -> tuple[Path, ...]:
    """The copies of a mill, newest first."""
    return tuple(_copies(folder / "backups"))


def _copies(store: Path) -> list[Path]:
    """The files with the name of a copy, newest first."""
    found = (path for suffix in SUFFIXES for path in store.glob(f"*{suffix}"))
    return sorted(filter(_is_copy, found), key=lambda path: path.stem, reverse=True)


def _is_copy(path: Path) -> bool:
    if not COPY_NAME.fullmatch(path.stem):
        return False
    try:
        _stamp(path)
    except ValueError:  # digits, but no day
        return False
    return True


def manifest_of(path: Path) -> dict[str, Any]:
    """The manifest that belongs to a copy; empty when there is none.

    Raises
    ------
    RefusedError
        There is one, but it says nothing that could be understood.
    """
    note = path.with_suffix(".json")
    return read_manifest(note) if note.exists() else {}


def read_manifest(note: Path) -> dict[str, Any]:
    """A manifest whose names are names.

    Raises
    ------
    RefusedError
        It cannot be understood.
    """
    try:
        manifest = json.loads(note.read_text(encoding="utf-8"))
        named = [photo["name"] for photo in manifest.get("media", ())]
        named.append(manifest.get("database", {}).get("name", ""))
    except (ValueError, TypeError, AttributeError, KeyError) as error:
        why = f"it is damaged ({type(error).__name__})"
        raise RefusedError(f"The manifest {note.name} cannot be read", (why,), "Use another backup") from None
    if not all(isinstance(name, str) for name in named):
        why = "it names a file by something that is no name"
        raise RefusedError(f"The manifest {note.name} cannot be read", (why,), "Use another backup")
    return manifest


def bundle(folder: Path, made: Backup, target: Path) -> Path:
    """Pack a copy with its manifest and photos into one zip.

    Raises
    ------
    ConflictError
        The file exists already.
    """
    if target.exists():
        raise ConflictError(f"{target} exists already", "Choose another name")
    fresh = target.with_name(target.name + ".new")
    with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED) as pack:
        pack.write(made.path, made.path.name)
        pack.write(made.path.with_suffix(".json"), MANIFEST_IN_BUNDLE)
        for photo in made.media:
            # Photos are compressed already.
            source = folder / "backups" / "media" / photo.name
            pack.write(source, f"media/{photo.name}", zipfile.ZIP_STORED)
    _to_disk(fresh)
    fresh.replace(target)
    return target


def thin_out(store: Path) -> None:
    """Keep the newest copy of each of the last 7 days, 5 weeks and 12 months that have one."""
    copies = _copies(store)
    for path in set(copies) - kept(copies):
        path.with_suffix(".json").unlink(missing_ok=True)
        path.unlink()


def kept(newest_first: list[Path]) -> set[Path]:
    """Which copies stay."""
    rules = ((KEEP_DAYS, "%Y%m%d"), (KEEP_WEEKS, "%G-%V"), (KEEP_MONTHS, "%Y%m"))
    stay: set[Path] = set()
    for number, period in rules:
        newest: dict[str, Path] = {}
        for path in newest_first:
            newest.setdefault(_stamp(path).strftime(period), path)
        stay |= set(list(newest.values())[:number])
    return stay


def _stamp(path: Path) -> datetime:
    return datetime.strptime(path.stem[:STAMP_LENGTH], STAMP).astimezone()


def _free_stem(store: Path, stem: str) -> str:
    """The stamp, with a number behind it for a second copy in the same minute."""
    taken = {path.stem for path in store.iterdir()}
    numbered = (f"{stem}-{number:02d}" for number in range(2, 100))
    return next(name for name in (stem, *numbered) if name not in taken)


def _copy_sqlite(database: Path, target: Path) -> Path:
    """SQLite's backup of a database in use, checked and on the disk before it gets its name."""
    if not database.exists():
        raise NotFoundError("database", str(database), "The mill has not been started yet")
    fresh = target.with_name(target.name + ".new")
    fresh.unlink(missing_ok=True)
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(fresh)) as copy:
        source.backup(copy)
        # One self-contained file: without this the copy would ask for write-ahead files beside it.
        copy.execute("PRAGMA journal_mode=DELETE")
    try:
        quick_check(fresh)
    except RefusedError:
        fresh.unlink()
        raise
    _to_disk(fresh)
    fresh.replace(target)
    sync_folder(target.parent)
    return target


def _keep_media(media: Path, store: Path) -> tuple[StoredFile, ...]:
    """Copy photos that are not in the store yet (names are random and contents never change)."""
    found = []
    for path in sorted(media.rglob("*")) if media.exists() else ():
        if not path.is_file():
            continue
        name = path.relative_to(media).as_posix()
        target = store / name
        if not target.exists() or target.stat().st_size != path.stat().st_size:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
            _to_disk(target)
        found.append(describe(target, name))
    return tuple(found)


def _write_manifest(folder: Path, made: Backup) -> None:
    note = made.path.with_suffix(".json")
    fresh = note.with_name(note.name + ".new")
    content = {
        "made_at": made.made_at.isoformat(),
        "mill": read_card(folder),
        "database": asdict(made.database),
        "media": [asdict(photo) for photo in made.media],
    }
    fresh.write_text(json.dumps(content, indent=1, ensure_ascii=False), encoding="utf-8")
    _to_disk(fresh)
    fresh.replace(note)
    sync_folder(note.parent)


def _to_disk(path: Path) -> None:
    with path.open("r+b") as handle:
        os.fsync(handle.fileno())


def sync_folder(folder: Path) -> None:
    """Make a rename lasting; Windows cannot and need not."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
