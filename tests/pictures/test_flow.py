import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures import flow
from doffer.pictures.flow import RiverStep

NS = {"s": "http://www.w3.org/2000/svg"}
STEPS = (
    RiverStep("wash", 4000, 3600, 4400, (("grease", 1300), ("dirt", 600))),
    RiverStep("card", 3000, 2800, 3200, (("neps", 1000),)),
)


def paths(drawn: str, css: str) -> list[ET.Element]:
    return [p for p in ET.fromstring(drawn).iterfind(".//s:path", NS) if css in p.get("class", "").split()]


def test_the_river_is_as_thick_as_its_kilograms():
    (body,) = paths(flow.river("Raw", 6000, STEPS, colour="#cccccc"), "river-body")
    ys = [float(y) for y in re.findall(r" (-?[\d.]+)(?=[CLHZ])", body.get("d"))]
    top, start, washed, carded = ys[0], ys[1], ys[2], ys[3]
    assert (start - top) / (washed - top) == pytest.approx(6000 / 4000, rel=0.01)
    assert (start - top) / (carded - top) == pytest.approx(2, rel=0.01)


def test_streams_are_as_thick_as_what_leaves():
    streams = paths(flow.river("Raw", 6000, STEPS, colour="#cccccc"), "stream")
    widths = sorted(float(s.get("stroke-width")) for s in streams)
    assert len(widths) == 3
    assert widths[2] / widths[0] == pytest.approx(1300 / 600, rel=0.01)


@pytest.mark.parametrize("draw", [flow.river, flow.river_tall])
def test_every_loss_has_its_name_and_its_weight(draw):
    texts = [t.text for t in ET.fromstring(draw("Raw", 6000, STEPS, colour="#ccc")).iterfind(".//s:text", NS)]
    assert {"grease", "dirt", "neps", "600\u202fg", "1.30\u202fkg"} <= set(texts)


@pytest.mark.parametrize("draw", [flow.river, flow.river_tall])
def test_the_river_is_told_in_words(draw):
    desc = (
        ET.fromstring(draw("Raw", 6000, STEPS, colour="#ccc")).find("s:desc", NS).text.replace("\u202f", " ")
    )
    assert desc == (
        "Raw 6.00 kg; after wash 4.00 kg (3.60 to 4.40 kg), leaving grease 1.30 kg and dirt 600 g; "
        "after card 3.00 kg (2.80 to 3.20 kg), leaving neps 1.00 kg"
    )


def test_a_wider_range_has_a_wider_rim():
    def rim(low: float, high: float) -> float:
        (band,) = paths(
            flow.river("Raw", 6000, (RiverStep("card", 3000, low, high),), colour="#ccc"), "river-range"
        )
        ys = [float(y) for y in re.findall(r" (-?[\d.]+)(?=[CLZ])", band.get("d"))]
        return ys[2] - ys[1]

    assert rim(2000, 4000) == pytest.approx(2 * rim(2500, 3500), rel=0.02)


def test_nothing_to_start_with_is_refused():
    with pytest.raises(InputError, match="above zero, with at least one stage"):
        flow.river("Raw", 0, STEPS, colour="#ccc")
    with pytest.raises(InputError, match="above zero, with at least one stage"):
        flow.river_tall("Raw", 10, (), colour="#ccc")
