"""What happens before a mill's server answers: safety copy, new table layout, check, first records."""

from __future__ import annotations

import logging
import os
import shutil
from pathlib import Path

from doffer.errors import RefusedError
from doffer.mill.folder import DATABASE, read_card, started

log = logging.getLogger(__name__)


def open_mill(folder: Path, process: str) -> None:
    """Set Django up for one mill folder; once per process."""
    os.environ["DOFFER_DATA"] = str(folder)
    os.environ["DOFFER_PROCESS"] = process
    os.environ["DJANGO_SETTINGS_MODULE"] = "doffer.settings"
    import django

    django.setup()


def database_url(folder: Path) -> str | None:
    """Where the mill's records are, when they are not in its folder; the invented mill's always are."""
    if read_card(folder).get("kind") == "demo":
        return None
    return os.environ.get("DOFFER_DATABASE_URL")


def has_answers(folder: Path) -> bool:
    """Whether the mill was begun but has no first records yet."""
    return "start" in read_card(folder)


def throw_away(folder: Path) -> None:
    """Remove the records and photos of the invented mill; its safety copies and its key stay."""
    for tail in ("", "-wal", "-shm"):
        (folder / f"{DATABASE}{tail}").unlink(missing_ok=True)
    shutil.rmtree(folder / "media", ignore_errors=True)


def pending() -> int:
    """How many migrations the database still lacks."""
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def bring_up_to_date(folder: Path) -> None:
    """Migrate, after a verified backup when there is something to lose."""
    from django.core.management import call_command
    from django.db import connection

    from doffer.serve.backup import back_up

    count = pending()
    if not count:
        return
    if "django_migrations" in connection.introspection.table_names():
        made = back_up(folder, database_url(folder))
        log.info("before the update a backup was made: %s", made.path)
    call_command("migrate", interactive=False, verbosity=0)
    log.info("%s migrations applied", count)


def check_records() -> None:
    """SQLite's own quick check of the file.

    Raises
    ------
    RefusedError
        The database file is damaged.
    """
    from django.db import connection

    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        found = [row[0] for row in cursor.execute("PRAGMA quick_check").fetchall()]
    if found != ["ok"]:
        raise RefusedError(
            "The mill cannot be opened",
            ("its database file is damaged", *found[:3]),
            "Put a backup back with `doffer restore`",
        )


def prepare(folder: Path, process: str = "server") -> str:
    """Make the mill ready; returns its name as shown to people."""
    open_mill(folder, process)
    bring_up_to_date(folder)
    check_records()
    card = read_card(folder)
    if has_answers(folder):
        from doffer.serve.first_records import carry_out

        carry_out(card)
        started(folder)
    return f"{card.get('name', folder.name)}{' (invented demo mill)' if card.get('kind') == 'demo' else ''}"
