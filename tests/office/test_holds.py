"""Holds of orders, owners and lots: put on once, cleared by a name."""

import pytest
from tests.office.page_words import words

from doffer.mill.queries.holds import cleared_holds, one_hold, open_holds


def test_the_list_names_what_is_held_and_leads_there(client, demo_mill):
    page = client.get("/holds/")
    text = page.content.decode()
    for way in ("/lots/L007/", "/orders/O202/", "/records/owners/C10/"):
        assert f'href="{way}"' in text
    assert "Unpaid invoice INV-118" in words(page)
    assert "Three holds" in words(client.get("/"))


def test_the_hold_of_an_order_is_cleared_by_a_named_person(client_of, demo_mill):
    office = client_of(demo_mill.owner)
    hold = next(hold for hold in open_holds() if hold.order == "O202")
    way = f"/holds/{hold.id}/"
    unsaid = office.post(way, {"clearance": " "})
    assert unsaid.status_code == 422
    assert "why it may go on is missing" in words(unsaid)
    assert office.post(way, {"clearance": "yarn frozen and looked at"}).url == "/orders/O202/"
    assert one_hold(hold.id).cleared_by == "Wrenna"
    assert office.post(way, {"clearance": "again"}).status_code == 409
    assert "O202 was on hold" in words(office.get(way))
    assert [row.order for row in cleared_holds()] == ["O202"]
    assert "Cleared lately" in words(office.get("/holds/"))


@pytest.mark.parametrize(
    ("typed", "held"), [("l001", ("L001", "", "")), ("C02", ("", "", "C02")), (" L002 ", ("L002", "", ""))]
)
def test_lots_and_owners_are_put_on_hold_by_their_number_and_once(client_of, small_mill, key, typed, held):
    floor = client_of(small_mill.floor)
    form = {"what": typed, "kind": "quarantine", "reason": "not sure", "key": key}
    ways = {floor.post("/holds/new/", form).url for _ in range(2)}
    assert len(ways) == 1
    (hold,) = open_holds()
    assert (hold.lot, hold.order, hold.owner) == held


def test_an_unknown_number_and_a_missing_reason_are_said_and_what_was_typed_stays(client_of, small_mill, key):
    floor = client_of(small_mill.floor)
    form = {"what": "O999", "kind": "moth", "reason": "larvae", "key": key}
    unknown = floor.post("/holds/new/", form)
    assert unknown.status_code == 422
    assert "There is no order “O999”" in words(unknown)
    assert 'value="larvae"' in unknown.content.decode()
    unsaid = floor.post("/holds/new/", {**form, "what": "L001", "reason": ""})
    assert "reason for the hold is missing" in words(unsaid)
    assert open_holds() == ()
    assert 'value="L003"' in floor.get("/holds/new/?lot=L003").content.decode()


def test_who_only_looks_holds_and_clears_nothing(client_of, small_mill, key):
    from doffer.mill.commands.holds import open_hold

    hold = open_hold(small_mill.office, kind="unpaid", reason="last year's bill", customer="C02")
    viewer, floor = client_of(small_mill.viewer), client_of(small_mill.floor)
    form = {"what": "L001", "kind": "moth", "reason": "moth", "key": key}
    assert viewer.post("/holds/new/", form).status_code == 422
    assert floor.post(f"/holds/{hold}/", {"clearance": "paid"}).status_code == 422
    assert "I clear it" not in words(floor.get(f"/holds/{hold}/"))
    assert len(open_holds()) == 1
    assert viewer.get("/holds/77/").status_code == 404
    assert "Look at this hold" in words(viewer.get("/records/owners/C02/"))


def test_nothing_on_hold_is_said(client, people):
    assert "Nothing is on hold." in words(client.get("/holds/"))
