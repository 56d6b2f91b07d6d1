"""Rules that hold for every picture, tried on all of the gallery's."""

import importlib.util
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from doffer.pictures import svg

SPEC = importlib.util.spec_from_file_location(
    "gallery_sample", Path(__file__).parents[1] / "ui" / "sample.py"
)
SAMPLE = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(SAMPLE)
PICTURES = [(name, drawn) for name, drawn in SAMPLE.pictures() if name != "tuft icons"]
NS = "{http://www.w3.org/2000/svg}"
EACH = pytest.mark.parametrize("drawn", [d for _, d in PICTURES], ids=[n for n, _ in PICTURES])


@EACH
def test_it_is_well_formed_with_title_and_description(drawn):
    tree = ET.fromstring(drawn)
    assert tree.find(f"{NS}title").text
    assert tree.find(f"{NS}desc") is not None
    assert tree.get("aria-label").startswith(tree.find(f"{NS}title").text)


@EACH
def test_it_has_no_inline_style_script_or_id(drawn):
    for each in ET.fromstring(drawn).iter():
        assert not {"style", "id", "onclick"} & set(each.attrib)
        assert each.tag.removeprefix(NS) not in ("style", "script", "foreignObject")


@EACH
def test_its_text_can_be_read_at_arms_length(drawn):
    sizes = [float(each.get("font-size")) for each in ET.fromstring(drawn).iter(f"{NS}text")]
    assert min(sizes, default=14) >= 14


@EACH
def test_its_lines_are_at_least_two_pixels(drawn):
    widths = [float(e.get("stroke-width")) for e in ET.fromstring(drawn).iter() if e.get("stroke-width")]
    assert min(widths, default=2) >= 2


@EACH
def test_every_number_in_it_is_finite(drawn):
    assert not re.search(r"\b(nan|inf)\b", drawn)


@EACH
def test_links_stand_in_a_group_and_not_in_an_image(drawn):
    tree = ET.fromstring(drawn)
    assert tree.get("role") == ("group" if tree.find(f".//{NS}a") is not None else "img")


@EACH
def test_theme_colours_come_by_class_and_only_fibre_colours_are_fixed(drawn):
    for each in ET.fromstring(drawn).iter():
        if each.get("fill", "none") != "none":
            css = each.get("class", "").split()
            assert {"fibre-fill", "tuft-shape", "swatch-fill", "ink-fixed"} & set(css), ET.tostring(each)


def test_text_too_small_to_read_cannot_be_written():
    with pytest.raises(AssertionError, match="too small to read"):
        svg.words("x", 0, 0, size=13)


def test_what_people_typed_is_escaped():
    assert svg.words('<b>&"', 0, 0) == '<text x="0" y="0" font-size="15">&lt;b&gt;&amp;&quot;</text>'
    assert svg.el("a", href='"><script>') == '<a href="&quot;&gt;&lt;script&gt;"/>'


def test_numbers_are_short():
    assert [svg.num(v) for v in (1.0, 0.005, -0.001, 12.345)] == ["1", "0.01", "0", "12.35"]
