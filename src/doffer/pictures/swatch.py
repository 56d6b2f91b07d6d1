"""Swatches: a tuft icon in the fibre's colour, and two shades side by side on neutral grey, touching."""

from __future__ import annotations

from typing import Final

from doffer.pictures import colour, svg, tuft
from doffer.pictures.svg import el

ICON_PX: Final = 48.0


def tuft_icon(seed: str, fill: str, *, size: float = ICON_PX, label: str = "") -> str:
    """A small tuft beside a lot's number; the same shape as the lot has everywhere."""
    area = 0.58 * size**2
    shape = el(
        "g", tuft.shape(seed, area, fill), transform=f"translate({svg.num(size / 2)} {svg.num(size / 2)})"
    )
    title = label or f"colour of {seed}"
    return svg.picture(size, size, title, "", [shape], css="picture-fixed inline-picture")


def swatch_pair(
    first: str, second: str, *, first_name: str, second_name: str, difference: str = "", width: float = 328
) -> str:
    """Two shades touching without a line between them, on neutral grey, each with its name on it.

    `difference` says in words how far they are apart.
    """
    height, rim = 150.0, 18.0
    half = (width - 2 * rim) / 2
    parts = [el("rect", x=0, y=0, width=width, height=height, class_="p-grey")]
    for k, (fill, name) in enumerate(((first, first_name), (second, second_name))):
        x = rim + k * half
        parts.append(
            el("rect", x=x, y=rim, width=half, height=height - 2 * rim, fill=fill, class_="swatch-fill")
        )
        ink = colour.ink_on(fill)
        parts.append(svg.words(name, x + 12, height - rim - 14, size=16, css="p-bold ink-fixed", fill=ink))
    desc = f"{first_name} on the left, {second_name} on the right" + (f"; {difference}" if difference else "")
    css = "picture picture-tall"
    return svg.picture(
        width, height, "Two shades side by side, approximate on a screen", desc, parts, css=css
    )
