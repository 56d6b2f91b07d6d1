"""The blending bench: what a blend will be, what makes a shade, what to add, what to leave out."""

import re
import time
import uuid
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.errors import InputError
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import light
from doffer.mill.commands.lots import set_lot_costs
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.commands.shades import TargetFacts, add_shade
from doffer.mill.queries.bench import bench
from doffer.mill.queries.recipes import one_recipe

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
# shares of scenario 15: four greens whole and 0.59 kg of yellow, oven-dry
SHARES = {"G1": 26.3, "G2": 22.7, "G3": 19.2, "G4": 15.6, "yellow": 16.2}
GREENS = ("G1", "G2", "G3", "G4")


@pytest.fixture
def desk(client_of, dye_house):
    """A browser in which the office is chosen."""
    return client_of(dye_house.office)


def asked(house, shares=SHARES, **more):
    """The question of a blend as an address says it."""
    codes = {house.lots.get(name, name): share for name, share in shares.items()}
    return {"lot": list(codes), **{f"share_{code}": share for code, share in codes.items()}, **more}


def answer(client, data):
    return client.get("/bench/answer/", data)


def test_an_empty_bench_says_what_to_do_and_shows_the_nearest_lot_first(desk, dye_house):
    text = words(desk.get("/bench/"))
    assert "Nothing lies on the bench yet." in text
    places = [text.index(f"{dye_house.lots[name]} {name}") for name in ("G1", "G3", "G2", "G4", "yellow")]
    assert places == sorted(places)
    assert "1.2 away: greener, darker" in text
    assert "not read dry by an instrument" in text


def test_four_greens_and_a_yellow_are_fern_as_far_as_the_model_can_tell(desk, dye_house):
    text = words(answer(desk, asked(dye_house)))
    assert "0.5 or less away, as far as the model can tell" in text
    assert "Your tolerance is 1.2." in text
    assert "off by 1.0 to 1.2 on average, at worst 4.1" in text
    assert "does not know the mill’s own card yet" in text
    assert "Card 20 g by hand and read it before the mix is made" in text
    assert "Label 100 % wool" in text
    assert re.search(r"Micron \d+\.\d \d+ % over 30", text)
    assert "plain averaging" in text


def test_no_science_word_stands_on_the_face(desk, dye_house):
    page = desk.get("/bench/", asked(dye_house)).content.decode()
    face = re.sub(r"(?s)<details.*?</details>", "", page).lower()
    for word in ("kubelka", "reflectance", "illuminant", "metamer", "delta", "stearns"):
        assert word not in face


def test_grams_are_as_the_scale_shows_them_and_say_what_is_left(desk, dye_house):
    text = words(answer(desk, asked(dye_house, mass="2 kg")))
    grams = [int(found) for found in re.findall(r"(\d+) g of", text)]
    assert sum(grams) == 2000
    assert grams[0] == pytest.approx(0.263 * 2000, abs=1.5)
    assert f"{grams[0]} g of 1.10 kg; {1104 - grams[0]} g left" in text
    assert "Together 2.00 kg on the scale, 1.74 kg oven-dry" in text


def test_more_than_there_is_says_how_much_is_lacking(desk, dye_house):
    text = words(answer(desk, asked(dye_house, mass="6 kg")))
    assert re.search(r"of 656 g; 2[78]\d g too little", text)


def test_without_a_weight_the_scarcest_lot_sets_the_size(desk, dye_house):
    text = words(answer(desk, asked(dye_house, {"G1": 50, "G4": 50})))
    assert f"{dye_house.lots['G4']} sets the size" in text
    assert re.search(r"65[56] g of 656 g; 0 g left", text)


def test_shares_that_do_not_make_a_hundred_are_scaled_and_it_is_said(desk, dye_house):
    text = words(answer(desk, asked(dye_house, {"G1": 60, "G2": 60})))
    assert "The shares came to 120 %; all were scaled to make 100 %." in text
    assert "scaled" not in words(answer(desk, asked(dye_house, {"G1": 50, "G2": 50})))


