"""The fibres of a section: as many as there are, as thick beside each other as they are."""

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.pictures import section as sections
from doffer.pictures.section import MOST_DRAWN, SectionPart, section, words_of

NS = "{http://www.w3.org/2000/svg}"
FINE = SectionPart("L008", 84, 18.0, 0.2, "#a8845c")
COARSE = SectionPart("L009", 55, 36.0, 0.2, "#ece7da")


def radii(drawn):
    """Radii of the circles of every lot."""
    paths = [p for p in ET.fromstring(drawn).iter(f"{NS}path") if p.get("fill")]
    return {
        p.get("fill"): [float(r) for r in re.findall(r"a([\d.]+) [\d.]+ 0 1 0 [\d.]", p.get("d"))]
        for p in paths
    }


def test_every_fibre_is_drawn_in_the_colour_of_its_lot():
    found = radii(section([FINE, COARSE]))
    assert {colour: len(each) for colour, each in found.items()} == {"#a8845c": 84, "#ece7da": 55}


def test_a_fibre_twice_as_thick_is_drawn_twice_as_thick():
    found = radii(section([FINE, COARSE]))
    assert np.mean(found["#ece7da"]) / np.mean(found["#a8845c"]) == pytest.approx(2.0, rel=0.08)
    assert np.std(found["#a8845c"]) / np.mean(found["#a8845c"]) == pytest.approx(0.2, abs=0.05)


def test_fibres_hardly_lie_over_each_other_and_stay_inside():
    diameters, _ = sections._fibres((FINE, COARSE))
    places = sections._packed(diameters)
    apart = np.hypot(*(places[:, None] - places[None, :]).transpose(2, 0, 1))
    touching = (diameters[:, None] + diameters[None, :]) / 2
    over = np.triu(touching - apart > 0.15 * touching, 1).sum()
    assert over <= 0.05 * len(diameters)


def test_of_very_many_fibres_some_are_drawn_in_their_true_shares_and_it_is_said():
    found = radii(
        section([SectionPart("A", 600, 24, 0.2, "#111111"), SectionPart("B", 200, 24, 0.2, "#222222")])
    )
    assert len(found["#111111"]) == pytest.approx(3 * len(found["#222222"]), abs=2)
    assert len(found["#111111"]) + len(found["#222222"]) == MOST_DRAWN
    assert words_of([SectionPart("A", 800, 24, 0.2, "#111111")]).endswith("; 320 of them drawn")


def test_the_count_is_said_in_words_lot_by_lot():
    words = words_of([FINE, COARSE]).replace("\u202f", " ")
    assert words == "About 139 fibres: 84 of L008 at 18.0 micron and 55 of L009 at 36.0 micron"


def test_the_same_blend_is_drawn_alike_always():
    sections._drawn.cache_clear()
    first = section([FINE, COARSE])
    sections._drawn.cache_clear()
    assert section([FINE, COARSE]) == first


def test_no_fibre_is_refused():
    with pytest.raises(InputError, match="one or more"):
        section([SectionPart("A", 0, 24, 0.2, "#111111")])
    with pytest.raises(InputError, match="diameter above zero"):
        SectionPart("A", 10, 0, 0.2, "#111111")
