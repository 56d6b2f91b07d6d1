"""The list of lots, and the page of one."""

import re
import uuid

import pytest
from django.test import Client
from tests.office.page_words import words

from doffer.mill.booking import Reading
from doffer.mill.commands.holds import open_hold
from doffer.mill.commands.intake import Bag, FibreFacts, weigh_in_bag
from doffer.mill.commands.weigh import correct_weighing
from doffer.mill.queries.ancestry import ancestry
from doffer.mill.queries.lots import one_lot
from doffer.office import lot_pictures


def test_the_list_shows_the_newest_lots_with_owner_weight_and_place(client, demo_mill):
    text = words(client.get("/lots/"))
    assert "Hobblestone Hill" in text
    assert text.index("L040") < text.index("L016")
    assert "44 lots" in text


@pytest.mark.parametrize(
    ("asked", "found", "missing"),
    [
        ("place=box", "L023", "L001"),
        ("owner=C03", "L007", "L001"),
        ("fibre=suri", "L011", "L010"),
        ("standing=held", "L023", "L001"),
        ("search=katmoget", "L007", "L006"),
        ("search=shelf+5+lei", "L024", "L007"),
        ("standing=nonsense", "L001", "L008"),
        ("standing=all&owner=C03", "L008", "L001"),
    ],
)
def test_the_list_is_narrowed_down(client, demo_mill, asked, found, missing):
    text = client.get(f"/lots/?{asked}").content.decode()
    assert f'href="/lots/{found}/"' in text
    assert f'href="/lots/{missing}/"' not in text


def test_a_lot_number_typed_into_the_search_opens_the_lot(client, demo_mill):
    assert client.get("/lots/?search=l007").url == "/lots/L007/"


def test_nothing_found_and_nothing_there_say_what_to_do(client, people):
    assert "No fibre is here yet" in words(client.get("/lots/"))
    assert "No lot fits this" in words(client.get("/lots/?search=dragon"))


def test_fifty_lots_a_page_and_the_rest_on_the_next(client, small_mill):
    facts = FibreFacts(fibre="wool", breed="shetland")
    for _ in range(48):
        bag = Bag(customer=small_mill.moss, facts=facts, reading=Reading(gross_g=1000))
        weigh_in_bag(small_mill.floor, bag)
    first = client.get("/lots/").content.decode()
    assert first.count('scope="row"') == 50
    further = re.search(r"/lots/\?standing=standing&amp;after=\d+", first)[0].replace("&amp;", "&")
    following = client.get(further).content.decode()
    assert following.count('scope="row"') == 53 - 50
    assert one_lot("L001").row.code in following
    assert set(re.findall(r"/lots/(L\d+)/", first)).isdisjoint(re.findall(r"/lots/(L\d+)/", following))
    assert client.get("/lots/?after=x").status_code == 200


def test_the_list_asks_the_database_a_fixed_number_of_times(client, demo_mill, django_assert_max_num_queries):
    client.get("/lots/")
    with django_assert_max_num_queries(14):
        client.get("/lots/")


def test_one_lot_says_whose_it_is_what_it_weighs_and_why_it_waits(client, demo_mill):
    text = words(client.get("/lots/L007/"))
    for said in (
        "Saltwhistle Croft",
        "345 g",
        "On hold: moth",
        "Grey katmoget Shetland",
        "24.4 micron",
        "60s",
    ):
        assert said in text
    assert "Wrenna put it on hold" in text


def test_the_page_of_a_lot_asks_the_database_a_fixed_number_of_times(
    client, demo_mill, django_assert_max_num_queries
):
    client.get("/lots/Y201/")
    with django_assert_max_num_queries(60):
        client.get("/lots/Y201/")


def test_a_lot_in_small_letters_is_the_same_and_an_unknown_one_is_said(client, small_mill):
    assert client.get("/lots/l001/").url == "/lots/L001/"
    answer = client.get("/lots/L999/")
    assert answer.status_code == 404
    assert "There is no lot “L999”" in words(answer)
    assert client.post("/lots/L001/").status_code == 405


