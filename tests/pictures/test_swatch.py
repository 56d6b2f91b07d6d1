from xml.etree import ElementTree as ET

from doffer.pictures import swatch

NS = {"s": "http://www.w3.org/2000/svg"}


def test_two_shades_touch_without_a_line_between_them_on_neutral_grey():
    drawn = swatch.swatch_pair(
        "#567c47", "#577d4a", first_name="Fern", second_name="this blend", difference="0.5 apart"
    )
    surround, first, second = ET.fromstring(drawn).findall("s:rect", NS)
    assert surround.get("class") == "p-grey"
    assert float(first.get("x")) + float(first.get("width")) == float(second.get("x"))
    assert (first.get("fill"), second.get("fill")) == ("#567c47", "#577d4a")
    assert first.get("stroke") is None


def test_the_pair_says_that_a_screen_is_approximate():
    drawn = swatch.swatch_pair("#567c47", "#577d4a", first_name="Fern", second_name="this blend")
    assert "approximate on a screen" in ET.fromstring(drawn).find("s:title", NS).text


def test_an_icon_has_the_shape_of_its_lot_and_its_own_colour():
    first, again, other = (swatch.tuft_icon(seed, "#567c47") for seed in ("L1", "L1", "L2"))
    assert first == again
    assert first.replace("L1", "L2") != other
    assert 'fill="#567c47"' in first