def test_a_lot_that_joins_gets_an_equal_part_and_the_others_give_way(desk, dye_house):
    data = asked(dye_house, {"G1": 75, "G2": 25})
    data["lot"].append(dye_house.lots["yellow"])
    page = desk.get("/bench/", data).content.decode()
    shares = dict(re.findall(r'name="share_(L\d+)"[^>]*value="([\d.]+)"', page))
    assert [float(shares[dye_house.lots[name]]) for name in ("G1", "G2", "yellow")] == pytest.approx(
        [50, 16.67, 33.33]
    )


def test_the_address_holds_the_question(desk, dye_house):
    live = answer(desk, asked(dye_house, mass="2 kg"))
    address = live["HX-Replace-Url"]
    again = words(desk.get(address))
    assert "0.5 or less away" in again
    assert "Together 2.00 kg on the scale" in again
    kept = parse_qs(urlsplit(address).query)
    assert kept["lot"] == [dye_house.lots[name] for name in SHARES]
    assert kept["mass"] == ["2 kg"]


def test_leaving_a_lot_out_gives_an_address_without_it(desk, dye_house):
    gone = dye_house.lots["G4"]
    moved = desk.get("/bench/", {**asked(dye_house), "drop": gone})
    assert moved.status_code == 302
    assert gone not in moved["Location"]
    assert desk.get(moved["Location"]).status_code == 200


def test_shares_by_what_there_is_use_every_lot_up(desk, dye_house):
    moved = desk.get("/bench/", {**asked(dye_house, dict.fromkeys(GREENS, 25)), "act": "by_weight"})
    text = words(desk.get(moved["Location"]))
    assert "3.4 away: darker, greener" in text
    assert text.count("0 g left") + text.count("1 g left") == 4


def test_a_share_that_is_no_number_keeps_what_was_typed_and_says_so(desk, dye_house):
    page = desk.get("/bench/", asked(dye_house, {"G1": "half", "G2": 50}))
    assert 'value="half"' in page.content.decode()
    assert "is “half”; it must be a number from 0 to 100" in words(page)


def test_a_typed_colour_is_an_aim_and_a_bad_one_is_said(desk, dye_house):
    text = words(answer(desk, asked(dye_house, shade="own", lab="46.6 -20.9 19.2")))
    assert "0.5 or less away" in text
    bad = desk.get("/bench/", asked(dye_house, shade="own", lab="green"))
    assert 'value="green"' in bad.content.decode()
    assert "three numbers, L, a and b" in words(bad)


def test_a_lot_that_is_not_there_and_one_that_was_not_read_are_said(desk, dye_house):
    text = words(desk.get("/bench/", {"lot": ["L999", "L005"]}))
    assert "L999 is not on the bench" in text
    assert "It cannot go in: not read dry by an instrument." in text
    assert desk.get("/bench/", {"shade": "S999"}).status_code == 404


def test_pounds_are_said_to_a_mill_that_weighs_in_pounds(desk, dye_house):
    session = desk.session
    session["units"] = "us"
    session.save()
    text = words(answer(desk, asked(dye_house, mass="4 lb")))
    assert "Together 4 lb 0 oz on the scale" in text
    assert " kg" not in text


def test_nobodys_fibre_goes_with_anothers_without_their_yes(desk, dye_house, key):
    ours = words(desk.get("/bench/"))
    assert dye_house.theirs not in ours
    assert dye_house.theirs in words(desk.get("/bench/", {"whose": dye_house.moss}))
    data = asked(dye_house, {"G1": 50, dye_house.theirs: 50})
    shown = desk.get("/bench/", data)
    assert "They have not said yes to it." in words(shown)
    assert "Keep this recipe" not in words(shown)
    state = desk.get("/bench/answer/", data)["HX-Replace-Url"].partition("?")[2]
    refused = desk.post("/bench/keep/", {"state": state, "key": key})
    assert refused.status_code == 422
    assert "Fibre of two owners is not joined" in words(refused)
    assert desk.post("/bench/agreement/", {"state": state, "consent": " "}).status_code == 422
    desk.post("/bench/agreement/", {"state": state, "consent": "Tilly by phone, 2 March"})
    made = desk.post("/bench/keep/", {"state": state, "key": str(uuid.uuid4())})
    assert made.status_code == 302
    assert one_recipe(made["Location"].split("/")[-2]).join_decision is not None


