"""The chart of how uneven pieces are by their length."""

import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.variance_length import (
    LEFT_PX,
    PLOT_PX,
    RIGHT_PX,
    TOP_PX,
    WIDTH_PX,
    Along,
    Measured,
    by_length,
    say_length,
)
from doffer.pictures.wording import THIN

NS = "{http://www.w3.org/2000/svg}"
CURVE = (
    Along(10, 1.0, 2.0, 4.0, 0.5),
    Along(100, 0.9, 1.8, 3.6, 0.3),
    Along(1000, 0.5, 1.0, 2.0, 0.1),
)
SAID = {"limit": 1.0, "unit": "difference between pieces", "limit_words": "what an eye tells"}


def points(drawn, css):
    path = next(p for p in ET.fromstring(drawn).iter(f"{NS}path") if css in p.get("class"))
    return [tuple(map(float, pair)) for pair in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))]


def test_lengths_ten_times_apart_stand_equally_far_apart():
    xs = [x for x, _ in points(by_length(CURVE, **SAID), "p-range-line")]
    assert xs[0] == pytest.approx(LEFT_PX, abs=0.01)
    assert xs[2] == pytest.approx(WIDTH_PX - RIGHT_PX, abs=0.01)
    assert xs[1] - xs[0] == pytest.approx(xs[2] - xs[1], abs=0.02)


def test_twice_as_uneven_is_the_same_step_up_wherever_it_stands():
    band = points(by_length(CURVE, **SAID), "curve-band")
    high, low = [y for _, y in band[:3]], [y for _, y in reversed(band[3:])]
    mid = [y for _, y in points(by_length(CURVE, **SAID), "p-range-line")]
    steps = [m - h for m, h in zip(mid, high, strict=True)]
    assert steps == pytest.approx([steps[0]] * 3, abs=0.05)
    assert all(h < m < lo for h, m, lo in zip(high, mid, low, strict=True))


def test_heather_is_a_field_of_its_own_down_to_the_floor():
    field = points(by_length(CURVE, **SAID), "p-heather")
    assert field[-1] == pytest.approx((LEFT_PX, TOP_PX + PLOT_PX), abs=0.01)
    assert [y for _, y in field[:3]] == sorted(y for _, y in field[:3])


def test_what_was_measured_stands_as_a_square_that_says_its_span():
    drawn = by_length(CURVE, [Measured(100, 1.5, 1.1, 2.2)], **SAID)
    titles = [each.text for each in ET.fromstring(drawn).iter(f"{NS}title")]
    assert f"measured at 10{THIN}cm: 1.5, truly 1.1 to 2.2" in titles
    assert f"measured at 10{THIN}cm 1.5" in ET.fromstring(drawn).find(f"{NS}desc").text
    assert "p-ink-line" not in by_length(CURVE, **SAID)


def test_what_was_measured_beyond_the_chart_is_left_out():
    drawn = by_length(CURVE, [Measured(5, 1.5, 1.1, 2.2), Measured(5000, 1.5, 1.1, 2.2)], **SAID)
    assert drawn == by_length(CURVE, **SAID)


def test_the_limit_is_drawn_and_named():
    drawn = by_length(CURVE, **SAID)
    texts = [each.text for each in ET.fromstring(drawn).iter(f"{NS}text")]
    assert "what an eye tells" in texts
    assert "difference between pieces" in texts
    assert "what an eye tells at 1.0" in ET.fromstring(drawn).find(f"{NS}desc").text


@pytest.mark.parametrize(
    "curve",
    [CURVE[:1], CURVE[::-1], (*CURVE[:2], Along(1000, 2.0, 1.0, 3.0, 0.1))],
    ids=["one", "back", "mid"],
)
def test_a_curve_that_cannot_be_drawn_is_refused(curve):
    with pytest.raises(InputError):
        by_length(curve, **SAID)


def test_lengths_are_said_as_on_the_bench():
    said = [say_length(length).replace(THIN, " ") for length in (5, 40, 1500, 33_000)]
    assert said == ["5 mm", "4 cm", "1.50 m", "33 m"]
