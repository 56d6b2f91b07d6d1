"""Small swatches for rows: one colour on neutral grey, or two that touch without a line between them."""

from __future__ import annotations

from typing import Final

from doffer.pictures import svg
from doffer.pictures.svg import el

WIDTH_PX: Final = 96.0
HEIGHT_PX: Final = 56.0
RIM_PX: Final = 8.0


def chip(fill: str, label: str, *, width: float = WIDTH_PX, height: float = HEIGHT_PX) -> str:
    """One colour on grey; `label` says what it is."""
    return _on_grey([fill], label, width, height)


def chip_pair(first: str, second: str, label: str, *, width: float = WIDTH_PX) -> str:
    """The standard on the left, the batch on the right, touching; `label` says what they are."""
    return _on_grey([first, second], label, width, HEIGHT_PX)


def _on_grey(fills: list[str], label: str, width: float, height: float) -> str:
    part = (width - 2 * RIM_PX) / len(fills)
    drawn = [el("rect", x=0, y=0, width=width, height=height, class_="p-grey")]
    for k, fill in enumerate(fills):
        x = RIM_PX + k * part
        drawn.append(
            el("rect", x=x, y=RIM_PX, width=part, height=height - 2 * RIM_PX, fill=fill, class_="swatch-fill")
        )
    return svg.picture(width, height, label, "", drawn, css="picture-fixed inline-picture")
