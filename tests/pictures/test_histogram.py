import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.histogram import Part, histogram

NS = {"s": "http://www.w3.org/2000/svg"}
EDGES = (10.0, 20.0, 30.0, 50.0)
PARTS = (Part("alpaca", "#d0c0a0", (0.3, 0.2, 0.1), 0.6), Part("wool", "#5d4436", (0.1, 0.2, 0.1), 0.4))


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
    drawn = histogram((8.0, 12.0, 20.0), (Part("angora", "#ffffff", (0.5, 0.5), 1.0),), over_30_frac=0.0)
    assert "0\u202f% over 30 micron" in drawn
    assert "stroke-dasharray" not in drawn


def test_every_part_is_in_the_legend_with_its_share():
    texts = [
        t.text for t in ET.fromstring(histogram(EDGES, PARTS, over_30_frac=0.2)).iterfind(".//s:text", NS)
    ]
    assert {"alpaca", "60\u202f%", "wool", "40\u202f%"} <= set(texts)


def test_percentages_of_parts_sum_to_100_though_some_fibres_lie_beyond_the_picture():
    parts = (
        Part("L018", "#d0c0a0", (0.3, 0.2, 0.17), 0.715),
        Part("L019", "#5d4436", (0.1, 0.1, 0.08), 0.285),
    )
    drawn = ET.fromstring(histogram(EDGES, parts, over_30_frac=0.2))
    texts = [t.text for t in drawn.iterfind(".//s:text", NS)]
    assert {"72\u202f%", "28\u202f%"} <= set(texts)


def test_a_part_with_more_in_its_classes_than_it_has_is_refused():
    with pytest.raises(InputError, match="no more than"):
        histogram(EDGES, (Part("wool", "#5d4436", (0.5, 0.5, 0.2), 1.0),), over_30_frac=0.1)


@pytest.mark.parametrize("shares", [(0.5,), (0.5, -0.1, 0.1)])
def test_shares_that_do_not_fit_the_classes_are_refused(shares):
    with pytest.raises(InputError, match="shares"):
        histogram(EDGES, (Part("wool", "#5d4436", shares, 1.0),), over_30_frac=0.1)
