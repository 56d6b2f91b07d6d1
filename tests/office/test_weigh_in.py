"""Weigh in at the door: owner first, the tag before the bag is opened, pests to quarantine."""

import re
import uuid

import pytest
from django.test import Client

from doffer.mill.commands.settings import change_settings
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


def test_the_question_about_a_bag_speaks_the_units_of_the_scale(door, small_mill):
    asked = text_of(door.post(f"/weigh-in/{small_mill.fern}/", bag(gross="42.5", fibre="huacaya")))
    assert re.search(r"42\.25 kg net, and bags here usually hold about [\d.]+ kg", asked)


def test_a_wet_bag_is_no_mistake(door, small_mill):
    answer = door.post(f"/weigh-in/{small_mill.moss}/", bag(gross="9.8", note="rained on"))
    assert answer.status_code == 302


def test_the_scale_field_is_in_the_mills_unit_whoever_owns_the_fibre(door, small_mill):
    page = text_of(door.get(f"/weigh-in/{small_mill.fern}/"))
    assert '<span class="unit">kg</span>' in page
    assert "lb" not in "".join(re.findall(r'<span class="unit">([^<]*)</span>', page))
    door.post(f"/weigh-in/{small_mill.fern}/", bag(fibre="huacaya", gross="3", tare="0"))
    assert Lot.objects.get(code="L006").now_mass_mg == 3_000_000


def test_a_mill_with_scales_in_pounds_types_pounds_for_every_owner(door, small_mill):
    change_settings(small_mill.owner, {"units": "us"})
    page = text_of(door.get(f"/weigh-in/{small_mill.moss}/"))
    assert '<span class="unit">lb, oz</span>' in page
    door.post(f"/weigh-in/{small_mill.moss}/", bag(gross="7 lb 11 oz", tare="8 oz"))
    assert Lot.objects.get(code="L006").now_mass_mg == round((7 * 16 + 11 - 8) * 28_349.523125)
    door.post(f"/weigh-in/{small_mill.moss}/", bag(gross="5", tare="0"))
    assert Lot.objects.get(code="L007").now_mass_mg == round(5 * 453_592.37)


def test_a_weight_typed_with_its_unit_is_read_in_that_unit(door, small_mill):
    door.post(f"/weigh-in/{small_mill.fern}/", bag(fibre="huacaya", gross="7 lb 11 oz", tare="8 oz"))
    assert Lot.objects.get(code="L006").now_mass_mg == round((7 * 16 + 11 - 8) * 28_349.523125)


@pytest.mark.parametrize("address", ["/lots/L003/weigh/", "/lots/L003/grade/"])
def test_every_scale_of_the_mill_reads_in_its_own_units(door, address):
    page = text_of(door.get(address))
    assert '<span class="unit">kg</span>' in page
    assert "lb" not in re.findall(r'<span class="unit">([^<]*)</span>', page)


def test_a_lot_of_an_owner_who_speaks_pounds_is_weighed_again_in_kilograms(door, small_mill):
    door.post("/lots/L003/weigh/", {"key": str(uuid.uuid4()), "gross": "2.5", "tare": "0"})
    assert Lot.objects.get(code="L003").now_mass_mg == 2_500_000


def test_the_work_order_of_an_owner_who_reads_pounds_stays_in_pounds(door, small_mill):
    words = paper_words(door.get("/lots/L003/work-order.pdf"))
    assert re.search(r"[\d.]+\s*lb", words)
    assert not re.search(r"[\d.]+\s*kg", words)


def test_a_corrected_bag_shows_the_right_weight_and_keeps_the_first_struck_through(door, small_mill):
    wrong = Weighing.objects.get(lot__code="L001")
    right = {"key": str(uuid.uuid4()), "corrects": wrong.pk, "gross": "4.75", "tare": "0.25"}
    door.post("/lots/L001/weigh/", {**right, "reason": "hook still on"})
    page = " ".join(text_of(door.get("/lots/L001/door/")).split())
    assert "<dt>Net</dt><dd>4.50 kg</dd>" in page
    assert "Written down first: <s>4.00 kg net</s>" in page
    assert "Put right: hook still on." in page
    assert "4.50 kg net</p>" in page  # the face of the tag
    assert f"corrects={wrong.pk}" not in page


