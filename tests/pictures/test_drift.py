"""The pictures of a drift: batches about their standard, readable without colour."""

import re
from xml.etree import ElementTree as ET

import pytest

from doffer.pictures.drift import LEFT_PX, PLOT_PX, TOP_PX, WIDTH_PX, Limits, Mark, over_batches, which_way

NS = "{http://www.w3.org/2000/svg}"
LIMITS = Limits(1.2, 1.8)
STANDARD = (46.6, -20.9, 19.2)
WALK = ((46.8, -20.6, 19.0, 0.3), (45.9, -19.4, 20.7, 1.5), (45.4, -18.6, 21.6, 2.4))
MARKS = [
    Mark(number, f"batch {number}", "#56764d", de, (lightness, a, b))
    for number, (lightness, a, b, de) in enumerate(WALK, start=1)
]
RING = [(-20.9 + x, 19.2 + y) for x, y in ((2, 0), (0, 2), (-2, 0), (0, -2))]


def plane(marks=MARKS):
    return which_way(STANDARD, marks, LIMITS, passes=RING, asks=RING, lightness=(45.4, 47.8))


def test_shape_says_the_verdict_without_colour():
    tree = ET.fromstring(over_batches(MARKS, LIMITS))
    shapes = {}
    for group in tree.iter(f"{NS}g"):
        title = group.find(f"{NS}title").text
        shapes[title] = group[1].tag.removeprefix(NS)
    assert shapes == {
        "1 batch 1: 0.3, on shade": "circle",
        "2 batch 2: 1.5, for a person to decide": "path",
        "3 batch 3: 2.4, off shade": "rect",
    }


def test_every_batch_stands_at_its_difference_on_one_scale():
    tree = ET.fromstring(over_batches(MARKS, LIMITS))
    circle = tree.find(f".//{NS}circle")
    floor, most = TOP_PX + PLOT_PX, 1.25 * 2.4
    assert float(circle.get("cy")) == pytest.approx(floor - PLOT_PX * 0.3 / most, abs=0.01)
    passes = tree.findall(f".//{NS}rect")[0]
    assert float(passes.get("height")) == pytest.approx(PLOT_PX * 1.2 / most, abs=0.01)


def test_the_line_goes_on_dashed_for_the_batches_to_come():
    drawn = over_batches(MARKS, LIMITS, along_de=(0.3, 1.4, 2.4, 3.4))
    assert 'stroke-dasharray="3 6"' in drawn
    assert 'stroke-dasharray="3 6"' not in over_batches(MARKS, LIMITS, along_de=(0.3, 1.4, 2.4))


def test_it_is_told_in_words_to_those_who_do_not_see_it():
    told = ET.fromstring(over_batches(MARKS, LIMITS, first="18 Mar 2025")).find(f"{NS}desc").text
    assert told.startswith("On shade up to 1.2, to be decided up to 1.8.")
    assert "3 batch 3 2.4, off shade" in told
    way = ET.fromstring(plane()).find(f"{NS}desc").text
    assert "3 batch 3: 1.2 darker, 2.3 towards red, 2.4 towards yellow" in way


def test_redder_lies_to_the_right_yellower_above_and_darker_to_the_left():
    tree = ET.fromstring(plane())
    groups = [g for g in tree.iter(f"{NS}g") if g.find(f"{NS}title").text.startswith("1 ")]
    dot, on_rule = (group.find(f"{NS}circle") for group in groups)
    assert float(dot.get("cx")) > WIDTH_PX / 2
    assert float(dot.get("cy")) > TOP_PX + 150  # a little bluer than the standard
    assert float(on_rule.get("cx")) > WIDTH_PX / 2  # a little lighter


def test_fifty_batches_stay_inside_and_keep_their_titles():
    many = [Mark(k, f"b{k}", "#56764d", 0.5, (46.6, -20.9 + k / 50, 19.2)) for k in range(1, 51)]
    tree = ET.fromstring(over_batches(many, LIMITS))
    xs = [float(c.get("cx")) for c in tree.iter(f"{NS}circle")]
    assert len(xs) == 50
    assert min(xs) > LEFT_PX
    assert max(xs) < WIDTH_PX
    assert len(re.findall("<title>", plane(many))) == 101


def test_a_plane_without_batches_still_shows_the_standard():
    assert "No batch yet." in plane([])
