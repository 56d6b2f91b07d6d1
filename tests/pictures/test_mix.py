import re
from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.mix import MixPart, mix_bar, one_swatch, owner_mark, small_pair

NS = "{http://www.w3.org/2000/svg}"
PARTS = [
    MixPart("L027", "#577d4a", 0.6),
    MixPart("L031", "#d9b23d", 0.15),
    MixPart("L012", "#6b4a3a", 0.25, owner=1),
]
DRAWN = [
    mix_bar(PARTS, ["Mill", "Farm"]),
    owner_mark(0),
    owner_mark(2),
    one_swatch("#577d4a", "x"),
    small_pair("#577d4a", "#577d4b"),
]


def test_every_lot_is_as_wide_as_its_share_and_they_fill_the_bar():
    tree = ET.fromstring(mix_bar(PARTS, ["Mill", "Farm"], width=400))
    widths = [
        float(each.get("width")) for each in tree.iter(f"{NS}rect") if each.get("class") == "fibre-fill"
    ]
    assert widths == pytest.approx([240, 60, 100])


def test_the_stripes_lie_only_below_the_fibre_of_other_owners():
    tree = ET.fromstring(mix_bar(PARTS, ["Mill", "Farm"], width=400))
    (stripes,) = [each.get("d") for each in tree.iter(f"{NS}path")]
    across = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", stripes)]
    assert 300 <= min(across) < max(across) <= 400


def test_the_bar_says_every_share_and_whose_fibre_it_is():
    said = ET.fromstring(mix_bar(PARTS, ["Mill", "Farm"])).find(f"{NS}desc").text.replace("\u202f", " ")
    assert said == "L027 60 %, L031 15 %, L012 25 %; whose fibre: Mill 75 %, Farm 25 %"


def test_every_owner_has_stripes_of_their_own():
    assert len({owner_mark(place).partition("<rect")[2] for place in range(6)}) == 6


@pytest.mark.parametrize("drawn", DRAWN)
def test_it_keeps_the_rules_of_every_picture(drawn):
    tree = ET.fromstring(drawn)
    assert tree.find(f"{NS}title").text
    for each in tree.iter():
        assert not {"style", "id"} & set(each.attrib)
        assert float(each.get("stroke-width", "2")) >= 2
        if each.get("fill", "none") != "none":
            assert {"fibre-fill", "swatch-fill", "ink-fixed"} & set(each.get("class", "").split())


def test_the_small_pair_touches():
    _, first, second = ET.fromstring(small_pair("#577d4a", "#577d4b")).findall(f"{NS}rect")
    assert float(first.get("x")) + float(first.get("width")) == float(second.get("x"))


@pytest.mark.parametrize("parts", [[], [MixPart("a", "#000000", 0.0)], [MixPart("a", "#000000", -1.0)]])
def test_shares_that_cannot_be_are_refused(parts):
    with pytest.raises(InputError, match="shares of the mix"):
        mix_bar(parts, ["Mill"])
