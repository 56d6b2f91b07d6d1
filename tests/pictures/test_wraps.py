"""Wraps on a ruler: as many as there are, as thick as the yarn is, and the way of wrapping beside them."""

from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.wraps import INCH_PX, WrapRow, say_wraps, wraps

NS = "{http://www.w3.org/2000/svg}"
RELAXED, TIGHT = WrapRow("laid side by side, not pressed", 12.7), WrapRow("pushed tight together", 29)


def bodies(drawn):
    return [p for p in ET.fromstring(drawn).iter(f"{NS}path") if p.get("stroke") == "#54794a"]


def test_each_way_of_wrapping_shows_as_many_wraps_as_it_has():
    drawn = wraps([RELAXED, TIGHT], thick_mm=0.92, colour="#54794a")
    assert [path.get("d").count("M") for path in bodies(drawn)] == [13, 29]


def test_the_yarn_is_as_thick_beside_the_inch_as_it_is():
    body = bodies(wraps([RELAXED], thick_mm=0.92, colour="#54794a"))[0]
    assert float(body.get("stroke-width")) == pytest.approx(0.92 / 25.4 * INCH_PX, abs=0.01)


def test_the_method_is_said_with_every_number():
    label = ET.fromstring(wraps([RELAXED, TIGHT], thick_mm=0.92, colour="#54794a")).get("aria-label")
    assert "13 wraps in an inch (5.0 in 1 cm) laid side by side, not pressed" in label
    assert "29 wraps in an inch (11.4 in 1 cm) pushed tight together" in label
    assert say_wraps(12.7, "us") == "13 wraps in an inch"


def test_no_wraps_are_refused():
    with pytest.raises(InputError, match="one way of wrapping or more"):
        wraps([], thick_mm=1, colour="#54794a")
    with pytest.raises(InputError, match="above zero"):
        wraps([WrapRow("tight", 0)], thick_mm=1, colour="#54794a")
