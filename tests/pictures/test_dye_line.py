"""The picture of a dye bath tells its steps, and puts the dot on the line."""

import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.dye_line import dye_line
from doffer.planning.dye_curve import CurveStep, dye_curve

LINE = dye_curve(
    (
        CurveStep(what="wet out", minutes=15, temperature_c=40),
        CurveStep(what="heat <slowly>", minutes=55, temperature_c=95, ramp_c_per_min=1),
        CurveStep(what="hold", minutes=45),
        CurveStep(what="cool", minutes=60, temperature_c=60),
    )
)


def told(svg):
    return svg.replace("\u202f", " ")


def points(svg):
    data = re.search(r'<path d="([^"]+)"[^>]*dye-way', svg)[1]
    return [tuple(map(float, pair.split())) for pair in data[1:].split("L")]


def test_the_line_rises_to_the_holding_and_falls_in_the_cooling():
    ET.fromstring(dye_line(LINE))
    ys = [y for _, y in points(dye_line(LINE))]
    assert ys[0] > min(ys) < ys[-1]
    xs = [x for x, _ in points(dye_line(LINE))]
    assert xs == sorted(xs)


def test_the_words_tell_every_step_and_are_escaped():
    svg = told(dye_line(LINE))
    assert "2 heat &lt;slowly&gt;, 55 min, to 95" in svg
    assert "<slowly>" not in svg


def test_american_kettles_are_told_in_fahrenheit():
    assert "203" in dye_line(LINE, system="us")


def test_the_dot_lies_on_the_line_and_only_while_the_bath_runs():
    svg = told(dye_line(LINE, now_min=30))
    x, y = map(float, re.search(r'cx="([\d.]+)" cy="([\d.]+)" r="8" class="dye-now', svg).groups())
    (x0, y0), (x1, y1) = points(svg)[2:4]
    assert y == pytest.approx(y0 + (x - x0) / (x1 - x0) * (y1 - y0), abs=0.5)
    assert "now 30 min in, at 55" in svg
    assert "dye-now" not in dye_line(LINE, now_min=400)


def test_no_two_numbers_of_the_clock_touch():
    crowded = dye_curve([CurveStep(what="step", minutes=5) for _ in range(12)])
    svg = told(dye_line(crowded))
    assert "1 h<" in svg
    assert len(re.findall(r'y="220"', svg)) < 8


def test_without_steps_there_is_no_picture():
    with pytest.raises(InputError, match="one or more"):
        dye_line(())
