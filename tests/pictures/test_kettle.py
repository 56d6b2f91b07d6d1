import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.kettle import LEAST_LAYER_PX, Layer, kettle, layers, regain_bar

NS = {"s": "http://www.w3.org/2000/svg"}
LAID = (Layer("L009", 209, "#e0d9c9"), Layer("L036", 418, "#e6e0d6"), Layer("L009", 209, "#e0d9c9"))
REGAINS = {"drying_frac": 0.168, "wetting_frac": 0.148, "agreed_frac": 0.17, "rh_frac": 0.71}


def marked(drawn: str, css: str) -> ET.Element:
    return next(e for e in ET.fromstring(drawn).iter() if css in e.get("class", "").split())


def layer_heights(drawn: str) -> list[float]:
    """Thickness at the left edge's foot to the next one's foot, top layer first."""
    feet = [
        float(re.match(r"M4 ([\d.]+)L", p.get("d")).group(1))
        for p in ET.fromstring(drawn).iterfind(".//s:path", NS)
        if "layer" in p.get("class", "").split()
    ]
    return [foot - above for above, foot in zip([4.0, *feet], feet, strict=False)]


def test_layers_are_as_thick_as_their_grams_and_half_at_both_ends():
    top, middle, bottom = layer_heights(layers(LAID))
    assert top == pytest.approx(bottom)
    assert middle == pytest.approx(2 * top, rel=0.01)


def test_the_first_layer_lies_at_the_bottom():
    texts = [t.text for t in ET.fromstring(layers(LAID)).iterfind(".//s:text", NS)]
    assert texts[:3] == ["3", "L009", "209\u202fg"]


def test_a_thin_layer_can_still_be_read():
    assert (
        min(layer_heights(layers((Layer("L1", 5, "#ffffff"), Layer("L2", 5000, "#000000")))))
        >= LEAST_LAYER_PX
    )


def test_many_layers_are_drawn_as_their_beginning_and_their_end():
    laid = tuple(Layer(f"L{number}", 100, "#8c7a5b") for number in range(1, 50))
    texts = [t.text for t in ET.fromstring(layers(laid)).iterfind(".//s:text", NS)]
    assert [text for text in texts if text.startswith("L")] == [
        *(f"L{number}" for number in range(49, 43, -1)),
        *(f"L{number}" for number in range(9, 0, -1)),
    ]
    assert "layers 10 to 43, in the same turn" in texts
    assert "layer 20 L20" in ET.fromstring(layers(laid)).find("s:desc", NS).text


def test_hundreds_of_layers_are_told_as_they_are_drawn():
    told = ET.fromstring(layers([Layer(f"L{k}", 10, "#808080") for k in range(1, 1001)])).find("s:desc", NS)
    assert "layer 9 L9 10 g, layers 10 to 994, in the same turn, layer 995 L995" in told.text.replace(
        "\u202f", " "
    )


def test_no_layers_are_refused():
    with pytest.raises(InputError, match="at least one layer"):
        layers(())


def test_the_kettle_fills_in_proportion():
    def level(water_l: float) -> float:
        return float(
            re.match(
                r"M[\d.]+ ([\d.]+)", marked(kettle(water_l=water_l, holds_l=30), "kettle-water").get("d")
            ).group(1)
        )

    assert level(10) - level(20) == pytest.approx(level(20) - level(30), abs=0.02)


def test_the_dip_mark_is_said_in_centimetres():
    assert "dip 24\u202fcm of 36\u202fcm" in kettle(water_l=20, holds_l=30, depth_cm=36, dip_cm=24)


@pytest.mark.parametrize("water_l", [0, -1, 31])
def test_more_water_than_the_kettle_holds_is_refused(water_l):
    with pytest.raises(InputError, match="at most 30 l, what the kettle holds"):
        kettle(water_l=water_l, holds_l=30)


def test_the_regain_bar_shows_both_branches_and_the_water_now():
    drawn = regain_bar(actual_frac=0.182, **REGAINS)
    now, rest = marked(drawn, "regain-now"), marked(drawn, "regain-rest")
    per_frac = float(now.get("width")) / 0.182
    assert float(rest.get("width")) == pytest.approx(0.02 * per_frac, rel=0.02)
    assert "rests at 14.8\u202f% taking up, 16.8\u202f% drying" in drawn


def test_branches_in_the_wrong_order_are_refused():
    with pytest.raises(InputError, match="not below taking up"):
        regain_bar(actual_frac=0.1, **{**REGAINS, "drying_frac": 0.1})
