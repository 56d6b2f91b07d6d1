"""Tufts lie as far from the middle as they differ, on the side they are off by."""

import math
import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.tuft_map import TuftSpot, tuft_map


def drawn(*spots, pass_de=1.2):
    svg = tuft_map(spots, standard_fill="#447744", pass_de=pass_de, name="Fern & Co")
    ET.fromstring(svg)
    found = re.findall(r'<circle cx="([-\d.]+)" cy="([-\d.]+)" r="15"', svg)
    return svg, [(float(x) - 170, 170 - float(y)) for x, y in found]


def spot(load, de, red, yellow):
    return TuftSpot(load, de, red, yellow, "#336633")


def test_distance_is_the_difference_and_direction_what_it_is_off_by():
    _, places = drawn(spot(1, 2.0, 3, 0), spot(2, 1.0, 0, -5))
    (far, near) = places  # the farthest is drawn first
    assert math.hypot(*far) == pytest.approx(2 * math.hypot(*near), rel=0.01)
    assert far[0] > 0 == pytest.approx(far[1], abs=0.1)
    assert near[1] < 0 == pytest.approx(near[0], abs=0.1)


def test_nothing_leaves_the_picture_however_far_it_is_off():
    svg, places = drawn(spot(1, 40.0, -3, 4), spot(2, 0.2, 1, 1))
    assert all(math.hypot(*place) <= 140 for place in places)
    assert "load 1 40.0" in svg


def test_a_tuft_that_differs_in_lightness_alone_still_stands_apart():
    _, (place,) = drawn(spot(1, 2.0, 0, 0))
    assert math.hypot(*place) > 50


def test_the_name_is_escaped_and_the_tolerance_is_the_broken_ring():
    svg, _ = drawn(spot(1, 1, 1, 1), pass_de=1.5)
    assert "Fern &amp; Co" in svg
    rings = {
        bool("dasharray" in ring): float(re.search(r' r="([\d.]+)"', ring)[1])
        for ring in re.findall(r"<circle[^>]*tuft-ring[^>]*>", svg)
    }
    assert rings[True] / rings[False] == pytest.approx(1.5 / 2, abs=0.01)


def test_without_tufts_there_is_no_picture():
    with pytest.raises(InputError, match="one or more"):
        drawn()


def test_the_broken_ring_stands_alone_where_the_tolerance_is_a_round_figure():
    spot = TuftSpot(1, 0.8, 0.5, 0.5, "#336633")
    rings = {
        pass_de: tuft_map([spot], standard_fill="#336633", pass_de=pass_de, name="Fern").count("<circle")
        for pass_de in (1.0, 1.5)
    }
    assert rings[1.5] - rings[1.0] == 1
