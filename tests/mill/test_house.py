"""Starting a mill, its settings, machines, own figures, imports, photos, long calculations."""

import io
import uuid

import pytest
from django.test import override_settings
from PIL import Image

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError, TableError
from doffer.mill import bridge, clock
from doffer.mill.commands import jobs
from doffer.mill.commands.import_lots import import_lots
from doffer.mill.commands.lots import add_photo
from doffer.mill.commands.machines import MachineFacts, add_machine, change_machine, check_scale
from doffer.mill.commands.machines import add_scale as new_scale
from doffer.mill.commands.settings import archive_person, change_settings
from doffer.mill.commands.start_mill import Answers, start_mill
from doffer.mill.commands.tables import override_cell, withdraw_cell
from doffer.mill.import_rows import LotRow
from doffer.mill.models import Lot
from doffer.mill.queries import house
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.tables import current_tables, own_figures, table_rows
from doffer.tables.loader import Override, load_tables

pytestmark = pytest.mark.django_db
ANSWERS = Answers(
    name="Puddle Lane Mill",
    units="us",
    country_rules="US",
    machines=("card", "card", "picker"),
    your_name="Bo",
)
CELL = {"table": "stage_losses", "row": "card/wool", "column": "dry_loss_mode_pct"}


def test_five_answers_make_a_mill(db):
    start_mill(ANSWERS)
    made = {row.key: row.value for row in house.settings()}
    assert (made["name"], made["units"], made["country_rules"]) == ("Puddle Lane Mill", "us", "US")
    assert [m.name for m in house.machines()] == ["card, 0.6 m wide", "card, 0.6 m wide 2", "picker and bin"]
    assert [(p.name, p.role) for p in house.people()] == [("Bo", "owner")]


def test_a_mill_is_started_once(people):
    with pytest.raises(ConflictError, match="started already"):
        start_mill(ANSWERS)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"machines": ("loom",)}, "machines is “loom”; it must be chosen from skirting_table"),
        ({"units": "stone"}, "one of metric, us"),
        ({"your_name": " "}, "name is “ ”"),
    ],
)
def test_an_answer_that_cannot_be_leaves_nothing_behind(db, wrong, sentence):
    answers = {name: getattr(ANSWERS, name) for name in Answers.__slots__} | wrong
    with pytest.raises(InputError) as caught:
        start_mill(Answers(**answers))
    assert sentence in str(caught.value).replace("name is missing", "name is “ ”")
    assert not house.is_started()


def test_settings_are_checked_and_changed_all_or_none(people):
    with pytest.raises(InputError, match="Humidity wanted in the card room"):
        change_settings(people.office, {"name": "New Name", "card_room_rh_frac": "75"})
    assert {row.key: row.value for row in house.settings()}["name"] == "Thimble End Mill (fictional)"
    with pytest.raises(NotFoundError, match="There is no setting"):
        change_settings(people.office, {"colour_of_the_door": "red"})
    with pytest.raises(RefusedError, match="Flo may not change the mill's settings"):
        change_settings(people.floor, {"name": "Flo's"})


def test_the_last_owner_stays(people):
    with pytest.raises(InputError, match="at least one owner"):
        archive_person(people.owner, people.owner.code)
    archive_person(people.owner, people.viewer.code)
    assert "Vic" not in {person.name for person in house.people()}


def test_machines_and_scales_keep_what_is_said_of_them(people):
    facts = MachineFacts(name="old card", stage="card", capacity=None, rate_wool_kg_per_h=1.5, holdup_g=80)
    code = add_machine(people.office, facts)
    change_machine(
        people.office, code, MachineFacts(name="old card", stage="card", holdup_g=75.5, status="own")
    )
    row = next(m for m in house.machines() if m.code == code)
    assert (row.holdup_g, row.rate_wool_kg_per_h, row.status) == (75.5, None, "own")
    new_scale(people.office, code="S1", name="bench", capacity_g=15_000, division_g=1, check_mass_g=5_000)
    check_scale(people.floor, "S1", reading_g=5_001)
    assert house.scales()[0].last_check_reading_g == 5_001
    assert house.scales()[0].last_check_on == clock.today()


def test_an_own_figure_counts_and_the_shipped_one_stays_in_sight(people):
    shipped = load_tables().stage_losses["card/wool"].dry_loss_mode_pct
    override_cell(people.office, **CELL, value="6.5", reason="our last ten runs")
    assert current_tables().stage_losses["card/wool"].dry_loss_mode_pct == 6.5
    row = next(row for row in table_rows("stage_losses") if row.key == "card/wool")
    cell = next(cell for cell in row.cells if cell.column == "dry_loss_mode_pct")
    assert (cell.value, cell.shipped, row.is_own, row.status) == ("6.5", f"{shipped:g}", True, "own")
    withdraw_cell(people.office, **CELL, reason="ten runs were too few")
    assert current_tables() is not None
    assert current_tables().stage_losses["card/wool"].dry_loss_mode_pct == shipped
    assert [figure.value for figure in own_figures()] == [None, "6.5"]


def test_an_own_figure_that_no_longer_fits_is_left_out_and_said(people, monkeypatch):
    good = Override("constants", "prickle_limit", "value", "31")
    stale = Override("constants", "gone_since_the_update", "value", "5")
    monkeypatch.setattr(bridge, "overrides_in_force", lambda: (stale, good))
    assert bridge.current_tables().constants["prickle_limit"].value == 31
    (sentence,) = bridge.own_figures_left_out()
    assert "gone_since_the_update" in sentence