def test_a_bag_that_was_never_corrected_strikes_nothing_through(door):
    assert "Written down first" not in text_of(door.get("/lots/L001/door/"))


def test_a_bag_corrected_twice_lists_both_and_corrects_the_newest(door):
    for gross, why in (("4.75", "hook still on"), ("4.65", "two hooks")):
        newest = Weighing.objects.filter(lot__code="L001").latest("pk")
        door.post(
            "/lots/L001/weigh/",
            {"key": str(uuid.uuid4()), "corrects": newest.pk, "gross": gross, "tare": "0.25", "reason": why},
        )
    page = " ".join(text_of(door.get("/lots/L001/door/")).split())
    assert page.index("<s>4.00 kg net</s>") < page.index("<s>4.50 kg net</s>")
    assert page.index("Put right: hook still on.") < page.index("Put right: two hooks.")
    assert "<dt>Net</dt><dd>4.40 kg</dd>" in page


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
    Lot.objects.filter(code="L001").update(pest="unchecked")
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


def new_owner(client, **facts: str):
    return client.post(
        "/weigh-in/new-owner/", {"key": str(uuid.uuid4()), "units": "metric", "name": "Marra Ellin", **facts}
    )


def test_a_second_owner_of_the_same_name_is_asked_about(small_mill):
    client = acting(small_mill.office)
    code = new_owner(client)["Location"].split("/")[2]
    answer = new_owner(client, name=" marra   ELLIN")
    page = " ".join(text_of(answer).split())
    assert answer.status_code == 422
    assert f"There is already a Marra Ellin ({code}, no lots). Is this the same person?" in page
    assert f'href="/weigh-in/{code}/"' in page
    assert Customer.objects.filter(name__iexact="Marra Ellin").count() == 1


def test_another_person_of_the_same_name_gets_a_word_that_tells_them_apart(small_mill):
    client = acting(small_mill.office)
    new_owner(client)
    assert new_owner(client, apart="Fellside").status_code == 302
    assert Customer.objects.filter(name="Marra Ellin, Fellside").count() == 1
    assert new_owner(client, apart="fellside").status_code == 422


def test_a_name_too_long_for_a_tag_is_answered_with_a_sentence(small_mill):
    answer = new_owner(acting(small_mill.office), name="Long " * 20)
    assert answer.status_code == 422
    assert "at most 80 letters long (it has 99)" in text_of(answer)
    assert new_owner(acting(small_mill.office), name="N" * 80).status_code == 302


def test_a_telephone_too_long_is_answered_beside_its_field(small_mill):
    answer = new_owner(acting(small_mill.office), phone="0123456789" * 7)
    assert answer.status_code == 422
    assert 'id="phone-error"' in text_of(answer) or "at most 60 letters long" in text_of(answer)


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


def paper_words(answer) -> str:
    """The words on the first sheet of a paper."""
    import io

    from pypdf import PdfReader

    return PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()


def test_the_work_order_names_every_bag_of_that_day(door):
    words = paper_words(door.get("/lots/L003/work-order.pdf"))
    assert "L003" in words
    assert "L004" in words
    assert "L001" not in words


def test_a_breed_that_is_in_no_list_is_taken_in_under_its_own_name(door, small_mill):
    guess = "“Zwartbles” is not in our list: taken as wool of unknown breed, 27 micron guessed until measured"
    looked = door.post(f"/weigh-in/{small_mill.moss}/", bag(fibre="Zwartbles wool", only_look="yes"))
    assert guess in text_of(looked)
    made = door.post(f"/weigh-in/{small_mill.moss}/", bag(fibre="Zwartbles wool"))
    assert made.status_code == 302
    lot = Lot.objects.latest("pk")
    assert (lot.fibre, lot.breed, lot.breed_typed) == ("wool", "", "Zwartbles wool")
    page = text_of(door.get(f"/lots/{lot.code}/"))
    assert "Zwartbles wool of" in page
    assert guess in page
    assert "Zwartbles” is not in our list" not in text_of(door.get("/lots/L001/"))
