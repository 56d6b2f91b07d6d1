import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.ancestry import FlowLink, FlowNode, ancestry, ancestry_tall

NS = {"s": "http://www.w3.org/2000/svg"}
NODES = (
    FlowNode("a", "L008", 0, 3600, "#d2cbb9", "/lots/L008/"),
    FlowNode("b", "L007", 0, 2800, "#8b8a7f"),
    FlowNode("c", "B101", 1, 6000, "#afa996", is_here=True),
    FlowNode("w", "dust", 1, 400, is_waste=True),
    FlowNode("d", "Y1", 2, 6900, "#afa996"),
)
LINKS = (
    FlowLink("a", "c", 3300), FlowLink("b", "c", 1800), FlowLink("a", "w", 300), FlowLink("b", "w", 100),
    FlowLink("b", "d", 900), FlowLink("c", "d", 6000),
)  # fmt: skip
COLUMNS = ("Received", "Picked", "Spun")


def ribbons(drawn: str) -> list[tuple[float, float]]:
    """Thickness of each ribbon at its start, and x of its start."""
    found = []
    for path in ET.fromstring(drawn).iterfind(".//s:path", NS):
        if "ribbon" in path.get("class", "").split():
            x0, y0 = re.match(r"M(-?[\d.]+) (-?[\d.]+)", path.get("d")).groups()
            last = re.search(r" (-?[\d.]+)Z$", path.get("d")).group(1)
            found.append((float(last) - float(y0), float(x0)))
    return found


def test_ribbons_and_lots_share_one_scale():
    tree = ET.fromstring(ancestry(NODES, LINKS, columns=COLUMNS))
    heights = [
        float(r.get("height")) for r in tree.iterfind(".//s:rect", NS) if "node-edge" in r.get("class")
    ]
    per_gram = heights[0] / 3600
    assert heights == pytest.approx([node.mass_g * per_gram for node in NODES], rel=0.01)
    thick = sorted(t for t, _ in ribbons(ancestry(NODES, LINKS, columns=COLUMNS)))
    assert thick[-1] == pytest.approx(6000 * per_gram, rel=0.01)


def test_a_ribbon_that_skips_a_column_gets_room_of_its_own_there():
    assert len(ribbons(ancestry(NODES, LINKS, columns=COLUMNS))) == len(LINKS) + 1


@pytest.mark.parametrize("draw", [ancestry, ancestry_tall])
def test_every_lot_is_named_and_linked(draw):
    tree = ET.fromstring(draw(NODES, LINKS, columns=COLUMNS))
    assert {"L008", "L007", "B101", "dust", "Y1"} <= {t.text for t in tree.iterfind(".//s:text", NS)}
    assert [a.get("href") for a in tree.iterfind(".//s:a", NS)] == ["/lots/L008/"]
    assert "L008 gave 3.30\u202fkg to B101" in tree.find("s:desc", NS).text


@pytest.mark.parametrize("draw", [ancestry, ancestry_tall])
def test_a_ribbon_to_nowhere_or_backward_is_refused(draw):
    with pytest.raises(InputError, match="one of the lots in the picture"):
        draw(NODES, (FlowLink("a", "z", 1),), columns=COLUMNS)
    with pytest.raises(InputError, match="from left to right"):
        draw(NODES, (FlowLink("c", "a", 1),), columns=COLUMNS)


def test_waste_lies_below_the_lots_of_its_column_and_is_dashed():
    tree = ET.fromstring(ancestry(NODES, LINKS, columns=COLUMNS))
    ys = {t.text: float(t.get("y")) for t in tree.iterfind(".//s:text", NS)}
    assert ys["dust"] > ys["B101"]
    assert sum(r.get("stroke-dasharray") is not None for r in tree.iterfind(".//s:rect", NS)) == 1


def test_one_lot_alone_can_be_drawn():
    assert "L008" in ancestry(NODES[:1], (), columns=COLUMNS[:1])
    assert "L008" in ancestry_tall(NODES[:1], (), columns=COLUMNS[:1])