def test_whose_fibre_it_is_stands_as_a_share_and_as_stripes(desk, dye_house):
    page = answer(desk, asked(dye_house, {"G1": 75, dye_house.theirs: 25}))
    assert "Moss Edge Farm 25 %" in words(page)
    assert "whose fibre: " in page.content.decode()
    assert "mix-stripe" in page.content.decode()
    assert "mix-stripe" not in answer(desk, asked(dye_house)).content.decode()


def test_a_kept_blend_is_a_recipe_in_the_grams_of_the_scale(desk, dye_house, key):
    live = answer(desk, asked(dye_house, mass="2 kg", step="5"))
    state = live["HX-Replace-Url"].partition("?")[2]
    made = desk.post("/bench/keep/", {"state": state, "key": key, "name": "Spring kits"})
    recipe = one_recipe(made["Location"].split("/")[-2])
    assert recipe.row.name == "Spring kits"
    assert [part.lot for part in recipe.parts] == [dye_house.lots[name] for name in SHARES]
    assert all(
        part.weighed_mass_g % 5 == pytest.approx(0, abs=0.02) or part.weighed_mass_g % 5 > 4.98
        for part in recipe.parts
    )
    assert sum(part.weighed_mass_g for part in recipe.parts) == pytest.approx(2000, abs=0.1)
    again = desk.post("/bench/keep/", {"state": state, "key": key, "name": "Spring kits"})
    assert again["Location"] == made["Location"]


def test_a_coarse_scale_never_takes_more_of_a_lot_than_there_is(desk, dye_house, key):
    data = {**asked(dye_house, {"G1": 50, "G2": 50}), "act": "by_weight", "step": "5"}
    moved = desk.get("/bench/", data)
    text = words(desk.get(moved["Location"]))
    assert "1.11 kg of 1.10 kg; 0 g left" in text  # 1105 g on such a scale, of 1104 g: no lack worth a word
    assert "too little" not in text
    made = desk.post("/bench/keep/", {"state": moved["Location"].partition("?")[2], "key": key})
    assert made.status_code == 302, words(made)
    recipe = one_recipe(made["Location"].split("/")[-2])
    assert all(part.left_dry_g >= -0.01 for part in recipe.parts)


def test_the_floor_looks_and_does_not_keep(client_of, dye_house):
    floor = client_of(dye_house.floor)
    text = words(floor.get("/bench/", asked(dye_house)))
    assert "Keeping a recipe is for the office" in text
    assert "What fibre costs" not in words(floor.get("/bench/", {"want": "find"}))


def spectrum_of(lab):
    seen_in = light(bench().tables, "D65", observer_deg=10)
    return tuple(float(x) for x in recover_reflectance(np.array([lab], dtype=float), seen_in).reflectance[0])


def test_with_spectra_there_are_lamp_light_and_led_light_too(desk, dye_house):
    known_in_daylight = words(answer(desk, asked(dye_house)))
    assert "Lamp light and LED light cannot be said: Fern was read in daylight only" in known_in_daylight
    for name, (lab, _) in dyed.DYED.items():
        tuft = Tuft(reflectance=spectrum_of(lab))
        record_readings(dye_house.floor, seen=Seen(tufts=(tuft,), geometry="45/0"), lot=dye_house.lots[name])
    target = TargetFacts(reflectance=spectrum_of(dyed.FERN), geometry="45/0")
    moss = add_shade(dye_house.owner, name="Moss", target=target)
    text = words(answer(desk, asked(dye_house, shade=moss)))
    assert "cannot be said" not in text
    assert re.search(r"Daylight 0.5 or less Lamp light [\d.]+.* LED light [\d.]+", text)
    assert "The swatches are approximate" not in text
    assert "The swatches are approximate" in known_in_daylight


