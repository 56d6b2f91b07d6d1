import json
import sqlite3
import zipfile
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill.folder import DATABASE, write_card
from doffer.serve import backup, lock, restore

LATEST = max(path.stem for path in (restore.PACKAGE / "mill" / "migrations").glob("[0-9]*.py"))


@pytest.fixture
def folder(tmp_path):
    """A mill with two lots, written in write-ahead mode and still open elsewhere, and one photo."""
    write_card(tmp_path, {"name": "Barrow Lane Mill", "kind": "own"})
    with closing(sqlite3.connect(tmp_path / DATABASE)) as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("CREATE TABLE django_migrations (app TEXT, name TEXT)")
        db.execute("INSERT INTO django_migrations VALUES ('mill', ?)", (LATEST,))
        db.execute("CREATE TABLE owner (id INTEGER PRIMARY KEY)")
        db.execute("CREATE TABLE lot (code TEXT, owner INTEGER REFERENCES owner(id))")
        db.execute("INSERT INTO owner VALUES (1)")
        db.executemany("INSERT INTO lot VALUES (?, 1)", [("L001",), ("L002",)])
        db.commit()
        (tmp_path / "media" / "bags").mkdir(parents=True)
        (tmp_path / "media" / "bags" / "x7.jpg").write_bytes(b"photo")
        (tmp_path / "secret.key").write_text("never in a copy")
        yield tmp_path


def lots(path):
    with closing(sqlite3.connect(path)) as db:
        return [row[0] for row in db.execute("SELECT code FROM lot ORDER BY code")]


