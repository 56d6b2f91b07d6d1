"""Papers as tagged PDF (PDF/UA-1): fixed templates, what people typed only ever as data.

Nothing a person types becomes part of a template's source: data goes in as JSON and is read by the template
as plain text. The same paper, imprint and size give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import typst

from doffer.errors import InputError
from doffer.paper import fill, fill_kitchen
from doffer.paper.letters import breakable, printable
from doffer.paper.papers import (
    BagTag,
    BlendSheet,
    DyeCard,
    Imprint,
    LotSheet,
    PaperSize,
    RunCard,
    WeighOutSheet,
    WorkOrder,
)

TEMPLATES: Final = Path(__file__).parent / "templates"
FONTS: Final = Path(__file__).parent / "fonts"
STANDARD: Final = "ua-1"
SHEETS: Final = (PaperSize.A4, PaperSize.A5, PaperSize.LETTER)
TAG_SIZES: Final = (PaperSize.LABEL, PaperSize.A4, PaperSize.LETTER)
DRAWN_AS_GIVEN: Final = ("svg", "hex")  # made by us, not typed: left as they are


def run_cards(cards: Sequence[RunCard], imprint: Imprint, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Run cards, each beginning on its own page, for A4, A5 or US letter."""
    return _sheets("run_card", cards, fill.run_card, imprint, size)


def weigh_out_sheets(
    sheets: Sequence[WeighOutSheet], imprint: Imprint, *, size: PaperSize = PaperSize.A4
) -> bytes:
    """Weigh-out sheets with their layers, for A4, A5 or US letter."""
    return _sheets("weigh_out", sheets, fill.weigh_out_sheet, imprint, size)


def blend_sheets(sheets: Sequence[BlendSheet], imprint: Imprint, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Weigh-out sheets of blend recipes, for A4, A5 or US letter."""
    return _sheets("weigh_out", sheets, fill.blend_sheet, imprint, size)


def dye_cards(cards: Sequence[DyeCard], imprint: Imprint, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Dye cards for the wall above the kettle, for A4, A5 or US letter."""
    return _sheets("dye_card", cards, fill_kitchen.dye_card, imprint, size)


def work_orders(orders: Sequence[WorkOrder], imprint: Imprint, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Work orders to sign at the door, for A4, A5 or US letter."""
    return _sheets("work_order", orders, fill.work_order, imprint, size)


def lot_sheets(sheets: Sequence[LotSheet], imprint: Imprint, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Lots, a page each, for A4, A5 or US letter."""
    return _sheets("lot_sheet", sheets, fill.lot_sheet, imprint, size)


def bag_tags(tags: Sequence[BagTag], imprint: Imprint, *, size: PaperSize = PaperSize.LABEL) -> bytes:
    """Bag tags: one to a label of 150 x 100 mm, or eight to a sheet of A4 or US letter."""
    _check(tags, size, TAG_SIZES)
    return _compile("bag_tag", [fill.bag_tag(tag, imprint) for tag in tags], imprint, size)


def _sheets(
    template: str,
    papers: Sequence[Any],
    filled: Callable[[Any, Imprint], fill.Filled],
    imprint: Imprint,
    size: PaperSize,
) -> bytes:
    _check(papers, size, SHEETS)
    return _compile(template, [filled(paper, imprint) for paper in papers], imprint, size)


def _check(papers: Sequence[object], size: PaperSize, sizes: Sequence[PaperSize]) -> None:
    if not papers:
        raise InputError("papers", None, "at least one")
    if size not in sizes:
        raise InputError("paper size", size, "one of " + ", ".join(sizes))


def _compile(template: str, papers: Sequence[fill.Filled], imprint: Imprint, size: PaperSize) -> bytes:
    data = {"papers": [_clean(paper) for paper in papers], "size": size.value, "system": imprint.system}
    return _typeset(template, json.dumps(data), int(imprint.printed_at.timestamp()))


def _typeset(template: str, data: str, timestamp: int) -> bytes:
    """The only call of the typesetter: a template of ours, fonts of ours, nothing of the machine's."""
    return typst.compile(
        str(TEMPLATES / f"{template}.typ"),
        root=str(TEMPLATES),
        font_paths=[str(FONTS)],
        ignore_system_fonts=True,
        sys_inputs={"data": data},
        pdf_standards=[STANDARD],
        timestamp=timestamp,
    )


def _clean(value: Any, key: str = "") -> Any:
    """All texts of a paper made printable; figures and pictures untouched."""
    if isinstance(value, dict):
        return {name: _clean(part, name) for name, part in value.items()}
    if isinstance(value, list):
        return [_clean(part, key) for part in value]
    if isinstance(value, str) and key not in DRAWN_AS_GIVEN:
        return breakable(printable(value, _draws))
    return value


@lru_cache(maxsize=4096)
def _draws(signs: str) -> bool:
    """Whether the typesetter has a shape for every one of the signs."""
    try:
        _typeset("probe", " ".join(signs), 0)
    except typst.TypstError:
        return False
    return True