def test_a_vivid_colour_is_flagged_where_the_screen_cannot_show_it(desk, dye_house):
    text = words(answer(desk, asked(dye_house, shade="own", lab="60 -90 60")))
    assert "This screen cannot show your colour, wanted" in text
    assert "This screen cannot show" not in words(answer(desk, asked(dye_house)))


def test_a_blend_is_found_with_what_must_and_must_not_be_in_it(desk, dye_house):
    lots = dye_house.lots
    data = {"want": "find", "mass": "1 kg", "must": lots["G4"], "never": lots["G1"]}
    page = desk.get("/bench/", data).content.decode()
    found = re.findall(r'(?s)<article class="found-one".*?</article>', page)
    assert found
    assert all(lots["G4"] in one and lots["G1"] not in one for one in found)
    assert all(dye_house.theirs not in one for one in found)
    assert re.search(r"0.5 or less</strong> away, as far as the model can tell", found[0])
    opened = re.search(r'href="(/bench/\?[^"]+)"', found[0])[1].replace("&amp;", "&")
    assert "0.5 or less away" in words(desk.get(opened))


def test_a_shade_that_cannot_be_made_names_the_direction_that_is_missing(desk, dye_house):
    text = words(desk.get("/bench/", {"want": "find", "shade": "own", "lab": "40, 44, 26"}))
    assert "None of these comes within your tolerance" in text
    assert "what is missing is fibre that is" in text
    assert "redder" in text.split("what is missing is fibre that is")[1][:40]


def test_of_blends_the_dearest_allowed_is_kept_to(desk, dye_house):
    lots = dye_house.lots
    nobody = words(desk.get("/bench/", {"want": "find", "cost": "20"}))
    assert "No lot has a cost yet" in nobody
    set_lot_costs(dye_house.office, {lots[name]: 2000 for name in GREENS} | {lots["yellow"]: 6000})
    dear = words(desk.get("/bench/", {"want": "find", "cost": "30"}))
    costs = [float(cost) for cost in re.findall(r"([\d.]+) EUR a kilogram", dear)]
    assert costs
    assert max(costs) <= 30
    assert "the cheapest blend that was found costs 20.00" in words(
        desk.get("/bench/", {"want": "find", "cost": "5"})
    )


def test_costs_are_written_down_for_own_fibre_alone(desk, client_of, dye_house):
    code = dye_house.lots["G1"]
    assert desk.post("/bench/costs/", {f"cost_{code}": "24,50"}).status_code == 302
    assert bench().lot(code).cost_cents_per_kg == 2450
    bad = desk.post("/bench/costs/", {f"cost_{code}": "dear"})
    assert bad.status_code == 422
    assert 'value="dear"' in bad.content.decode()
    assert bench().lot(code).cost_cents_per_kg == 2450
    with pytest.raises(InputError, match="of the mill's own fibre"):
        set_lot_costs(dye_house.office, {dye_house.theirs: 100})
    assert "is for the office" in words(client_of(dye_house.floor).get("/bench/costs/"))


def test_one_lot_off_shade_is_told_as_one(desk, dye_house):
    lot = dye_house.lots["G4"]
    text = words(desk.get("/bench/", {"want": "correct", "lot": [lot]}))
    assert re.search(rf"{lot} alone is 9\.1 away ?\.", text)
    assert "Alone they" not in text


