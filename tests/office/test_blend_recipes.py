"""A blend recipe on its pages: trial card, verdict, correction, release, weigh-out sheet, picker run."""

import io
import re
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.queries.recipes import one_recipe
from doffer.mill.queries.runs import one_run

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
GRAMS = {"G1": 960, "G2": 830, "G3": 700, "G4": 570, "yellow": 593}
ON_SHADE = "46.8 -20.6 19.0\n46.5 -20.9 19.3\n46.6 -20.8 19.1\n46.7 -20.7 19.2"
DARKER = "44.5 -21.5 17\n44.9 -21 17.4\n44.6 -21.3 17.1"


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


@pytest.fixture
def recipe(dye_house):
    return propose(dye_house)


def propose(house, **more):
    total = sum(GRAMS.values())
    parts = tuple(PartFacts(house.lots[name], grams / total) for name, grams in GRAMS.items())
    facts = RecipeFacts(
        parts=parts, **{"dry_mass_g": total, "shade": house.shade, "name": "Spring kits", **more}
    )
    return propose_recipe(house.office, facts).code


def send(client, code, act, **data):
    return client.post(f"/bench/recipes/{code}/{act}/", {"key": str(uuid.uuid4()), **data})


def shown(client, code, query=""):
    return words(client.get(f"/bench/recipes/{code}/{query}"))


def pdf_words(response):
    reader = PdfReader(io.BytesIO(response.content))
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


def test_without_recipes_the_list_says_what_to_do(desk, dye_house):
    text = words(desk.get("/bench/recipes/"))
    assert "No recipe was kept yet." in text
    assert "To the bench" in text


def test_the_list_tells_what_every_recipe_waits_for(desk, recipe):
    text = words(desk.get("/bench/recipes/"))
    assert f"{recipe} Fern Spring kits · five lots" in text
    assert "trial card to be made" in text
    assert "0.5 or less" in text
    assert recipe not in words(desk.get("/bench/recipes/", {"state": "released"}))
    assert desk.get(f"/b/{recipe.lower()}/")["Location"] == f"/bench/recipes/{recipe}/"


def test_the_list_asks_the_records_equally_often_for_one_recipe_and_for_eight(desk, dye_house, recipe):
    counts = []
    for more in (0, 7):
        for _ in range(more):
            propose(dye_house)
        desk.get("/bench/recipes/")
        with CaptureQueriesContext(connection) as caught:
            desk.get("/bench/recipes/")
        counts.append(len(caught))
    assert counts[0] == counts[1] <= 12


def test_the_trial_card_says_the_grams_to_weigh(desk, recipe):
    text = shown(desk, recipe)
    card = re.search(r"1. Make the trial card Weigh (.*?) Card it by hand", text)[1]
    grams = [float(found) for found in re.findall(r"(\d\.\d\d) g", card)]
    assert sum(grams) == pytest.approx(20)
    assert "The full mix is not released before the trial card of 20 g was read" in text
    assert "Release the full mix" not in text


def test_the_sheet_of_the_card_is_printed_at_once_and_that_of_the_mix_only_when_released(desk, recipe):
    card = desk.get(f"/bench/recipes/{recipe}/trial.pdf")
    assert card["Content-Type"] == "application/pdf"
    text = pdf_words(card)
    assert "trial card" in text
    assert "20.00" in text
    assert "Lay from the bottom up" not in text
    early = desk.get(f"/bench/recipes/{recipe}/mix.pdf")
    assert early.status_code == 422
    assert "it is not released yet" in words(early)
    send(desk, recipe, "measure", tufts=ON_SHADE, geometry="45/0")
    assert send(desk, recipe, "release").status_code == 302
    mix = pdf_words(desk.get(f"/bench/recipes/{recipe}/mix.pdf"))
    assert "Lay from the bottom up" in mix
    for grams in ("1104", "682"):
        assert f"{grams} g" in mix.replace("\u00a0", " ")
    assert "share oven-dry" in re.sub(r"oven-\s*dry", "oven-dry", mix)


def test_a_card_on_shade_lets_the_mix_be_released(desk, recipe):
    assert send(desk, recipe, "card").status_code == 302
    assert "trial card made, to be read" in shown(desk, recipe)
    refused = send(desk, recipe, "release")
    assert refused.status_code == 422
    assert "its trial card was not measured yet" in words(refused)
    assert send(desk, recipe, "measure", tufts=ON_SHADE, geometry="45/0").status_code == 302
    text = shown(desk, recipe)
    assert "on shade by your tolerance of 1.2, mean of four tufts" in text
    assert send(desk, recipe, "release").status_code == 302
    assert "version 1: released." in shown(desk, recipe)


