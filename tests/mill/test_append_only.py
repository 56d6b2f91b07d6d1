"""Records that are only added to stay as they were written, whatever program opens the database."""

import uuid

import pytest
from django.db import IntegrityError, connection, transaction

from doffer.mill.booking import Reading
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.guards import APPEND_ONLY, lay_guards, lift_guards
from doffer.mill.models import Weighing
from doffer.mill.queries.chain import verify_chain

pytestmark = pytest.mark.django_db


def refused(sql: str, params: list[object]) -> str:
    """Run a statement that must fail; gives what the database said."""
    with pytest.raises(IntegrityError) as caught, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)
    return str(caught.value)


def test_a_weighing_cannot_be_updated_with_a_database_tool(small_mill):
    first = Weighing.objects.first()
    said = refused("UPDATE mill_weighing SET gross_mg = 1 WHERE id = %s", [first.pk])
    assert "only ever added to" in said
    assert Weighing.objects.get(pk=first.pk).gross_mg == first.gross_mg


def test_a_weighing_cannot_be_deleted(small_mill):
    before = Weighing.objects.count()
    assert "only ever added to" in refused("DELETE FROM mill_weighing", [])
    assert Weighing.objects.count() == before


@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_insert_or_replace_does_not_slip_past_the_guards(small_mill, recursive):
    if connection.vendor != "sqlite":
        pytest.skip("INSERT OR REPLACE is SQLite's")
    first = Weighing.objects.first()
    names = [field.column for field in Weighing._meta.fields]
    values = [
        field.get_db_prep_value(getattr(first, field.attname), connection) for field in Weighing._meta.fields
    ]
    values[names.index("gross_mg")] = first.gross_mg + 1
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA recursive_triggers={recursive}")
    try:
        marks = ", ".join(["%s"] * len(names))
        said = refused(f"INSERT OR REPLACE INTO mill_weighing ({', '.join(names)}) VALUES ({marks})", values)
    finally:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA recursive_triggers=ON")
    assert "only ever added to" in said
    assert Weighing.objects.get(pk=first.pk).gross_mg == first.gross_mg


def test_a_whole_table_cannot_be_emptied_on_postgresql(small_mill):
    if connection.vendor != "postgresql":
        pytest.skip("TRUNCATE is PostgreSQL's")
    connection.check_constraints()  # deferred checks would be met before the guard
    assert "only ever added to" in refused("TRUNCATE mill_weighing CASCADE", [])


def test_every_append_only_table_is_guarded(demo_mill):
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            wanted = {f"{t}_no_{act}" for t in APPEND_ONLY for act in ("update", "delete", "replace")}
        else:
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
            wanted = {f"{t}_no_{act}" for t in APPEND_ONLY for act in ("change", "truncate")}
        assert wanted <= {name for (name,) in cursor.fetchall()}
        for table in APPEND_ONLY:
            cursor.execute(f"SELECT count(*) FROM {table}")
            if cursor.fetchone()[0]:
                assert "only ever added to" in refused(f"UPDATE {table} SET id = id", [])
                assert "only ever added to" in refused(f"DELETE FROM {table}", [])


def test_the_chain_of_an_untouched_mill_is_whole(small_mill):
    verdict = verify_chain()
    assert verdict.is_whole
    assert verdict.n_checked == Weighing.objects.count() == 5
    assert verdict.last_hash == Weighing.objects.last().hash


@pytest.mark.parametrize(
    "tamper",
    [
        "UPDATE mill_weighing SET gross_mg = gross_mg + 1000 WHERE id = %s",
        "UPDATE mill_weighing SET note = 'never mind' WHERE id = %s",
        "UPDATE mill_weighing SET person_id = (SELECT max(id) FROM people_person) WHERE id = %s",
        "UPDATE mill_weighing SET rh_ppm = NULL WHERE id = %s",
    ],
)
def test_the_chain_names_the_first_weighing_that_was_changed(small_mill, tamper):
    second = Weighing.objects.order_by("pk")[1]
    with connection.cursor() as cursor:
        lift_guards(cursor, connection.vendor)
        cursor.execute(tamper, [second.pk])
        lay_guards(cursor, connection.vendor)
    verdict = verify_chain()
    assert not verdict.is_whole
    assert verdict.broken_id == second.pk
    assert verdict.n_checked == 1


def test_the_chain_notices_a_weighing_that_was_taken_out(small_mill):
    for _ in range(2):
        record_weighing(small_mill.floor, lot="L001", reading=Reading(gross_g=4200, tare_g=250))
    gone, after = Weighing.objects.order_by("pk")[5:7]
    with connection.cursor() as cursor:
        lift_guards(cursor, connection.vendor)
        cursor.execute("DELETE FROM mill_weighing WHERE id = %s", [gone.pk])
        lay_guards(cursor, connection.vendor)
    assert verify_chain().broken_id == after.pk


def test_a_weighing_whose_dry_mass_exceeds_its_net_is_refused_by_the_database(small_mill):
    last = Weighing.objects.last()
    with pytest.raises(IntegrityError), transaction.atomic():
        Weighing.objects.create(
            key=uuid.uuid4(),
            lot=last.lot,
            moment="stock",
            form="scoured",
            gross_mg=100,
            dry_mg=101,
            weighed_at=last.weighed_at,
            recorded_at=last.recorded_at,
            person=last.person,
            prev_hash=last.hash,
            hash="0" * 64,
        )
