"""Weigh in at the door: owner first, the tag before the bag is opened, pests to quarantine."""

import re
import uuid

import pytest
from django.test import Client

from doffer.mill.models import Customer, Hold, Lot, Weighing

SCENARIO = {"fibre": "wool", "gross": "6,20", "tare": "0.35", "rh": "75", "form": "scoured"}


def acting(person) -> Client:
    client = Client()
    client.post("/you", {"person": person.code, "next": "/"})
    return client


@pytest.fixture
def door(small_mill) -> Client:
    return acting(small_mill.floor)


def bag(**more: str) -> dict[str, str]:
    first = {
        "fibre": "Shetland",
        "form": "greasy",
        "gross": "4.25",
        "tare": "0.25",
        "rh": "62",
        "kind": "bag",
    }
    return {"key": str(uuid.uuid4()), **first, **more}


def text_of(response) -> str:
    return response.content.decode().replace("\u202f", " ")


def test_scenario_1_stored_dry_and_dampened_shows_each_weight_with_its_basis(door):
    page = text_of(door.get("/weigh/dry/", {**SCENARIO, "branch": "absorption"}))
    for figure in ("5.850 kg", "4.975 kg", "5.821 kg", "5.652 kg"):
        assert figure in page
    assert "EU agreed allowance 17 %" in page
    assert "US commercial regain 13.6 %" in page
    assert "4.893 kg if it dried here, 4.975 kg if it was stored dry" in " ".join(page.split())


def test_scenario_1_dries_here_by_default(door):
    page = text_of(door.get("/weigh/dry/", SCENARIO))
    assert '<p class="figure-value">4.893 kg</p>' in page


def test_the_weights_come_as_a_part_of_the_page_while_typing(door):
    part = text_of(door.get("/weigh/dry/", SCENARIO, HTTP_HX_REQUEST="true"))
    assert "<html" not in part
    assert "4.893 kg" in part


def test_figures_that_are_missing_are_asked_for_in_a_sentence(door):
    page = text_of(door.get("/weigh/dry/", {"fibre": "wool"}))
    assert "Type what the scale shows" in page


def test_a_bag_gets_a_lot_a_tag_and_a_weighing(door, small_mill):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(colour="fawn"))
    lot = Lot.objects.get(code="L006")
    assert answer["Location"] == "/lots/L006/door/"
    assert (lot.fibre, lot.breed, lot.now_mass_mg) == ("wool", "shetland", 4_000_000)
    assert (lot.colour_name, lot.lab_l_centi) == ("fawn", 6200)
    page = text_of(door.get("/lots/L006/door/"))
    assert page.index("Print the tag") < page.index("Now open it")
    assert lot.containers.get().tag in page


def test_the_same_form_sent_twice_makes_one_lot(door, small_mill):
    sent = bag()
    first = door.post(f"/weigh-in/{small_mill.moss}/", sent)
    second = door.post(f"/weigh-in/{small_mill.moss}/", sent)
    assert first["Location"] == second["Location"]
    assert Lot.objects.count() == 6


def test_an_unknown_breed_is_answered_with_close_names_and_the_rest_stays(door, small_mill):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(fibre="Shetlnad", note="two fleeces"))
    page = text_of(answer)
    assert answer.status_code == 422
    assert "Did you mean “Shetland”" in page
    assert "two fleeces" in page
    assert 'value="4.25"' in page
    assert Lot.objects.count() == 5


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"gross": "-4"}, "weight with the container is “-4”"),
        ({"gross": "0.2", "tare": "4.2"}, "Were the two numbers exchanged"),
        ({"gross": "0.25", "tare": "0.25"}, "Nothing is in it"),
        ({"gross": ""}, "Type what the scale shows"),
        ({"gross": "about 3 bags"}, "weigh the bags"),
        ({"rh": "140"}, "from 0 to 100 %"),
    ],
)
def test_weights_that_cannot_be_are_answered_with_a_sentence(door, small_mill, typed, sentence):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(**typed))
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert Lot.objects.count() == 5


def test_ten_times_the_usual_bag_is_asked_about_and_goes_through_when_it_is_right(door, small_mill):
    sent = bag(gross="42.5")
    asked = door.post(f"/weigh-in/{small_mill.moss}/", sent)
    assert asked.status_code == 422
    assert "far from a usual bag" in text_of(asked)
    assert Lot.objects.count() == 5
    door.post(f"/weigh-in/{small_mill.moss}/", {**sent, "confirmed": "yes"})
    assert Lot.objects.get(code="L006").now_mass_mg == 42_250_000


def test_the_question_about_a_bag_speaks_the_owners_units(door, small_mill):
    pounds = text_of(
        door.post(f"/weigh-in/{small_mill.fern}/", bag(gross="94 lb", tare="0", fibre="huacaya"))
    )
    assert "94.00 lb net, and bags here usually hold about" in pounds
    asked = pounds[pounds.index("94.00 lb net") :]
    assert "lb" in asked[asked.index("about") :][:20]
    kilograms = text_of(door.post(f"/weigh-in/{small_mill.moss}/", bag(gross="42.5")))
    assert re.search(r"42\.25 kg net, and bags here usually hold about [\d.]+ kg", kilograms)


def test_a_wet_bag_is_no_mistake(door, small_mill):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(gross="9.8", note="rained on"))
    assert answer.status_code == 302