def test_a_card_off_shade_says_how_and_offers_the_recipe_corrected(desk, dye_house, recipe):
    send(desk, recipe, "measure", tufts=DARKER, geometry="45/0")
    text = shown(desk, recipe)
    assert "2.2 away: darker" in text
    assert "off shade by your tolerance of 1.2" in text
    assert "the model was 2." in text
    more_g = int(re.search(rf"{dye_house.lots['yellow']} yellow (\d+) g more", text)[1])
    refused = send(desk, recipe, "release", release_note="never mind")
    assert refused.status_code == 422
    assert "off shade by 2.2" in words(refused)
    assert 'value="never mind"' in refused.content.decode()
    assert send(desk, recipe, "correct").status_code == 302
    again = one_recipe(recipe)
    assert again.row.version == 2
    assert again.row.dry_mass_g == pytest.approx(sum(GRAMS.values()), abs=1)
    yellow = next(part for part in again.parts if part.lot == dye_house.lots["yellow"])
    assert yellow.dry_mass_g == pytest.approx(GRAMS["yellow"] + more_g, abs=1)
    text = shown(desk, recipe)
    assert "Corrected by the trial card of version 1" in text
    assert "1. Make the trial card" in text
    old = shown(desk, recipe, "?version=1")
    assert "This is an older version. Version 2 counts now." in old
    assert "Hold it against the shade" not in old


def test_a_card_that_the_tolerance_leaves_to_a_person_needs_a_word(desk, recipe):
    send(desk, recipe, "measure", tufts="48.1 -20.9 19.2", geometry="45/0")
    assert "for a person to decide" in shown(desk, recipe)
    assert send(desk, recipe, "release").status_code == 422
    assert send(desk, recipe, "release", release_note="felting kits take it").status_code == 302


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"wet": "yes"}, "it was read wet"),
        ({"geometry": "d/8"}, "45/0 and the other with d/8"),
        ({"tufts": "46 -20\n"}, "three numbers, L, a and b"),
        ({"tufts": ""}, "Lab is missing"),
    ],
)
def test_a_reading_that_cannot_count_is_refused_and_stays_typed(desk, recipe, more, sentence):
    data = {"tufts": ON_SHADE, "geometry": "45/0", **more}
    refused = send(desk, recipe, "measure", **data)
    assert refused.status_code == 422
    assert sentence in words(refused)
    assert data["tufts"].split("\n")[0] in refused.content.decode()
    assert one_recipe(recipe).row.state == "proposed"


def test_a_file_of_the_instrument_is_the_reading(desk, recipe):
    bands = range(400, 701, 10)
    rows = [
        f"card {tuft}," + ",".join(f"{0.05 + 0.0002 * (nm - 400):.4f}" for nm in bands) for tuft in (1, 2)
    ]
    text = "name," + ",".join(map(str, bands)) + "\n" + "\n".join(rows)
    upload = SimpleUploadedFile("card.csv", text.encode())
    answer = send(desk, recipe, "measure", file=upload, geometry="45/0")
    assert answer.status_code == 302
    (sitting,) = one_recipe(recipe).trials
    assert sitting.n_tufts == 2
    assert sitting.kind == "spectrum"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "empty"),
        (b'<!DOCTYPE x [<!ENTITY a "b">]><CxF>&a;</CxF>', "entities"),
        (b"name,400,410\nx,nan,0.2\n", "file"),
    ],
)
def test_a_bad_file_is_one_sentence_and_keeps_nothing(desk, recipe, content, sentence):
    refused = send(desk, recipe, "measure", file=SimpleUploadedFile("card.txt", content), geometry="45/0")
    assert refused.status_code == 422
    assert sentence in words(refused)
    assert one_recipe(recipe).trials == ()


