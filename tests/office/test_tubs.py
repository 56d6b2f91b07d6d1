"""Tubs and racks on their pages: what lies where, what is due, and never two lots in one water."""

import re
import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.errors import InputError
from doffer.mill import clock
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.machines import MachineFacts, add_machine, archive_machine
from doffer.mill.commands.tubs import put_in
from doffer.mill.queries.kitchen import tubs
from doffer.office import tubs as tubs_page
from doffer.office.tubs_form import parse_due

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@pytest.fixture
def yard(dye_house):
    """Two wash tubs, a kettle and a rack."""
    for code, name, stage in (
        ("T1", "wash tub 1", "wash"),
        ("T2", "wash tub 2", "wash"),
        ("K60", "kettle 60 L", "dye"),
        ("RA", "rack A", "dry"),
    ):
        add_machine(dye_house.owner, MachineFacts(name=name, stage=stage), code=code)
    return dye_house


@pytest.fixture
def desk(client_of, yard):
    return client_of(yard.floor)


def send(client, address, **data):
    return client.post(address, {"key": str(uuid.uuid4()), **data})


def board(client):
    return words(client.get("/tubs/"))


def inside(code):
    return next(row for row in tubs() if row.code == code).inside


def test_without_tubs_the_board_says_what_to_do(client_of, dye_house):
    for row in tubs():
        archive_machine(dye_house.owner, row.code)
    text = board(client_of(dye_house.floor))
    assert "No tub, kettle or rack is known" in text
    assert "Machines" in text


def test_with_everything_empty_each_can_be_filled(desk, yard):
    text = board(desk)
    assert "Everything is empty" in text
    assert len(re.findall("Put a lot in ?: ", text)) == len(tubs()) >= 4
    assert "Wants you now" not in text


def test_a_lot_goes_in_goes_on_and_comes_out(desk, yard):
    lot = yard.lots["G1"]
    first = {"lot": lot.lower(), "what": "first bath", "baths": "3", "next": "second bath", "due": "30 min"}
    assert send(desk, "/tubs/T1/in/", **first)["Location"] == "/tubs/"
    text = board(desk)
    assert f"{lot} " in text
    assert "First bath, 1 of 3" in text
    assert "Second bath due today" in text
    assert "in 30 min" in text
    (use,) = inside("T1")
    assert send(desk, f"/tubs/T1/{use.use}/next/", what="second bath", baths="3").status_code == 302
    assert "Second bath, 2 of 3" in board(desk)
    assert send(desk, f"/tubs/T1/{use.use}/out/", note="felted a little").status_code == 302
    assert inside("T1") == ()


def test_what_is_overdue_stands_first(desk, yard):
    with clock.frozen(NOON):
        send(desk, "/tubs/T1/in/", lot=yard.lots["G1"], what="soaking", due="3 h", next="rinse")
        send(desk, "/tubs/T2/in/", lot=yard.lots["G2"], what="soaking", due="20 min", next="lift out")
        send(desk, "/tubs/RA/in/", lot=yard.lots["G3"], what="drying", due="4 h", next="weigh")
    with clock.frozen(NOON + timedelta(minutes=25)):
        text = board(desk)
    assert re.search(
        r"Wants you now wash tub 2 .*Lift out was due .* 5 min ago.* In use wash tub 1 .*rack A", text
    )
    assert "Rinse due" in text


def test_two_owners_never_share_a_water(desk, yard):
    put_in(yard.floor, machine="T1", lot=yard.lots["G1"], what="first bath")
    refused = send(desk, "/tubs/T1/in/", lot=yard.theirs, what="first bath")
    assert refused.status_code == 422
    assert f"{yard.lots['G1']} of" in words(refused)
    assert [one.lot for one in inside("T1")] == [yard.lots["G1"]]
    assert "It is full" in words(desk.get("/tubs/T1/"))


