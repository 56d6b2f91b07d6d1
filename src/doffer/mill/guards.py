"""Database triggers that keep append-only records from being changed, on both databases.

SQLite lets `INSERT OR REPLACE` slip past delete triggers unless `recursive_triggers` is on for that
connection, so an insert guard names the unique columns as well. A later migration that alters one of these
tables makes SQLite rebuild it, which drops its triggers: such a migration ends with `lay_guards`. A migration
that adds tables names them: those of the others stand already.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

# table -> groups of columns that are unique together
APPEND_ONLY: dict[str, tuple[tuple[str, ...], ...]] = {
    "mill_weighing": (("id",), ("key",), ("prev_hash",), ("hash",), ("corrects_id",)),
    "mill_joindecision": (("id",),),
    "mill_orderplan": (("id",), ("order_id", "version")),
    "mill_tableoverride": (("id",),),
    "mill_runwaste": (("id",),),
    "mill_deed": (("id",), ("key",)),
    "mill_change": (("id",),),
    "mill_colourreading": (("id",), ("corrects_id",)),
    "mill_shadeversion": (("id",), ("shade_id", "version")),
    "mill_shadebatch": (("id",), ("version_id", "label")),
    "mill_shadeverdict": (("id",),),
    "mill_blendpart": (("id",), ("recipe_id", "lot_id")),
    "mill_recipestep": (("id",),),
    "mill_sampleblend": (("id",),),
    "mill_mixingfit": (("id",),),
    "mill_dyerecipe": (("id",), ("shade_id", "version")),
    "mill_dyerecipedye": (("id",), ("recipe_id", "place")),
    "mill_dyebatch": (("id",),),
    "mill_dyeload": (("id",), ("batch_id", "number")),
    "mill_tubbath": (("id",), ("use_id", "number")),
    "mill_kettlestick": (("id",),),
    "mill_evennesstrial": (("id",), ("corrects_id",)),
    "mill_machinefigure": (("id",), ("supersedes_id",)),
    "mill_dyeingundone": (("id",), ("batch_id",)),
    "mill_machinesetting": (("id",), ("supersedes_id",)),
    "mill_runsettings": (("id",), ("supersedes_id",)),
    "mill_yarntest": (("id",), ("corrects_id",)),
    "mill_lotfibre": (("id",), ("supersedes_id",)),
}
_LATER = tuple(APPEND_ONLY)[tuple(APPEND_ONLY).index("mill_colourreading") :]
STICK_TABLES = ("mill_kettlestick",)
EVENNESS_TABLES = ("mill_evennesstrial", "mill_machinefigure")
UNDONE_TABLES = ("mill_dyeingundone",)
YARN_TABLES = ("mill_machinesetting", "mill_runsettings", "mill_yarntest", "mill_lotfibre")
_LATEST = (*STICK_TABLES, *EVENNESS_TABLES, *UNDONE_TABLES, *YARN_TABLES)
COLOUR_TABLES = tuple(table for table in _LATER if table not in _LATEST)
FIRST_TABLES = tuple(table for table in APPEND_ONLY if table not in _LATER)
ALL_TABLES = tuple(APPEND_ONLY)


class Runs(Protocol):
    """Anything that runs SQL: a cursor or a schema editor."""

    def execute(self, sql: str, params: None = None) -> object:
        """Run one statement."""


def _words(table: str) -> str:
    return f"{table} is only ever added to: correct it with a new row"


def _sqlite_guards(tables: Sequence[str]) -> Iterator[str]:
    for table in tables:
        keys = APPEND_ONLY[table]
        refuse = f"SELECT RAISE(ABORT, '{_words(table)}'); END"
        # the names in these statements are the constants above
        known = " OR ".join("(" + " AND ".join(f"{c}=NEW.{c}" for c in columns) + ")" for columns in keys)
        yield f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN {refuse}"
        yield f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN {refuse}"
        yield (
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}"  # noqa: S608
            f" WHEN EXISTS (SELECT 1 FROM {table} WHERE {known}) BEGIN {refuse}"
        )


def _postgres_guards(tables: Sequence[str]) -> Iterator[str]:
    yield (
        "CREATE OR REPLACE FUNCTION doffer_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
        " RAISE EXCEPTION '% is only ever added to: correct it with a new row', TG_TABLE_NAME"
        " USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    for table in tables:
        yield (
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table}"
            " FOR EACH ROW EXECUTE FUNCTION doffer_refuse()"
        )
        yield (
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}"
            " FOR EACH STATEMENT EXECUTE FUNCTION doffer_refuse()"
        )


def lay_guards(sql: Runs, vendor: str, tables: Sequence[str] = ALL_TABLES) -> None:
    """Make the triggers."""
    for statement in _postgres_guards(tables) if vendor == "postgresql" else _sqlite_guards(tables):
        sql.execute(statement, None)


def lift_guards(sql: Runs, vendor: str, tables: Sequence[str] = ALL_TABLES) -> None:
    """Drop the triggers: only for migrations that rebuild these tables, and for emptying a test database."""
    for table in tables:
        if vendor == "postgresql":
            sql.execute(f"DROP TRIGGER IF EXISTS {table}_no_change ON {table}", None)
            sql.execute(f"DROP TRIGGER IF EXISTS {table}_no_truncate ON {table}", None)
        else:
            for act in ("update", "delete", "replace"):
                sql.execute(f"DROP TRIGGER IF EXISTS {table}_no_{act}", None)
