from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.bars import Rung, range_bar, stage_ladder

NS = {"s": "http://www.w3.org/2000/svg"}
RUNGS = (
    Rung("wash", 4000, 3700, 4300, 3900),
    Rung("card", 2000, 1900, 2200),
    Rung("skein", 1000, 1000, 1000),
)


def rects(drawn: str, css: str) -> list[ET.Element]:
    return [r for r in ET.fromstring(drawn).iterfind(".//s:rect", NS) if css in r.get("class", "").split()]


def x_of(drawn: str, css: str) -> float:
    path = next(
        p for p in ET.fromstring(drawn).iterfind(".//s:path", NS) if css in p.get("class", "").split()
    )
    return float(path.get("d")[1:].split("V")[0].split()[0])


def test_rungs_are_as_long_as_their_kilograms():
    widths = [float(r.get("width")) for r in rects(stage_ladder(RUNGS, colour="#cdbfa2"), "rung")]
    assert widths == pytest.approx([widths[0], widths[0] / 2, widths[0] / 4], rel=0.01)


def test_the_soft_edge_of_a_rung_is_its_range():
    first, second, third = [
        float(r.get("width")) for r in rects(stage_ladder(RUNGS, colour="#cdbfa2"), "rung-range")
    ]
    assert first / second == pytest.approx(600 / 300, rel=0.01)
    assert third == 0


def test_only_what_was_weighed_has_a_post():
    assert stage_ladder(RUNGS, colour="#cdbfa2").count("rung-weighed") == 1


def test_a_range_bar_keeps_low_mean_promise_and_high_in_order():
    drawn = range_bar(3750, low=3600, high=3880, promise=3500)
    (band,) = rects(drawn, "range-band")
    low, wide = float(band.get("x")), float(band.get("width"))
    assert x_of(drawn, "range-promise") < low < x_of(drawn, "range-mean") < low + wide
    assert (x_of(drawn, "range-mean") - low) / wide == pytest.approx(150 / 280, rel=0.02)
    assert "3.75\u202fkg, 90\u202f%: 3.60 to 3.88\u202fkg; promised 3.50\u202fkg" in drawn


def test_a_wide_range_is_drawn_from_zero():
    (band,) = rects(range_bar(500, low=100, high=900, largest=1000, width=208), "range-band")
    assert float(band.get("x")) == pytest.approx(24)
    assert float(band.get("width")) == pytest.approx(160)


def test_a_range_that_misses_its_own_middle_is_refused():
    with pytest.raises(InputError, match="around the expected"):
        range_bar(100, low=200, high=300)
    with pytest.raises(InputError, match="at least one stage"):
        stage_ladder((), colour="#ccc")