def test_a_rack_takes_several_lots_each_with_its_owner(desk, yard):
    for lot in (yard.lots["G1"], yard.theirs):
        assert send(desk, "/tubs/RA/in/", lot=lot, what="drying", due="14:20").status_code == 302
    page = words(desk.get("/tubs/RA/"))
    assert "Moss Edge Farm" in page
    assert "Put a lot in" in page
    assert len(inside("RA")) == 2


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"lot": ""}, "its number stands on its tag"),
        ({"lot": "L999"}, "L999"),
        ({"what": ""}, "Say what happens to it"),
        ({"due": "soon"}, "a time such as 14:20"),
        ({"baths": "99"}, "from 1 to 20"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_stays_typed(desk, yard, more, sentence):
    typed = {"lot": yard.lots["G1"], "what": "first bath", "note": "by the door", **more}
    answer = send(desk, "/tubs/T1/in/", **typed)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert 'value="by the door"' in answer.content.decode()
    assert inside("T1") == ()


def test_a_lot_on_hold_stays_out(desk, yard):
    lot = yard.lots["G1"]
    open_hold(yard.owner, kind="moth", reason="larvae seen", lot=lot)
    refused = send(desk, "/tubs/T1/in/", lot=lot, what="first bath")
    assert refused.status_code == 422
    assert "larvae seen" in words(refused)
    assert inside("T1") == ()


def test_after_all_baths_one_more_must_be_said(desk, yard):
    use = put_in(yard.floor, machine="T1", lot=yard.lots["G1"], what="bath", n_baths=2)
    send(desk, f"/tubs/T1/{use}/next/", what="rinse", baths="2")
    refused = send(desk, f"/tubs/T1/{use}/next/", what="rinse", baths="2")
    assert refused.status_code == 422
    assert "from 3 to 20" in words(refused)
    assert send(desk, f"/tubs/T1/{use}/next/", what="rinse again", baths="3").status_code == 302


def test_taken_out_by_somebody_else_meanwhile_is_said(desk, yard):
    use = put_in(yard.floor, machine="T1", lot=yard.lots["G1"], what="bath")
    send(desk, f"/tubs/T1/{use}/out/")
    again = send(desk, f"/tubs/T1/{use}/out/")
    assert again.status_code == 422
    assert "was taken out of wash tub 1 already" in words(again)


def test_a_visitor_looks_only(client_of, yard):
    visitor = client_of(yard.viewer)
    assert "Put a lot in" not in board(visitor)
    assert send(visitor, "/tubs/T1/in/", lot=yard.lots["G1"], what="bath").status_code == 422
    assert inside("T1") == ()


@pytest.mark.parametrize("address", ["/tubs/", "/tubs/RA/"])
def test_the_board_asks_the_records_equally_often_for_one_lot_and_for_five(desk, yard, address):
    counts = []
    lots = iter((*yard.lots.values(), yard.theirs))
    for more in (1, 4):
        for _ in range(more):
            put_in(yard.floor, machine="RA", lot=next(lots), what="drying", due_at=NOON)
        desk.get(address)
        with CaptureQueriesContext(connection) as caught:
            desk.get(address)
        counts.append(len(caught))
    assert counts[0] == counts[1] <= 12


@pytest.mark.parametrize(
    ("typed", "due"),
    [
        ("", None),
        ("30 min", NOON + timedelta(minutes=30)),
        ("in 2 h", NOON + timedelta(hours=2)),
        ("1,5 h", NOON + timedelta(minutes=90)),
        ("1 h 20 min", NOON + timedelta(minutes=80)),
        ("2 days", NOON + timedelta(days=2)),
        ("14:20", NOON.replace(hour=14, minute=20)),
        ("at 9.15", NOON.replace(day=3, hour=9, minute=15)),
    ],
)
def test_when_it_is_due_is_understood_as_people_type_it(typed, due):
    assert parse_due(typed, NOON) == due


@pytest.mark.parametrize("typed", ["soon", "25:00", "12:75", "30", "0 min", "90 days", "-5 min", "min"])
def test_what_is_no_time_is_refused(typed):
    with pytest.raises(InputError, match="when it is due"):
        parse_due(typed, NOON)


def test_a_time_of_day_is_the_mills_own(desk, yard):
    with clock.frozen(NOON):
        send(desk, "/tubs/T1/in/", lot=yard.lots["G1"], what="soaking", due="14:20")
        (use,) = inside("T1")
    local = timezone.localtime(use.due_at)
    assert (local.hour, local.minute) == (14, 20)


def test_today_says_what_is_due_at_the_tubs(desk, yard):
    with clock.frozen(NOON):
        put_in(
            yard.floor,
            machine="T2",
            lot=yard.lots["G1"],
            what="bath",
            next_step="next bath",
            due_at=NOON + timedelta(minutes=20),
        )
        assert re.search(r"wash tub 2 ?: next bath due today \d\d:20", words(desk.get("/")))
    with clock.frozen(NOON + timedelta(minutes=21)):
        assert re.search(r"wash tub 2 ?: next bath was due today \d\d:20 overdue", words(desk.get("/")))


def test_a_lot_that_does_not_go_in_whole_or_lies_in_two_places_is_said(desk, yard):
    small = MachineFacts(name="kettle 6 L", stage="dye", capacity=0.2, capacity_unit="kg at 30:1")
    add_machine(yard.owner, small, code="K6")
    lot, other = yard.lots["G1"], yard.lots["G2"]
    put_in(yard.floor, machine="K6", lot=lot, what="dyeing")
    put_in(yard.floor, machine="RA", lot=other, what="drying")
    text = board(desk)
    assert re.search(rf"{lot} weighs [\d.]+ k?g and kettle 6 L takes 200 g at once: only a part", text)
    assert "as well" not in text
    put_in(yard.floor, machine="T1", lot=lot, what="first bath")
    text = board(desk)
    assert f"{lot} is in wash tub 1 as well" in text
    assert f"{lot} is in kettle 6 L as well" in text
    assert f"{other} weighs" not in text
    assert "only a part" in words(desk.get("/tubs/K6/"))


def test_lots_to_choose_from_are_named_in_words(desk, yard, monkeypatch):
    row = tubs_page.lot_options.__globals__["list_lots"]().rows[0]
    page = type("Page", (), {"rows": (replace(row, breed="kid_mohair", is_held=False),)})()
    monkeypatch.setitem(tubs_page.lot_options.__globals__, "list_lots", lambda: page)
    answer = desk.get("/tubs/RA/").content.decode()
    assert "kid mohair" in answer
    assert "kid_mohair" not in answer