def test_pounds_and_ounces_of_an_owner_who_weighs_in_them(door, small_mill):
    page = text_of(door.get(f"/weigh-in/{small_mill.fern}/"))
    assert "lb, oz" in page
    door.post(f"/weigh-in/{small_mill.fern}/", bag(fibre="huacaya", gross="7 lb 11 oz", tare="8 oz"))
    assert Lot.objects.get(code="L006").now_mass_mg == round((7 * 16 + 11 - 8) * 28_349.523125)


def test_without_scripts_the_weights_are_worked_out_and_nothing_is_written(door, small_mill):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(form="scoured", only_look="yes"))
    assert answer.status_code == 200
    assert "Oven-dry" in text_of(answer)
    assert Lot.objects.count() == 5


def test_fibre_in_the_grease_shows_what_washing_may_leave(door):
    page = text_of(door.get("/weigh/dry/", {"fibre": "huacaya", "gross": "3", "form": "greasy"}))
    assert "Washed, to be expected" in page
    assert "the dry weight is known after the wash" in page


def test_the_room_is_offered_as_it_was_read_last(door, small_mill):
    page = text_of(door.get(f"/weigh-in/{small_mill.moss}/"))
    assert 'name="rh" type="text" value="60"' in page
    assert "As read today 09:00" in page


def test_known_empty_containers_are_offered(door, small_mill):
    page = text_of(door.get(f"/weigh-in/{small_mill.moss}/"))
    assert 'data-fill="0.25"' in page


@pytest.mark.parametrize(
    ("seen", "kind"), [("moth", "moth"), ("larvae", "moth"), ("mothballs", "quarantine")]
)
def test_anything_seen_goes_to_the_quarantine_shelf_and_is_held(door, seen, kind):
    door.post("/lots/L001/pests/", {"tag_is_on": "yes", "seen": seen})
    lot = Lot.objects.get(code="L001")
    assert lot.location == "quarantine shelf"
    assert Hold.objects.get(lot=lot, cleared_at=None).kind == kind
    assert "quarantine shelf" in text_of(door.get("/lots/L001/door/"))


def test_nothing_seen_goes_on_to_skirting(door):
    door.post("/lots/L001/pests/", {"tag_is_on": "yes", "seen": "nothing"})
    assert Lot.objects.get(code="L001").pest == "clear"
    assert "/lots/L001/grade/" in text_of(door.get("/lots/L001/door/"))


def test_a_bag_is_not_opened_before_its_tag_is_on(door):
    answer = door.post("/lots/L001/pests/", {"seen": "nothing", "note": "smells of hay"})
    assert answer.status_code == 422
    assert "Tie the tag on before the bag is opened" in text_of(answer)
    assert "smells of hay" in text_of(answer)
    assert Lot.objects.get(code="L001").pest == "unchecked"


def test_owners_are_found_while_typing(door):
    page = text_of(door.get("/weigh-in/", {"q": "moss"}))
    assert "Moss Edge Farm" in page
    assert "Nobody here is called" in text_of(door.get("/weigh-in/", {"q": "zzz"}))


def test_a_new_owner_leads_to_the_first_bag(small_mill):
    client = acting(small_mill.office)
    answer = client.post(
        "/weigh-in/new-owner/", {"key": str(uuid.uuid4()), "name": "Dew Lane", "units": "us"}
    )
    owner = Customer.objects.get(name="Dew Lane")
    assert answer["Location"] == f"/weigh-in/{owner.code}/"
    assert owner.units == "us"


def test_an_owner_without_a_name_is_asked_for_one_and_the_rest_stays(small_mill):
    answer = acting(small_mill.office).post(
        "/weigh-in/new-owner/", {"key": str(uuid.uuid4()), "name": " ", "phone": "0123"}
    )
    assert answer.status_code == 422
    assert "0123" in text_of(answer)


def test_a_viewer_may_look_but_takes_no_bag_in(small_mill):
    client = acting(small_mill.viewer)
    assert "You may look at this page" in text_of(client.get(f"/weigh-in/{small_mill.moss}/"))
    assert client.post(f"/weigh-in/{small_mill.moss}/", bag()).status_code == 422
    assert Weighing.objects.count() == 5


def test_wrong_methods_are_refused(door):
    assert door.post("/weigh/dry/").status_code == 405
    assert door.get("/lots/L001/pests/").status_code == 405


@pytest.mark.parametrize("address", ["/weigh-in/", "/weigh-in/C02/", "/weigh/dry/", "/lots/L001/door/"])
def test_pages_ask_a_bounded_number_of_questions(door, django_assert_max_num_queries, address):
    with django_assert_max_num_queries(26):
        assert door.get(address).status_code == 200


@pytest.mark.parametrize(
    ("address", "name"),
    [("/lots/L001/tag.pdf", "tag-L001"), ("/lots/L003/work-order.pdf", "work-order-L003")],
)
def test_the_papers_of_the_door_are_pdf(door, address, name):
    answer = door.get(address)
    assert answer["Content-Type"] == "application/pdf"
    assert f'filename="{name}.pdf"' in answer["Content-Disposition"]
    assert answer.content.startswith(b"%PDF")


def test_the_work_order_names_every_bag_of_that_day(door):
    import io

    from pypdf import PdfReader

    words = PdfReader(io.BytesIO(door.get("/lots/L003/work-order.pdf").content)).pages[0].extract_text()
    assert "L003" in words
    assert "L004" in words
    assert "L001" not in words
