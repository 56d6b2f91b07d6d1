"""A drawn yarn: true thickness beside its neighbours, the turns it has, the way they go."""

import itertools
import math
import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures import yarn
from doffer.pictures.yarn import DrawnYarn, said, scale_of, times_words, yarns

NS = "{http://www.w3.org/2000/svg}"
DK = DrawnYarn("DK", strand_mm=0.65, plies=2, twist_tpm=110, way="S", fibre_tpm=54, colour="#54794a")
LACE = DrawnYarn("lace", strand_mm=0.345, plies=2, twist_tpm=232, way="S", colour="#e9e2d0")
SOFT = DrawnYarn("soft", strand_mm=1.1, plies=1, twist_tpm=60, way="Z")


def strands(drawn):
    """The group of every hanging yarn."""
    return ET.fromstring(drawn).findall(f"{NS}g")


def bodies(group):
    return [p for p in group.iter(f"{NS}path") if "fibre-fill" in p.get("class", "")]


def xs_of(path):
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", path.get("d"))]
    return numbers[::2], numbers[1::2]


def width_of(group):
    xs = [x for body in bodies(group) for x in xs_of(body)[0]]
    return max(xs) - min(xs)


def test_two_plies_are_twice_and_three_plies_2_15_times_as_thick_as_a_single():
    single = DrawnYarn("s", strand_mm=1, plies=1, twist_tpm=100)
    assert single.thick_mm == 1
    assert DrawnYarn("s", strand_mm=1, plies=2, twist_tpm=100).thick_mm == pytest.approx(2)
    assert DrawnYarn("s", strand_mm=1, plies=3, twist_tpm=100).thick_mm == pytest.approx(2.1547, abs=1e-4)
    assert DrawnYarn("s", strand_mm=1, plies=4, twist_tpm=100).thick_mm == pytest.approx(2.4142, abs=1e-4)


def test_the_slope_is_that_of_the_turns_it_has():
    assert math.tan(DK.angle_rad) == pytest.approx(2 * math.pi * 0.325e-3 * 110)
    assert math.tan(SOFT.angle_rad) == pytest.approx(math.pi * 1.1e-3 * 60)


def test_yarns_side_by_side_have_one_scale():
    drawn = strands(yarns([DK, LACE, SOFT]))
    scale = scale_of([DK, LACE, SOFT])
    for group, each in zip(drawn, (DK, LACE, SOFT), strict=True):
        assert width_of(group) == pytest.approx(each.thick_mm * scale, rel=0.04)


def test_a_turn_of_the_ply_is_as_long_as_a_metre_over_its_turns():
    """From one waist to the next, half a turn: the ply crosses the axis in front every whole turn."""
    scale = scale_of([DK])
    fronts = bodies(strands(yarns([DK]))[0])
    heights = sorted({round(min(xs_of(b)[1]), 0) for b in fronts if min(xs_of(b)[1]) > 1})
    steps = {round(b - a) for a, b in itertools.pairwise(heights) if b - a > 5}
    half_turn = 1000 / 110 / 2 * scale
    assert any(abs(step - half_turn) <= 6 for step in steps), (steps, half_turn)


@pytest.mark.parametrize(("way", "rises_to_the_right"), [("Z", True), ("S", False)])
def test_the_way_is_that_of_the_letter(way, rises_to_the_right):
    """In front a ply leans as the middle stroke of Z or of S does, on a yarn that hangs."""
    each = DrawnYarn("x", strand_mm=0.65, plies=2, twist_tpm=110, way=way)
    front = bodies(strands(yarns([each]))[0])[-1]
    xs, ys = xs_of(front)
    half = len(xs) // 2
    side = list(zip(ys[:half], xs[:half], strict=True))  # one long edge, from below to above
    low, high = side[0], side[-1]
    assert low[0] > high[0]
    assert (high[1] > low[1]) is rises_to_the_right


def test_a_single_shows_its_own_turns():
    soft, still = (DrawnYarn("x", strand_mm=1.1, plies=1, twist_tpm=t, way="Z") for t in (60, 0))
    lines = [
        next(p for p in strands(yarns([each]))[0].iter(f"{NS}path") if p.get("opacity") == "0.45")
        for each in (soft, still)
    ]
    lean = []
    for line in lines:
        runs = [xs_of(ET.Element("path", d=each))[0] for each in line.get("d").split("M")[1:]]
        lean.append(max(abs(xs[-1] - xs[0]) for xs in runs))
    assert lean[0] > 10
    assert lean[1] == 0


def test_strands_without_a_turn_lie_side_by_side():
    flat = DrawnYarn("x", strand_mm=0.5, plies=2, twist_tpm=0)
    assert width_of(strands(yarns([flat]))[0]) == pytest.approx(2 * 0.5 * scale_of([flat]), rel=0.01)


def test_it_is_said_in_words_with_thickness_turns_and_way():
    assert said(DK) == "DK: 1.3 mm across, two plies, 110\u202fturns/m S, slope 13 degrees"
    assert said(SOFT) == "soft: 1.1 mm across, one single, 60\u202fturns/m Z, slope 12 degrees"
    assert said(DK, "us").count("2.8\u202fturns/in S") == 1


def test_it_says_how_much_larger_than_life_it_is():
    assert times_words(96 / 25.4) == "About 1 times life size"
    assert times_words(34) == "About 9 times life size"
    assert "About 9 times life size" in ET.fromstring(yarns([LACE, LACE])).get("aria-label")


def test_what_cannot_be_a_yarn_is_refused():
    with pytest.raises(InputError, match="of 1 to 8 plies"):
        DrawnYarn("x", strand_mm=0, plies=2, twist_tpm=100)
    with pytest.raises(InputError, match="zero or more turns"):
        DrawnYarn("x", strand_mm=1, plies=2, twist_tpm=-1)
    with pytest.raises(InputError, match="one or more"):
        yarns([])


def test_many_yarns_stay_small_to_send():
    assert len(yarns([DK, LACE, SOFT, DK, LACE])) < 40_000
    assert yarn.MOST_THICK_PX < yarn.COLUMN_PX
