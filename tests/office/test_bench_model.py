"""A person chooses how blends are reckoned: the answer says so, and the recipe remembers it."""

import re
import uuid
from urllib.parse import urlencode

import numpy as np
import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.test_bench import asked

from doffer.fibre.colour.blend import two_constant_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.mill.commands.samples import SamplePart, record_sample_blend
from doffer.mill.queries.bench import bench, spectra
from doffer.mill.queries.recipes import one_recipe
from doffer.mill.tints import constants_of, tints_of
from doffer.tables.loader import load_tables

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
TABLES = load_tables()


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def away(text):
    return re.search(r"What it will be.*?([\d.]+(?: or less)?) away", text)[1]


@pytest.mark.parametrize(
    ("model", "name"),
    [
        ("friele", "Friele"),
        ("kubelka_munk", "Kubelka and Munk, one constant"),
        ("plain_average", "Plain averaging"),
    ],
)
def test_the_answer_is_by_the_model_that_was_chosen_and_says_so(desk, dye_house, model, name):
    usual = words(desk.get("/bench/", asked(dye_house)))
    text = words(desk.get("/bench/", asked(dye_house, model=model)))
    assert f"Reckoned by another model, as you chose: {name}." in text
    assert "Reckoned by another model" not in usual
    assert away(text) != away(usual)
    assert words(desk.get("/bench/answer/", asked(dye_house, model=model))).count(name) >= 1


def test_plain_averaging_finds_and_corrects_otherwise_than_the_usual_model(desk, dye_house):
    greens = [dye_house.lots[name] for name in ("G1", "G2", "G3", "G4")]
    question = {"want": "correct", "lot": greens, "shade": dye_house.shade}
    added = [
        re.search(r"Add (\d+) g of", words(desk.get("/bench/", {**question, "model": model})))[1]
        for model in ("", "plain_average")
    ]
    assert added[0] != added[1]
    found = words(desk.get("/bench/", {"want": "find", "shade": dye_house.shade, "model": "friele"}))
    assert "Reckoned by another model, as you chose: Friele." in found
    assert "Blends by Friele with its constant 0.090" in found
    assert "told, by CIEDE2000, the formula of the tolerance" in found


def test_a_model_nobody_knows_counts_as_the_usual_one(desk, dye_house):
    assert "Reckoned by" not in words(desk.get("/bench/", asked(dye_house, model="guess")))


def test_a_kept_recipe_remembers_its_model_and_leads_back_with_it(desk, dye_house):
    state = urlencode(asked(dye_house, model="friele", shade=dye_house.shade), doseq=True)
    sent = {"key": str(uuid.uuid4()), "state": state}
    code = desk.post("/bench/keep/", sent)["Location"].rstrip("/").split("/")[-1]
    kept = one_recipe(code)
    assert (kept.model, kept.constant) == ("friele", 0.09)
    page = desk.get(f"/bench/recipes/{code}/").content.decode()
    assert "model=friele" in page
    assert "the model “friele”" in page
    send = {"key": str(uuid.uuid4()), "tufts": "\n".join(["44.5 -21.5 17"] * 4), "geometry": "45/0"}
    desk.post(f"/bench/recipes/{code}/measure/", send)
    done = desk.post(f"/bench/recipes/{code}/correct/", {"key": str(uuid.uuid4()), "way": "own"})
    assert done.status_code == 302
    corrected = one_recipe(code)
    assert (corrected.row.version, corrected.model) == (2, "friele")


def tint(house, code, reflectance, scatters, share=0.4, kind="spectrum"):
    """Keep a sample of a lot in white, made by two constants; the lot scatters as told, white 1."""
    white = np.linspace(0.62, 0.78, 31)
    absorption = [(1 - r) ** 2 / (2 * r) for r in (reflectance, white)]
    made = two_constant_reflectance(
        np.stack([absorption[0] * scatters, absorption[1]]),
        np.stack([np.full(31, scatters), np.ones(31)]),
        np.array([share, 1 - share]),
    )
    parts = [SamplePart(code, share, tuple(reflectance)), SamplePart("W1", 1 - share, tuple(white))]
    record_sample_blend(
        house.office, fibre="wool", parts=parts, blend=tuple(made), kind=kind, is_looked_at=True
    )


def test_a_tint_with_a_white_lot_gives_back_what_it_was_made_by(dye_house):
    code = dye_house.lots["G1"]
    lot = spectra([bench(shade=dye_house.shade).lot(code)])[0]
    tint(dye_house, code, lot, 0.7)
    found = tints_of("wool", "loose", TABLES)
    assert set(found) == {code, "W1"}
    absorption, scattering = constants_of([code, "W1"], found)
    assert scattering[0] == pytest.approx(np.full(31, 0.7), abs=1e-3)
    assert absorption[0] / scattering[0] == pytest.approx((1 - lot) ** 2 / (2 * lot), rel=1e-3)
    assert scattering[1] == pytest.approx(np.ones(31))
    assert constants_of([code, "L999"], found) is None


def test_two_constants_are_compared_once_tints_of_all_lots_are_known(desk, dye_house):
    pair = {"G1": 50, "yellow": 50}
    name = "Kubelka and Munk, two constants from tints in white"
    codes = [dye_house.lots[one] for one in pair]
    lots = spectra([bench(shade=dye_house.shade).lot(code) for code in codes])
    tint(dye_house, codes[0], lots[0], 0.7)
    assert name not in words(desk.get("/bench/", asked(dye_house, pair)))
    tint(dye_house, codes[1], lots[1], 1.3)
    text = words(desk.get("/bench/", asked(dye_house, pair)))
    assert name in text
    k_over_s = (1 - lots) ** 2 / (2 * lots)
    scattering = np.array([[0.7], [1.3]]) * np.ones((2, 31))
    made = two_constant_reflectance(k_over_s * scattering, scattering, np.array([0.5, 0.5]))
    wanted = bench(shade=dye_house.shade).target(dye_house.shade, TABLES)
    off = float(wanted.apart(lab_of_reflectance(made, light(TABLES, "D65", observer_deg=10))))
    assert float(re.search(rf"{name} ([\d.]+)", text)[1]) == pytest.approx(off, abs=0.06)
