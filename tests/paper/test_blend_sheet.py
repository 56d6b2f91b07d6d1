"""The weigh-out sheet of a blend recipe: grams, shares, trial card, layers."""

import dataclasses
import io
import re

import pytest
from pypdf import PdfReader
from tests.paper import sample

from doffer.errors import InputError
from doffer.paper import render
from doffer.paper.papers import BlendPortion, BlendSheet, LotFace
from doffer.planning.layers import feed_sheet, layer_portions

GREEN = LotFace("L027", "Mill own account", "wool", "green lot G1", "#577d4a")
YELLOW = LotFace("L031", "Mill own account", "wool", "stock yellow", "#d9b23d")
PORTIONS = (BlendPortion(GREEN, 1116.0, 0.84, 16.8), BlendPortion(YELLOW, 212.0, 0.16, 3.2))
LAYERS = feed_sheet(layer_portions({"L027": 1116, "L031": 212}, n_layers=6))
SHEET = BlendSheet(
    "M001", 2, "Fern", PORTIONS, layers=LAYERS, note="corrected by the trial card of version 1"
)


def words_of(sheet, imprint=sample.IMPRINT):
    pdf = render.blend_sheets([sheet], imprint)
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    return re.sub(r"\s+", " ", text.replace("\u200b", "").replace("\u202f", " ").replace("\xa0", " "))


def test_the_mix_is_in_grams_with_both_shares_and_its_layers():
    text = words_of(SHEET)
    for part in (
        "M001",
        "for Fern, version 2",
        "1116 g",
        "212 g",
        "1328 g",
        "84.0 %",
        "16.8",
        "stock yellow",
    ):
        assert part in text
    assert "Lay from the bottom up" in text
    assert text.count("L031") >= 1 + 6
    assert "agreed regain" not in text
    assert "Label this will lead to" not in text


def test_the_trial_card_is_to_the_hundredth_of_a_gram_and_has_no_layers():
    text = words_of(dataclasses.replace(SHEET, is_trial=True, layers=()))
    for part in ("trial card", "16.80 g", "3.20 g", "20.00 g"):
        assert part in text
    assert "Lay from the bottom up" not in text
    assert text.count("16.80 g") == 1
    assert "of the trial card" not in text


def test_ounces_stand_beside_the_grams_where_pounds_are_spoken():
    us = dataclasses.replace(sample.IMPRINT, system="us", country="US")
    assert "2 lb 7.4 oz" in words_of(SHEET, us)
    assert "0.59 oz" in words_of(dataclasses.replace(SHEET, is_trial=True, layers=()), us)


def test_it_is_tagged_and_its_square_code_leads_to_the_recipe():
    root = PdfReader(io.BytesIO(render.blend_sheets([SHEET], sample.IMPRINT))).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    assert render.fill.blend_sheet(SHEET, sample.IMPRINT)["code"]["says"].endswith("DOFFER:B/M001")


def test_what_was_typed_stays_text():
    typed = r'#import "x" \ *a* _b_ `c` $x$ <l> @r'
    assert typed in words_of(dataclasses.replace(SHEET, note=typed))


def test_a_sheet_without_lots_is_refused():
    with pytest.raises(InputError, match="one or more"):
        BlendSheet("M001", 1, "Fern", ())
