import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.histogram import Part, histogram

NS = {"s": "http://www.w3.org/2000/svg"}
EDGES = (10.0, 20.0, 30.0, 50.0)
PARTS = (Part("alpaca", "#d0c0a0", (0.3, 0.2, 0.1)), Part("wool", "#5d4436", (0.1, 0.2, 0.1)))


def areas(drawn: str) -> list[float]:
    """Area of all bars of each part."""
    paths = ET.fromstring(drawn).iterfind(".//s:path", NS)
    bars = [path.get("d") for path in paths if "bars" in path.get("class", "").split()]
    return [sum(float(w) * float(h) for w, h in re.findall(r"h([\d.]+)v([\d.]+)h-", each)) for each in bars]


def test_the_area_of_a_part_is_its_share_even_with_uneven_classes():
    alpaca, wool = areas(histogram(EDGES, PARTS, over_30_frac=0.2))
    assert alpaca / wool == pytest.approx(0.6 / 0.4, rel=0.01)


def test_the_share_over_30_micron_stands_in_words_at_its_line():
    drawn = histogram(EDGES, PARTS, over_30_frac=0.2, mean_um=23.4)
    tree = ET.fromstring(drawn)
    assert "20\u202f% over 30 micron" in [t.text for t in tree.iterfind(".//s:text", NS)]
    assert "mean 23.4\u202fmicron" in tree.find("s:desc", NS).text
    assert any(p.get("stroke-dasharray") for p in tree.iterfind(".//s:path", NS))


def test_very_fine_fibre_has_no_line_but_still_the_words():
    drawn = histogram((8.0, 12.0, 20.0), (Part("angora", "#ffffff", (0.5, 0.5)),), over_30_frac=0.0)
    assert "0\u202f% over 30 micron" in drawn
    assert "stroke-dasharray" not in drawn


def test_every_part_is_in_the_legend_with_its_share():
    texts = [
        t.text for t in ET.fromstring(histogram(EDGES, PARTS, over_30_frac=0.2)).iterfind(".//s:text", NS)
    ]
    assert {"alpaca", "60\u202f%", "wool", "40\u202f%"} <= set(texts)


@pytest.mark.parametrize("shares", [(0.5,), (0.5, -0.1, 0.1)])
def test_shares_that_do_not_fit_the_classes_are_refused(shares):
    with pytest.raises(InputError, match="shares"):
        histogram(EDGES, (Part("wool", "#5d4436", shares),), over_30_frac=0.1)