def test_the_pickers_run_begins_with_the_lots_and_grams_of_the_recipe(desk, recipe):
    send(desk, recipe, "measure", tufts=ON_SHADE, geometry="45/0")
    send(desk, recipe, "release")
    page = desk.get(f"/bench/recipes/{recipe}/").content.decode()
    address = re.search(r'href="(/runs/new/[^"]+)"', page)[1].replace("&amp;", "&")
    form = desk.get(address).content.decode()
    typed = dict(re.findall(r'name="(in_L\d+_gross)"[^>]*value="([^"]*)"', form))
    assert len(typed) == 5
    assert sum(int(grams.split()[0]) for grams in typed.values()) == round(sum(GRAMS.values()) * 1.15)
    assert f"Blend recipe {recipe} version 1" in form
    lots = re.findall(r'name="lot" value="(L\d+)"', form)
    sent = {"stage": "pick", "lot": lots, "act": "begin", "key": str(uuid.uuid4()), "rh": "60", **typed}
    made = desk.post("/runs/new/", sent)
    assert made.status_code == 302, words(made)
    run = one_run(made["Location"].split("/")[-2])
    assert {lot for lot, _, _ in run.row.ins} == set(lots)


def test_a_sheet_that_is_neither_the_cards_nor_the_mixs_is_not_found(desk, recipe):
    assert desk.get(f"/bench/recipes/{recipe}/xx.pdf").status_code == 404


def test_a_recipe_that_was_weighed_out_names_its_run_and_lacks_nothing(desk, recipe):
    send(desk, recipe, "measure", tufts=ON_SHADE, geometry="45/0")
    send(desk, recipe, "release")
    assert "Weighed out" not in shown(desk, recipe)
    page = desk.get(f"/bench/recipes/{recipe}/").content.decode()
    form = desk.get(re.search(r'href="(/runs/new/[^"]+)"', page)[1].replace("&amp;", "&")).content.decode()
    typed = dict(re.findall(r'name="(in_L\d+_gross)"[^>]*value="([^"]*)"', form))
    lots = re.findall(r'name="lot" value="(L\d+)"', form)
    note = f"Blend recipe {recipe} version 1"
    sent = {"stage": "pick", "lot": lots, "act": "begin", "key": str(uuid.uuid4()), "rh": "60", "note": note}
    code = desk.post("/runs/new/", {**sent, **typed})["Location"].split("/")[-2]
    text = shown(desk, recipe)
    assert f"Weighed out: run {code}" in text
    assert "Nothing has come out of it yet" in text
    assert "too little now" not in text
    assert "Weigh it out once more" in text


def test_a_recipe_that_is_not_made_needs_a_reason(desk, recipe):
    assert "reason" in words(send(desk, recipe, "refuse", reason=" ")).lower()
    assert send(desk, recipe, "refuse", reason="the customer took red").status_code == 302
    text = shown(desk, recipe)
    assert "version 1: not made." in text
    assert "the customer took red" in text
    assert "Hold it against the shade" not in text


def test_the_recipe_leads_back_to_the_same_blend_on_the_bench(desk, recipe):
    page = desk.get(f"/bench/recipes/{recipe}/").content.decode()
    address = re.search(r'href="(/bench/\?[^"]+)"', page)[1].replace("&amp;", "&")
    assert "0.5 or less away" in words(desk.get(address))


def test_a_visitor_sees_and_cannot_write(client_of, dye_house, recipe):
    visitor = client_of(dye_house.viewer)
    text = words(visitor.get(f"/bench/recipes/{recipe}/"))
    assert "Hold it against the shade" not in text
    assert send(visitor, recipe, "card").status_code in (403, 422)
    assert one_recipe(recipe).row.state == "proposed"


def test_a_release_is_taken_back_with_a_reason_and_stands_in_what_happened(desk, recipe):
    send(desk, recipe, "measure", tufts=ON_SHADE, geometry="45/0")
    send(desk, recipe, "release")
    assert "Take the release back" in shown(desk, recipe)
    empty = send(desk, recipe, "withdraw", withdraw_reason=" ")
    assert empty.status_code == 422
    assert "a few words that the next person understands" in words(empty)
    assert send(desk, recipe, "withdraw", withdraw_reason="the kits wait until May").status_code == 302
    text = shown(desk, recipe)
    assert re.search(r"release taken back \S.*: the kits wait until May", text)
    assert "Release the full mix" in text
    assert "Take the release back" not in text


def test_a_card_read_on_one_tuft_asks_who_decided(desk, recipe):
    send(desk, recipe, "measure", tufts="46.8 -20.6 19.0", geometry="45/0")
    assert "The card was read on one tuft alone. Read 4 or more, or write who decided" in shown(desk, recipe)
    refused = send(desk, recipe, "release")
    assert refused.status_code == 422
    assert "read on one tuft alone" in words(refused)
    assert send(desk, recipe, "release", release_note="Wrenna: even all over").status_code == 302
    assert "Wrenna: even all over" in shown(desk, recipe)