def test_scenario_15_says_how_much_yellow_and_how_wrong_that_may_be(desk, dye_house):
    lots = dye_house.lots
    text = words(desk.get("/bench/", {"want": "correct", "lot": [lots[name] for name in GREENS]}))
    alone = "Alone they are away by " + ", ".join(
        f"{lots[name]} {de}" for name, de in zip(GREENS, (1.2, 5.8, 2.7, 9.1), strict=True)
    )
    assert alone in text
    assert "all together by 3.4 : darker, greener" in text or "all together by 3.4: darker, greener" in text
    dry_g = int(re.search(r"Add [\d.]+ k?g of \S+ yellow \((\d+) g oven-dry\)", text)[1])
    assert 300 <= dry_g <= 750
    assert "0.5 or less away, as far as the model can tell" in text
    assert re.search(r"From \d+ to \d+ g it stays within 1.2", text)
    assert f"Plain averaging would add 110 g of {lots['yellow']} oven-dry" in text
    assert float(re.search(r"this plan would be ([\d.]+) away", text)[1]) > 6
    assert re.search(r"M 0.15 on three bands, without spectra \S+ 5(09|10) g", text)
    card = [float(grams) for grams in re.findall(r"(?:L\d{3}) (\d\.\d\d) g", text)]
    assert sum(card) == pytest.approx(20)
    assert "The full mix is not released before the card was read." in text


def test_sub_lots_that_make_the_shade_together_are_named_and_which_to_leave_out(desk, dye_house):
    lots = dye_house.lots
    text = words(desk.get("/bench/", {"want": "together", "lot": [lots[name] for name in GREENS]}))
    assert f"{lots['G1']} and {lots['G3']} make it together; leave out {lots['G2']} and {lots['G4']}" in text
    one = words(desk.get("/bench/", {"want": "together", "lot": [lots["G4"]]}))
    assert "No choice of whole lots comes within your tolerance" in one


def test_leftovers_are_used_up_within_the_tolerance(desk, dye_house):
    lots = dye_house.lots
    text = words(desk.get("/bench/", {"want": "leftovers", "lot": lots["G4"], "mass": "2 kg"}))
    used_g = int(re.search(r"Of the leftovers it takes (\d+) g", text)[1])
    assert 600 <= used_g <= 656
    nothing = words(desk.get("/bench/", {"want": "leftovers"}))
    assert "Tick the lots you want used up." in nothing


@pytest.mark.parametrize("want", ["mix", "find", "correct", "together", "leftovers"])
def test_every_question_has_an_answer_to_an_empty_form(desk, dye_house, want):
    shown = desk.get("/bench/", {"want": want})
    assert shown.status_code == 200
    assert "Nothing" in words(shown) or "Tick" in words(shown) or "Blends for" in words(shown)


def test_a_bench_without_shades_and_lots_says_what_to_do(client_of, people):
    text = words(client_of(people.office).get("/bench/"))
    assert "Nothing lies on the bench yet." in text
    assert "read a lot by the instrument" in text


def test_the_live_answer_asks_the_records_equally_often_for_two_lots_and_for_five(desk, dye_house):
    counts = []
    for names in (("G1", "G2"), tuple(SHARES)):
        data = asked(dye_house, {name: SHARES[name] for name in names})
        answer(desk, data)
        with CaptureQueriesContext(connection) as caught:
            answer(desk, data)
        counts.append(len(caught))
    assert counts[0] == counts[1] <= 21


def test_the_live_answer_takes_less_than_fifty_milliseconds(desk, dye_house):
    """Counted in the processor's own time: other work on the computer does not slow it."""
    rounds = []
    for _ in range(2):  # the better of two: a processor that is throttled or shared is not the bench's fault
        took_s = []
        for number in range(30):
            data = asked(dye_house, {**SHARES, "G1": 20 + number / 4})
            begun = time.thread_time()
            answer(desk, data)
            took_s.append(time.thread_time() - begun)
        rounds.append(sorted(took_s)[int(0.95 * len(took_s))])
    assert min(rounds) < 0.05
