"""A lot has one colour on every screen: in the list of lots, on the bench, in a recipe."""

import re
import uuid
from urllib.parse import urlencode

import numpy as np
import pytest
from tests.mill import conftest as dyed
from tests.office.test_bench import asked

from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.screen import screen_colour
from doffer.fibre.colour.spectrum import light
from doffer.mill.commands.readings import Seen, Tuft, record_readings
from doffer.mill.models import Lot
from doffer.pictures.colour import fibre_hex
from doffer.tables.loader import load_tables

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
TABLES = load_tables()


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def test_a_lot_that_was_read_as_a_spectrum_looks_alike_in_lists_on_the_bench_and_in_recipes(desk, dye_house):
    code = dye_house.lots["yellow"]
    seen_in = light(TABLES, "D65", observer_deg=10)
    spectrum = recover_reflectance(np.array([[62.0, 30, 48]]), seen_in).reflectance[0]
    tufts = (Tuft(reflectance=tuple(spectrum)),)
    record_readings(dye_house.floor, seen=Seen(tufts=tufts, geometry="45/0"), lot=code)
    lot = Lot.objects.get(code=code)
    shown = fibre_hex(*(x / 100 for x in (lot.lab_l_centi, lot.lab_a_centi, lot.lab_b_centi)))
    exact = screen_colour(spectrum, light(TABLES, "D65", observer_deg=2), TABLES).hex
    assert shown != exact  # the test could not fail otherwise
    question = asked(dye_house, {"G1": 50, "yellow": 50}, shade=dye_house.shade)
    state = urlencode(question, doseq=True)
    sent = {"key": str(uuid.uuid4()), "state": state}
    recipe = desk.post("/bench/keep/", sent)["Location"]
    for way in ("/lots/", f"/bench/?{state}", recipe):
        page = desk.get(way).content.decode()
        assert shown in page, way
        dots = re.findall(r'fill="(#[0-9a-f]{6})" class="tuft-edge"', page)
        assert exact not in dots, way