def test_an_own_figure_out_of_range_is_not_kept(people):
    with pytest.raises(TableError, match="stage_losses"):
        override_cell(people.office, **CELL, value="110")
    with pytest.raises(TableError):
        override_cell(people.office, **{**CELL, "row": "card/moss"}, value="5")
    assert own_figures() == ()
    with pytest.raises(RefusedError):
        override_cell(people.floor, **CELL, value="6")


def test_lots_from_a_file_are_kept_all_or_none(small_mill):
    good = LotRow(owner="moss edge farm", fibre="wool", net_mass_mg=3_000_000, tag="L050")
    bad = LotRow(owner="Nobody's Farm", fibre="wool", net_mass_mg=2_000_000)
    with pytest.raises(InputError, match="Lot 2 of the file: owner is “Nobody's Farm”"):
        import_lots(small_mill.office, [good, bad], file_name="farm.csv")
    assert Lot.objects.count() == 5
    key = uuid.uuid4()
    done = import_lots(
        small_mill.office,
        [good, good.__class__(owner="C03", fibre="suri", gross_mass_mg=10)],
        file_name="farm.csv",
        key=key,
    )
    assert [bag.lot for bag in done] == ["L050", "L051"]
    assert (
        import_lots(
            small_mill.office,
            [good, good.__class__(owner="C03", fibre="suri", gross_mass_mg=10)],
            file_name="farm.csv",
            key=key,
        )
        == done
    )
    assert one_lot("L050").weighings[0].source == "import"
    assert one_lot("L051").row.mass_g == 0.01
    with pytest.raises(InputError, match=r"Lot 1 of the file \(L050\): lot number"):
        import_lots(small_mill.office, [good], file_name="again.csv")


def picture(size=(40, 30), kind="JPEG", **more) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (120, 90, 60)).save(out, format=kind, **more)
    return out.getvalue()


def test_a_photo_is_drawn_anew_without_where_it_was_taken(small_mill, tmp_path):
    exif = Image.Exif()
    exif[0x010F] = "SecretCamera"
    exif[0x0112] = 6  # turned by a quarter
    data = picture(exif=exif)
    assert b"SecretCamera" in data
    with override_settings(MEDIA_ROOT=tmp_path):
        add_photo(small_mill.floor, "L001", data=data)
    (photo,) = one_lot("L001").photos
    kept = (tmp_path / "photos" / photo.name).read_bytes()
    assert b"SecretCamera" not in kept
    assert (photo.width, photo.height, photo.mime) == (30, 40, "image/jpeg")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "JPEG, PNG or WebP"),
        (b"", "JPEG, PNG or WebP"),
        (picture()[:200], "JPEG, PNG or WebP"),
        (picture(kind="GIF"), "JPEG, PNG or WebP"),
        (b"\xff\xd8" + bytes(10_000_001), "at most 10 MB"),
        (picture(size=(8000, 5001), kind="PNG"), "at most 40 megapixels"),
    ],
)
def test_what_is_no_photo_leaves_no_file(small_mill, tmp_path, data, words):
    with override_settings(MEDIA_ROOT=tmp_path), pytest.raises(InputError, match=words):
        add_photo(small_mill.floor, "L001", data=data)
    assert list(tmp_path.rglob("*.*")) == []


def test_a_photo_of_an_unknown_lot_leaves_no_file(small_mill, tmp_path):
    with override_settings(MEDIA_ROOT=tmp_path), pytest.raises(NotFoundError):
        add_photo(small_mill.floor, "L999", data=picture())
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_a_job_is_claimed_once_reported_and_ended(people):
    asked = jobs.ask_for_job(people.office, "verify", {"a": 1})
    assert jobs.ask_for_job(people.office, "verify", {"a": 1}) == asked
    claimed = jobs.claim_job("w1")
    assert (claimed.id, claimed.params, claimed.attempts) == (asked, {"a": 1}, 1)
    assert jobs.claim_job("w2") is None
    assert jobs.keep_job(asked, "w1", progress_frac=0.5, message="half")
    assert house.one_job(asked).progress_frac == 0.5
    assert not jobs.finish_job(asked, "w2", result={"ok": False})
    assert jobs.finish_job(asked, "w1", result={"ok": True})
    assert (house.one_job(asked).state, house.one_job(asked).result) == ("done", {"ok": True})
    assert jobs.ask_for_job(people.office, "verify", {"a": 1}, reuse_result=True) == asked
    assert jobs.ask_for_job(people.office, "verify", {"a": 1}) != asked


def test_a_job_whose_worker_fell_silent_is_given_again(people, monday):
    asked = jobs.ask_for_job(None, "backup", {})
    jobs.claim_job("w1")
    with clock.frozen(monday + jobs.LEASE * 2):
        again = jobs.claim_job("w2")
        assert (again.id, again.attempts) == (asked, 2)
        assert not jobs.keep_job(asked, "w1", progress_frac=0.9)
        assert jobs.give_back_job(asked, "w2")
        assert jobs.claim_job("w3").id == asked
        assert jobs.fail_job(asked, "w3", why="the disk is full")
    assert (house.one_job(asked).state, house.one_job(asked).message) == ("failed", "the disk is full")


def test_a_cancelled_job_tells_its_worker_to_stop(people):
    asked = jobs.ask_for_job(people.owner, "verify", {})
    jobs.claim_job("w1")
    jobs.cancel_job(people.owner, asked)
    assert not jobs.keep_job(asked, "w1", progress_frac=0.1)
    assert not jobs.finish_job(asked, "w1", result=1)
    with pytest.raises(ConflictError, match="ended already"):
        jobs.cancel_job(people.owner, asked)
    with pytest.raises(RefusedError):
        jobs.ask_for_job(people.floor, "verify", {})
