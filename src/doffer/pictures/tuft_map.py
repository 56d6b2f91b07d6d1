"""Tufts around their standard: how far each lies from it, which way, and which load it is of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import colour, svg
from doffer.pictures.svg import el
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

SIDE_PX: Final = 340.0
MIDDLE_PX: Final = SIDE_PX / 2
REACH_PX: Final = 132.0
RINGS_DE: Final = (1.0, 2.0)
LEAST_REACH_DE: Final = 2.5
SAME_RING_DE: Final = 0.15  # the broken ring of the tolerance stands in for one that lies as near
PATCH_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)


@dataclass(frozen=True, slots=True)
class TuftSpot:
    """A tuft: load number, its difference to the standard (CIEDE2000), towards red and yellow, its colour."""

    load: int
    de: float
    towards_red: float
    towards_yellow: float
    fill: str


def tuft_map(spots: Sequence[TuftSpot], *, standard_fill: str, pass_de: float, name: str) -> str:
    """Patches around the standard in the middle: distance is the difference, direction what it is off by.

    Right is redder, up is yellower; lightness has no direction here, the patch itself shows it. Rings stand
    at 1 and 2, the broken one at the tolerance.

    Raises
    ------
    InputError
        No tufts.
    """
    if not spots:
        raise InputError("tufts", 0, "one or more")
    reach_de = max(LEAST_REACH_DE, 1.1 * pass_de, *(1.08 * spot.de for spot in spots))
    scale = REACH_PX / reach_de
    parts = [el("rect", x=0, y=0, width=SIDE_PX, height=SIDE_PX, rx=8, class_="p-grey")]
    rings = [de for de in RINGS_DE if de <= reach_de and abs(de - pass_de) > SAME_RING_DE]
    parts += [_ring(de, scale, dash=None) for de in rings]
    parts.append(_ring(pass_de, scale, dash="7 5"))
    parts += [
        _said(f"{de:g}", MIDDLE_PX + 4, MIDDLE_PX - de * scale - 4)
        for de in RINGS_DE
        if 2 * PATCH_PX < de * scale <= REACH_PX
    ]
    parts += [
        _said("yellower", MIDDLE_PX + 34, 18),
        _said("bluer", MIDDLE_PX + 34, SIDE_PX - 8),
        _said("greener", 6, MIDDLE_PX - 8),
        el("g", _said("redder", 0, 0), transform=f"translate({SIDE_PX - 52} {MIDDLE_PX - 8})"),
        el("circle", cx=MIDDLE_PX, cy=MIDDLE_PX, r=PATCH_PX + 4, fill=standard_fill, class_="swatch-fill"),
    ]
    parts += [_patch(spot, scale) for spot in sorted(spots, key=lambda one: -one.de)]
    told = [f"load {spot.load} {say(spot.de, '', digits=1)}" for spot in spots]
    return svg.picture(
        SIDE_PX, SIDE_PX, f"Tufts around {name}", say_list(told), parts, css="picture picture-tall"
    )


def _ring(de: float, scale: float, *, dash: str | None) -> str:
    return el(
        "circle",
        cx=MIDDLE_PX,
        cy=MIDDLE_PX,
        r=de * scale,
        fill="none",
        class_="tuft-ring",
        stroke="#ffffff",
        stroke_width=2,
        stroke_dasharray=dash,
    )


def _said(text: str, x: float, y: float) -> str:
    """A word on the grey, which is the same in every theme."""
    return svg.words(text, x, y, size=SMALL_PX, css="ink-fixed", fill="#000000")


def _patch(spot: TuftSpot, scale: float) -> str:
    away = math.hypot(spot.towards_red, spot.towards_yellow)
    right, up = (spot.towards_red / away, spot.towards_yellow / away) if away else (0.0, 1.0)
    x, y = MIDDLE_PX + right * spot.de * scale, MIDDLE_PX - up * spot.de * scale
    return el(
        "g",
        el("circle", cx=x, cy=y, r=PATCH_PX, fill=spot.fill, class_="swatch-fill tuft-spot"),
        svg.amid(
            str(spot.load), x, y + 5, size=SMALL_PX, css="ink-fixed p-bold", fill=colour.ink_on(spot.fill)
        ),
    )
