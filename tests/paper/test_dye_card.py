"""The dye card on paper: one page, tagged, its boxes for every load, its picture without a style sheet."""

import io
import re

import pytest
from pypdf import PdfReader
from tests.paper.sample import IMPRINT

from doffer.errors import InputError
from doffer.paper.papers import DyeCard, DyeCardLine, DyeCardLoad, DyeCardStep, LotFace, PaperSize
from doffer.paper.render import dye_cards
from doffer.pictures.dye_line import dye_line
from doffer.planning.dye_curve import CurveStep, dye_curve

STEPS = tuple(DyeCardStep(f"step {n}", "20 min", "to 60 °C") for n in range(1, 9))
LOAD = DyeCardLoad(
    name="Each of the 3 loads",
    n_alike=3,
    kettle="kettle 60 L",
    fibre_mass_g=1300,
    liquor_volume_l=39,
    dip="31.0 cm",
    lines=tuple(DyeCardLine(f"Dye {n}", f"{n}00 mL", "of stock with 1 g in 100 mL") for n in range(1, 10)),
)
CARD = DyeCard(
    shade="S001",
    shade_name="Fern",
    version=2,
    fibre_mass_g=3900,
    basis="at agreed regain",
    loads=(LOAD,),
    lot=LotFace("L005", "Moss Edge Farm", "wool", "white", "#eeeeee"),
    steps=STEPS,
    course_svg=dye_line(dye_curve([CurveStep(what="hold", minutes=20 * n) for n in range(1, 9)])),
    ph="4.5",
    cautions=("Weigh dye powder with a mask.",),
    note="mind the #tips [of] $the$ fleece",
)


def text_of(content):
    pages = PdfReader(io.BytesIO(content)).pages
    return len(pages), re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


@pytest.mark.parametrize("size", [PaperSize.A4, PaperSize.LETTER])
def test_a_full_card_stands_on_one_page(size):
    pages, text = text_of(dye_cards([CARD], IMPRINT, size=size))
    assert pages == 1
    for told in ("Fern", "L005", "31.0 cm", "900 mL", "at agreed regain; recipe version 2", "Step 8"):
        assert told in text.replace("\u202f", " ")


def test_what_was_typed_stays_text():
    _, text = text_of(dye_cards([CARD], IMPRINT))
    assert "#tips [of] $the$ fleece" in text


def test_it_is_tagged_and_its_square_code_leads_to_the_shade():
    content = dye_cards([CARD], IMPRINT)
    root = PdfReader(io.BytesIO(content)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    figures = content.decode("latin-1") + str(root)
    assert "/StructTreeRoot" in figures
    assert dye_cards([CARD], IMPRINT) == content


def test_the_picture_has_ink_of_its_own_where_no_style_sheet_reaches():
    for part in re.findall(r"<(?:path|circle)[^>]*>", CARD.course_svg):
        assert "fill=" in part
        assert "stroke=" in part or 'class="p-wash"' in part


def test_a_card_without_loads_is_refused():
    with pytest.raises(InputError, match="one or more"):
        DyeCard(shade="S001", shade_name="Fern", version=1, fibre_mass_g=1, basis="as typed", loads=())