@pytest.fixture
def dampened(small_mill) -> str:
    """Washed wool of 5.850 kg net that was stored dry and then lay in a room of 75 %."""
    reading = Reading(gross_g=6200, tare_g=350, rh_frac=0.75, branch="absorption")
    facts = FibreFacts(fibre="wool", breed="corriedale", colour_name="white")
    bag = Bag(customer=small_mill.moss, facts=facts, reading=reading, form="scoured", place="dry")
    return weigh_in_bag(small_mill.floor, bag).lot


def test_dry_weight_of_washed_wool_with_both_agreed_weights_and_both_ways_to_the_water(client, dampened):
    text = words(client.get(f"/lots/{dampened}/"))
    assert "5.85 kg net at 75 % humidity, stored dry, then dampened" in text
    assert "Oven-dry 4.97 kg" in text or "Oven-dry 4.98 kg" in text
    assert "Agreed weight (EU agreed allowance) 5.82 kg" in text
    assert "Agreed weight (US commercial regain) 5.65 kg" in text
    assert "Dried from wet 4.89 kg" in text
    assert "water is 17.6 % of the dry fibre" in text


def test_raw_fleece_shows_a_range_and_no_agreed_weight(client, small_mill):
    text = words(client.get("/lots/L001/"))
    assert "It still carries its grease and dirt" in text
    assert "9 times in 10:" in text
    assert "Agreed weight" not in text


def test_fibre_still_wet_is_not_given_a_dry_weight(client, small_mill):
    reading = Reading(gross_g=6200, tare_g=350, rh_frac=0.75, branch="wet")
    bag = Bag(customer=small_mill.moss, facts=FibreFacts(fibre="wool"), reading=reading, form="scoured")
    lot = weigh_in_bag(small_mill.floor, bag).lot
    assert "it was weighed wet" in words(client.get(f"/lots/{lot}/"))


def test_a_corrected_weighing_stays_struck_through_with_its_reason(client, small_mill):
    (wrong,) = one_lot("L005").weighings
    reading = Reading(gross_g=10_520, tare_g=250, rh_frac=0.6, note="two figures were exchanged")
    correct_weighing(small_mill.floor, wrong.id, reading=reading, reason="two figures were exchanged")
    text = client.get("/lots/L005/").content.decode()
    assert "corrects an earlier weighing: two figures were exchanged" in text
    assert "corrected: does not count any more" in text
    assert text.count('class="struck"') >= 4


def test_a_lot_never_touched_and_one_that_kept_its_number_say_so(client, demo_mill):
    assert "no machine has touched it" in words(client.get("/lots/L005/"))
    assert "kept its number through every stage" in words(client.get("/lots/L018/"))


def test_the_ancestry_of_a_blend_holds_its_three_bags_and_their_shares(client, demo_mill):
    text = words(client.get("/lots/Y201/"))
    assert "Where the fibre came from and went" in text
    assert "37.6 %" in text
    for bag in ("L006", "L007", "L008"):
        assert f'href="/lots/{bag}/"' in client.get("/lots/Y201/").content.decode()


def test_ribbons_carry_to_each_lot_what_came_out_of_the_run(demo_mill):
    story = ancestry("Y201")
    links = lot_pictures._links(lot_pictures.run_lines(story))
    into_blend = sum(link.mass_g for link in links if link.target == "B103")
    assert into_blend == pytest.approx(4150, abs=1)
    shares = {link.source: link.mass_g / into_blend for link in links if link.target == "B103"}
    assert shares["B102"] == pytest.approx(1.6 / 4.25, abs=0.001)


def test_a_hold_is_put_on_once_however_often_it_is_sent(client_of, small_mill, key):
    client = client_of(small_mill.floor)
    form = {"kind": "moth", "reason": "a moth flew up", "key": key}
    for _ in range(2):
        assert client.post("/lots/L001/hold/", form).url == "/lots/L001/"
    assert [hold.reason for hold in one_lot("L001").holds] == ["a moth flew up"]
    assert "On hold: moth" in words(client.get("/lots/L001/"))


