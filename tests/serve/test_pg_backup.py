import os
import shutil

import pytest
from django.db import connection

from doffer.errors import RefusedError
from doffer.mill.folder import write_card
from doffer.mill.models import Change
from doffer.serve import pg_backup
from doffer.serve.backup import back_up
from doffer.serve.restore import restore

needs_server = pytest.mark.skipif(
    "DOFFER_DATABASE_URL" not in os.environ or shutil.which("pg_dump") is None, reason="no PostgreSQL"
)
AT = "2026-03-02T08:00:00+00:00"


@pytest.fixture
def url(transactional_db):
    """Address of the test's own database."""
    made = connection.settings_dict
    return f"postgresql://{made['USER']}@{made['HOST']}:{made['PORT']}/{made['NAME']}"


@pytest.mark.pg
@needs_server
def test_a_copy_of_a_database_server_brings_the_records_back(url, tmp_path):
    write_card(tmp_path, {"name": "Barrow Lane Mill", "kind": "own"})
    Change.objects.create(at=AT, topic="lot", subject="L001")
    made = back_up(tmp_path, url)
    assert made.path.suffix == ".pgdump"
    Change.objects.create(at=AT, topic="lot", subject="L002")
    connection.close()
    done = restore(tmp_path, made.path, url)
    assert list(Change.objects.values_list("subject", flat=True)) == ["L001"]
    assert done.replaced.exists()


@pytest.mark.pg
@needs_server
def test_what_the_server_says_is_passed_on(url, tmp_path):
    (tmp_path / "broken.pgdump").write_text("no copy at all")
    with pytest.raises(RefusedError, match="PostgreSQL could not take the copy back"):
        pg_backup.put_back(url, tmp_path / "broken.pgdump")


def test_missing_programs_are_said_in_a_sentence(monkeypatch, tmp_path):
    monkeypatch.setattr(pg_backup.shutil, "which", lambda _name: None)
    with pytest.raises(RefusedError, match="pg_dump is not installed"):
        pg_backup.dump("postgresql://mill@db/mill", tmp_path / "x.pgdump")


def test_the_password_is_not_on_the_command_line():
    known = pg_backup._environment("postgresql://ida:p%40ss@db:5433/mill")
    assert (known["PGPASSWORD"], known["PGHOST"], known["PGPORT"], known["PGDATABASE"]) == (
        "p@ss",
        "db",
        "5433",
        "mill",
    )
