"""The people and the mill that all tests share; they are made by commands, as in life."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from django.apps import apps as django_apps
from django.db import connections

from doffer.mill import bridge, clock
from doffer.mill.guards import lay_guards, lift_guards

pytest_plugins = ("tests.chromium",)
MONDAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite tests use a file, as the mill does: a database in memory would not show locks or WAL."""
    settings = connections["default"].settings_dict
    if settings["ENGINE"].endswith("sqlite3"):
        settings["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")


@pytest.fixture(scope="session", autouse=True)
def _guards_give_way_to_emptying(django_db_blocker) -> None:
    """Tests with real transactions empty every table afterwards; only then do the guards step aside."""
    operations = connections["default"].ops
    empty = operations.execute_sql_flush

    def empty_unguarded(statements: list[str]) -> None:
        connection = operations.connection
        with connection.cursor() as cursor:
            lift_guards(cursor, connection.vendor)
        empty(statements)
        with connection.cursor() as cursor:
            lay_guards(cursor, connection.vendor)

    operations.execute_sql_flush = empty_unguarded


@pytest.fixture(autouse=True)
def _fresh_clock():
    """No test inherits the shift of another one's mill."""
    clock.forget_shift()
    yield
    clock.forget_shift()


@pytest.fixture
def monday():
    """Monday 2 March 2026, nine o'clock: the clock stands still."""
    with clock.frozen(MONDAY):
        yield MONDAY


@pytest.fixture
def people(db, monday) -> SimpleNamespace:
    """Four people of a small fictional mill: owner, office, floor, viewer."""
    from doffer.mill.commands.settings import add_person
    from doffer.mill.commands.start_mill import Answers, start_mill
    from doffer.people.models import Person

    answers = Answers(
        name="Thimble End Mill (fictional)",
        units="metric",
        country_rules="EU",
        machines=("wash_tub", "picker", "card", "spinning_frame"),
        your_name="Ada",
    )
    owner = Person.objects.get(code=start_mill(answers))
    for name, role in (("Otto", "office"), ("Flo", "floor"), ("Vic", "viewer")):
        add_person(owner, name=name, role=role)
    return SimpleNamespace(**{person.role: person for person in Person.objects.all()})


@pytest.fixture
def small_mill(people) -> SimpleNamespace:
    """Two farms with two bags each and the mill's own wool.

    `moss` (C02) has the white L001 and grey L002, `fern` (C03) the fawn alpaca L003 and white alpaca L004,
    `own` (C01) the scoured L005; all are looked into for moth. Everything else hangs on the people:
    `mill.owner`, `mill.floor` ...
    """
    from doffer.mill.booking import Reading
    from doffer.mill.commands.customers import add_customer
    from doffer.mill.commands.intake import Bag, FibreFacts, check_for_pests, weigh_in_bag

    moss = add_customer(people.office, name="Moss Edge Farm", contact="Tilly", units="metric")
    fern = add_customer(people.office, name="Fern Bank Alpacas", contact="Rupert", units="us")

    def bag(customer: str, fibre: str, breed: str, colour: str, gross_g: float, **more: object) -> str:
        lab, um = more.pop("lab"), more.pop("um", None)
        facts = FibreFacts(fibre=fibre, breed=breed, colour_name=colour, lab=lab, diameter_um=um)
        reading = Reading(gross_g=gross_g, tare_g=250, rh_frac=0.6)
        done = weigh_in_bag(people.floor, Bag(customer=customer, facts=facts, reading=reading, **more))
        check_for_pests(people.floor, done.lot, seen="clear")
        return done

    bags = [
        bag(moss, "wool", "shetland", "white", 4250, lab=(83, 0.2, 10), um=24.0),
        bag(moss, "wool", "shetland", "grey", 3250, lab=(58, 1, 7)),
        bag(fern, "alpaca", "huacaya", "fawn", 2950, lab=(62, 6.5, 19), um=23.1),
        bag(fern, "alpaca", "huacaya", "white", 3100, lab=(86, 0.8, 9.5)),
        bag("C01", "wool", "corriedale", "white", 10_250, lab=(84, 0.1, 9), form="scoured", place="store"),
    ]
    return SimpleNamespace(
        **vars(people), moss=moss, fern=fern, own="C01", bags=bags, tables=bridge.current_tables()
    )


@pytest.fixture
def demo_mill(db) -> SimpleNamespace:
    """The invented mill Quillfern Hollow, on its own Monday."""
    from doffer.people.models import Person

    _load_demo_once()
    clock.forget_shift()
    with clock.frozen(MONDAY):
        yield SimpleNamespace(owner=Person.objects.get(code="P1"), floor=Person.objects.get(code="P3"))


_demo_rows: dict[str, tuple[list[str], list[tuple[object, ...]]]] = {}


def _load_demo_once() -> None:
    """The invented mill by its own loader the first time, row by row as that left it afterwards.

    Loading asks for seconds, since every record goes through the command that people use; rows are put back
    in a hundredth of that, with the same numbers, moments and hashes.
    """
    from django.core.management.color import no_style
    from django.db import connection, transaction

    from doffer.mill.demo.load import load_demo

    models = django_apps.get_models(include_auto_created=True)
    with connection.cursor() as cursor:
        if not _demo_rows:
            before = {model._meta.db_table for model in models if _rows_of(cursor, model._meta.db_table)[1]}
            load_demo()
            for model in models:
                table = model._meta.db_table
                columns, rows = _rows_of(cursor, table)
                if rows and table not in before:
                    _demo_rows[table] = columns, rows
            return
        with transaction.atomic():
            for table, (columns, rows) in _demo_rows.items():
                names = ", ".join(f'"{column}"' for column in columns)
                marks = ", ".join(["%s"] * len(columns))
                cursor.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)
            kept = [model for model in models if model._meta.db_table in _demo_rows]
            for sentence in connection.ops.sequence_reset_sql(no_style(), kept):
                cursor.execute(sentence)


def _rows_of(cursor, table: str) -> tuple[list[str], list[tuple[object, ...]]]:
    cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
    return [column[0] for column in cursor.description], cursor.fetchall()
