import re
from xml.etree import ElementTree as ET

import pytest

from doffer.pictures import strand, svg
from doffer.pictures.strand import Place
from doffer.pictures.tuft import Tuft

NS = {"s": "http://www.w3.org/2000/svg"}


def lots(*masses: float) -> tuple[Tuft, ...]:
    return tuple(
        Tuft(f"L{k:03d}", mass, "#d0c0a0", href=f"/lots/L{k:03d}/") for k, mass in enumerate(masses, 1)
    )


def tuft_areas(drawn: str) -> dict[str, float]:
    """Area of each tuft's outline by lot, from the drawing."""
    tree = ET.fromstring(drawn)
    areas = {}
    for link in tree.iterfind(".//s:a", NS):
        outline = next((p for p in link.iterfind(".//s:path", NS) if "tuft-edge" in p.get("class", "")), None)
        if outline is not None:
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", outline.get("d"))]
            corners = [
                (numbers[0], numbers[1]),
                *((numbers[i + 4], numbers[i + 5]) for i in range(2, len(numbers), 6)),
            ]
            areas[link.get("aria-label").split(",")[0]] = svg.polygon_area(corners[:-1])
    return areas


@pytest.mark.parametrize("draw", [strand.strand, strand.strand_tall])
def test_areas_of_tufts_are_in_proportion_to_their_kilograms(draw):
    areas = tuft_areas(draw([Place("Door", lots(8000, 4000, 2000)), Place("Box", ())]))
    assert areas["L001"] / areas["L002"] == pytest.approx(2, rel=0.02)
    assert areas["L002"] / areas["L003"] == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize("draw", [strand.strand, strand.strand_tall])
def test_every_place_has_its_name_and_its_weight_and_every_lot_its_link(draw):
    drawn = draw([Place("Door", lots(8000, 350)), Place("Wash")])
    tree = ET.fromstring(drawn)
    texts = [text.text.replace("\u202f", " ") for text in tree.iterfind(".//s:text", NS)]
    assert {"Door", "8.4 kg", "Wash", "–", "L001", "L002"} <= set(texts)
    assert [link.get("href") for link in tree.iterfind(".//s:a", NS)].count("/lots/L001/") == 1


def test_the_picture_says_in_words_what_stands_where():
    tree = ET.fromstring(strand.strand([Place("Door", lots(8000, 350))]))
    assert tree.find("s:desc", NS).text.replace("\u202f", " ") == "Door: 8.35 kg in two lots"
    assert tree.get("role") == "group"  # links inside an image would be hidden from a screen reader


def test_an_empty_mill_is_drawn_too():
    tree = ET.fromstring(strand.strand([Place("Door"), Place("Box")]))
    assert tree.find("s:desc", NS).text == "No fibre stands anywhere."
    assert tree.get("role") == "img"


def test_a_full_mill_stays_below_the_height_allowed():
    drawn = strand.strand([Place(str(k), lots(*[9000] * 18)) for k in range(13)])
    assert float(ET.fromstring(drawn).get("height")) <= strand.MOST_HEAP_PX + 140
    assert re.search(r">and \d+ more<", drawn)


def test_more_lots_than_can_be_drawn_still_count_in_the_weight():
    for drawn in (
        strand.strand([Place("Door", lots(*[1000] * 40))]),
        strand.strand_tall([Place("Door", lots(*[1000] * 40))]),
    ):
        assert len(tuft_areas(drawn)) == strand.MOST_TUFTS
        assert "40.0\u202fkg" in drawn
        assert f"and {40 - strand.MOST_TUFTS} more" in drawn


def test_pounds_are_spoken_to_an_american_mill():
    assert "17.6\u202flb" in strand.strand([Place("Door", lots(8000))], system="us")


def test_held_lots_say_so_in_their_label():
    held = Tuft("L007", 350, "#8b8a7f", href="/x", is_held=True, note="moth")
    assert "L007, 350\u202fg, at Spin, moth, on hold" in strand.strand([Place("Spin", (held,))])