def test_a_hold_without_reason_keeps_what_was_chosen_and_says_what_is_missing(client_of, small_mill, key):
    answer = client_of(small_mill.floor).post("/lots/L001/hold/", {"kind": "moth", "reason": " ", "key": key})
    assert answer.status_code == 422
    assert "reason for the hold is missing" in words(answer) or "reason for the hold is" in words(answer)
    assert 'value="moth" checked' in answer.content.decode()
    assert one_lot("L001").holds == ()


def test_a_form_without_its_key_is_refused(client_of, small_mill):
    answer = client_of(small_mill.floor).post("/lots/L001/hold/", {"kind": "moth", "reason": "moth"})
    assert answer.status_code in (400, 422)
    assert one_lot("L001").holds == ()


def test_a_hold_is_cleared_by_a_named_person_who_may(client_of, small_mill):
    hold = open_hold(small_mill.floor, kind="quarantine", reason="not sure", lot="L001")
    way = f"/lots/L001/holds/{hold}/clear/"
    floor, office = client_of(small_mill.floor), client_of(small_mill.office)
    assert "Let it go on" not in words(floor.get("/lots/L001/"))
    refused = floor.post(way, {"clearance": "looked at again"})
    assert refused.status_code == 422
    assert "Flo may not clear a hold" in words(refused)
    unsaid = office.post(way, {"clearance": ""})
    assert unsaid.status_code == 422
    assert "why it may go on is missing" in words(unsaid)
    assert office.post(way, {"clearance": "frozen 14 days"}).url == "/lots/L001/"
    (cleared,) = one_lot("L001").holds
    assert (cleared.cleared_by, cleared.clearance) == ("Otto", "frozen 14 days")
    assert office.post(way, {"clearance": "again"}).status_code == 409
    assert "Otto cleared it" in words(office.get("/lots/L001/"))


def test_a_lot_is_written_down_at_another_place_and_nothing_else_changes(client_of, small_mill):
    before = one_lot("L001")
    client = client_of(small_mill.floor)
    assert client.post("/lots/L001/move/", {"place": "dry", "location": "rack A"}).status_code == 302
    after = one_lot("L001")
    assert (after.row.place, after.row.location) == ("dry", "rack A")
    assert (after.row.mass_g, after.weighings) == (before.row.mass_g, before.weighings)
    wrong = client.post("/lots/L001/move/", {"place": "moon", "location": "crater"})
    assert wrong.status_code == 422
    assert 'value="crater"' in wrong.content.decode()


@pytest.mark.parametrize(
    ("way", "form"),
    [
        ("/lots/L001/hold/", {"kind": "moth", "reason": "moth", "key": str(uuid.uuid4())}),
        ("/lots/L001/move/", {"place": "dry"}),
    ],
)
def test_who_only_looks_changes_nothing(client_of, small_mill, way, form):
    viewer: Client = client_of(small_mill.viewer)
    answer = viewer.post(way, form)
    assert answer.status_code == 422
    assert "Vic may not" in words(answer)
    assert "Put it on hold" not in words(viewer.get("/lots/L001/"))
    assert viewer.get(way).status_code == 405


def test_no_page_offers_to_join_lots(client, small_mill):
    for way in ("/lots/", "/lots/L001/"):
        text = client.get(way).content.decode()
        buttons = re.findall(r"<button[^>]*>(.*?)</button>", text, re.DOTALL)
        doors = re.findall(r'(?:action|href)="([^"]*)"', text) + [
            re.sub(r"<[^>]+>", "", button) for button in buttons
        ]
        assert [door for door in doors if "join" in door.lower() or "blend" in door.lower()] == []


def test_all_weighings_are_shown_page_by_page(client, demo_mill):
    text = words(client.get("/lots/L018/weighings/"))
    assert "Nothing is ever changed here" in text
    assert "Greasy, in at the door" in text


def test_a_lot_that_is_used_up_still_has_its_page(client, demo_mill):
    answer = client.get("/lots/L008/")
    assert answer.status_code == 200
    assert "Nothing left here" in answer.content.decode()