def change(folder, *statements):
    with closing(sqlite3.connect(folder / DATABASE)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


def test_a_copy_of_a_mill_in_use_holds_everything_that_was_saved(folder):
    made = backup.back_up(folder)
    assert lots(made.path) == ["L001", "L002"]


def test_a_copy_is_one_file_without_write_ahead_files(folder):
    made = backup.back_up(folder)
    assert sorted(p.name for p in made.path.parent.iterdir()) == [
        f"{made.path.stem}.json",
        f"{made.path.stem}.sqlite3",
        "media",
    ]


def test_the_manifest_names_the_hash_the_mill_and_the_photos(folder):
    made = backup.back_up(folder)
    note = json.loads(made.path.with_suffix(".json").read_text(encoding="utf-8"))
    assert note["mill"]["name"] == "Barrow Lane Mill"
    assert note["database"]["sha256"] == backup.describe(made.path, "x").sha256
    assert [photo["name"] for photo in note["media"]] == ["bags/x7.jpg"]


def test_two_copies_in_one_minute_get_two_names(folder):
    names = {backup.back_up(folder).path.name for _ in range(2)}
    assert len(names) == 2


def test_a_mill_without_a_database_cannot_be_copied(tmp_path):
    with pytest.raises(NotFoundError, match="has not been started"):
        backup.back_up(tmp_path)


def test_a_damaged_database_leaves_no_copy_behind(tmp_path):
    (tmp_path / DATABASE).write_bytes(b"this was a database once" * 500)
    with pytest.raises((RefusedError, sqlite3.DatabaseError)):
        backup.back_up(tmp_path)
    assert list((tmp_path / "backups").glob("*.sqlite3")) == []


def test_the_secret_key_is_in_no_bundle(folder, tmp_path):
    made = backup.back_up(folder)
    pack = backup.bundle(folder, made, tmp_path / "stick.zip")
    with zipfile.ZipFile(pack) as inside:
        assert set(inside.namelist()) == {"manifest.json", "media/bags/x7.jpg", made.path.name}


def test_a_bundle_is_never_written_over_another_file(folder, tmp_path):
    made = backup.back_up(folder)
    (tmp_path / "stick.zip").write_text("holiday photos")
    with pytest.raises(ConflictError, match="exists already"):
        backup.bundle(folder, made, tmp_path / "stick.zip")


def test_seven_days_five_weeks_and_twelve_months_are_kept():
    newest = datetime(2026, 11, 3, 2, 0, tzinfo=UTC)
    days = [Path(f"{newest - timedelta(days=back):%Y%m%d-%H%M}.sqlite3") for back in range(500)]
    stay = sorted(path.stem for path in backup.kept(days))
    assert stay[-7:] == [f"202610{day}-0200" for day in (28, 29, 30, 31)] + [
        f"2026110{day}-0200" for day in (1, 2, 3)
    ]
    assert len(stay) <= 7 + 5 + 12
    assert stay[0] == "20251231-0200"  # the newest copy of the twelfth month back


def test_of_several_copies_in_a_day_the_newest_stays():
    copies = [Path("20261103-1800.sqlite3"), Path("20261103-0900.sqlite3")]
    assert backup.kept(copies) == {copies[0]}


def test_a_copy_brings_the_records_back_and_keeps_what_it_replaces(folder):
    made = backup.back_up(folder)
    change(folder, "DELETE FROM lot", "INSERT INTO lot VALUES ('L900', 1)")
    done = restore.restore(folder, made.path)
    assert lots(folder / DATABASE) == ["L001", "L002"]
    assert lots(done.replaced) == ["L900"]


def test_a_bundle_brings_records_and_photos_to_an_empty_folder(folder, tmp_path_factory):
    pack = backup.bundle(folder, backup.back_up(folder), folder / "stick.zip")
    other = tmp_path_factory.mktemp("other")
    done = restore.restore(other, pack)
    assert lots(other / DATABASE) == ["L001", "L002"]
    assert (other / "media" / "bags" / "x7.jpg").read_bytes() == b"photo"
    assert (done.photos, done.replaced) == (1, None)


def test_nothing_is_put_back_while_the_mill_is_served(folder):
    made = backup.back_up(folder)
    with (
        lock.hold(folder, "http://127.0.0.1:8766/"),
        pytest.raises(ConflictError, match=r"127\.0\.0\.1:8766"),
    ):
        restore.restore(folder, made.path)


def test_a_copy_that_was_changed_afterwards_is_refused(folder):
    made = backup.back_up(folder)
    with closing(sqlite3.connect(made.path)) as db:
        db.execute("UPDATE lot SET code = 'L003' WHERE code = 'L002'")
        db.commit()
    with pytest.raises(RefusedError, match="not what was written"):
        restore.restore(folder, made.path)
    assert lots(folder / DATABASE) == ["L001", "L002"]


def test_a_copy_with_orphans_is_refused(folder):
    change(folder, "INSERT INTO lot VALUES ('L003', 99)")
    made = backup.back_up(folder)
    with pytest.raises(RefusedError, match="1 records point at records that are missing"):
        restore.restore(folder, made.path)


def test_a_copy_of_a_newer_doffer_is_refused(folder):
    change(folder, "INSERT INTO django_migrations VALUES ('mill', '9999_from_the_future')")
    made = backup.back_up(folder)
    with pytest.raises(RefusedError, match="newer version of Doffer"):
        restore.restore(folder, made.path)


def test_a_file_that_is_no_database_is_refused(folder, tmp_path):
    (tmp_path / "letter.sqlite3").write_text("Dear mill, " * 200)
    with pytest.raises(RefusedError, match="not a sound database"):
        restore.restore(folder, tmp_path / "letter.sqlite3")


def test_a_bundle_that_reaches_outside_itself_is_refused(folder, tmp_path):
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as pack:
        pack.writestr("../../etc/cron.d/x", "boom")
    with pytest.raises(RefusedError, match="outside itself"):
        restore.restore(folder, tmp_path / "bad.zip")


def repacked(pack, target, **changed):
    """The bundle again, with other words in its manifest."""
    with zipfile.ZipFile(pack) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "manifest.json":
                content = json.dumps(json.loads(content) | changed)
            new.writestr(name, content)
    return target


@pytest.mark.parametrize("name", ["{secret}", "../{secret.name}", "", ".", "..", "media", "manifest.json"])
def test_a_manifest_opens_no_file_but_the_bundle_s_own_database(folder, tmp_path_factory, name):
    secret = tmp_path_factory.mktemp("elsewhere") / "other.sqlite3"
    with closing(sqlite3.connect(secret)) as db:
        db.execute("CREATE TABLE django_migrations (app TEXT, name TEXT)")
    other = tmp_path_factory.mktemp("other")
    pack = backup.bundle(folder, backup.back_up(folder), folder / "stick.zip")
    bad = repacked(pack, folder / "bad.zip", database={"name": name.format(secret=secret)})
    with pytest.raises((RefusedError, InputError)):
        restore.restore(other, bad)
    assert not (other / DATABASE).exists()


def test_a_database_named_with_a_path_is_looked_for_in_the_bundle_by_its_last_name(folder, tmp_path_factory):
    made = backup.back_up(folder)
    pack = backup.bundle(folder, made, folder / "stick.zip")
    moved = repacked(pack, folder / "moved.zip", database={"name": f"/home/ida/backups/{made.path.name}"})
    other = tmp_path_factory.mktemp("other")
    restore.restore(other, moved)
    assert lots(other / DATABASE) == ["L001", "L002"]


@pytest.mark.parametrize("photo", ["../escaped.jpg", "bags/../../escaped.jpg"])
def test_a_photo_is_put_back_nowhere_but_among_the_photos(folder, tmp_path_factory, photo):
    other = tmp_path_factory.mktemp("other")
    pack = backup.bundle(folder, backup.back_up(folder), folder / "stick.zip")
    bad = repacked(pack, folder / "bad.zip", media=[{"name": photo}])
    with zipfile.ZipFile(bad, "a") as more:
        more.writestr("escaped.jpg", b"boom")
    assert restore.restore(other, bad).photos == 0
    assert [path.name for path in other.rglob("*.jpg")] == []


@pytest.mark.parametrize(
    "words", ["not JSON", "[]", '{"database": "x"}', '{"media": [1]}', '{"database": {"name": 7}}']
)
def test_a_manifest_that_says_nothing_is_refused_in_a_sentence(folder, tmp_path_factory, words):
    with zipfile.ZipFile(folder / "bad.zip", "w") as pack:
        pack.writestr("manifest.json", words)
    with pytest.raises(RefusedError, match=r"manifest manifest\.json cannot be read"):
        restore.restore(tmp_path_factory.mktemp("other"), folder / "bad.zip")


def test_a_bundle_of_any_name_is_put_back(folder, tmp_path_factory):
    pack = backup.bundle(folder, backup.back_up(folder), folder / "März (2), Barrow Lane.ZIP")
    other = tmp_path_factory.mktemp("other")
    restore.restore(other, pack)
    assert lots(other / DATABASE) == ["L001", "L002"]


@pytest.mark.parametrize(
    "name",
    [
        "2026 before the wash.sqlite3",
        "20260302-0900 before the wash.sqlite3",
        "20261399-9999.sqlite3",
        "replaced-20260302-0900.sqlite3",
        "7.pgdump",
    ],
)
def test_a_file_that_somebody_put_among_the_copies_is_no_copy_and_stays(folder, name):
    (folder / "backups").mkdir()
    (folder / "backups" / name).write_bytes(b"mine")
    for _ in range(2):
        backup.back_up(folder)
    assert (folder / "backups" / name).read_bytes() == b"mine"
    assert name not in {path.name for path in backup.listed(folder)}
    assert len(backup.listed(folder)) >= 1


def test_a_damaged_mill_can_be_restored_and_its_ruins_are_kept(folder):
    made = backup.back_up(folder)
    for tail in ("-wal", "-shm"):
        (folder / f"{DATABASE}{tail}").unlink()
    (folder / DATABASE).write_bytes(b"ruins")
    done = restore.restore(folder, made.path)
    assert lots(folder / DATABASE) == ["L001", "L002"]
    assert done.replaced.read_bytes() == b"ruins"
