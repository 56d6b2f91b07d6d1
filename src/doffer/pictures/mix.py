"""What a blend is made of: a bar in the colours of its lots with the owners as stripes, and one swatch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import colour, svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say

BAR_PX: Final = 44.0
STRIPE_PX: Final = 22.0
WIDTH_PX: Final = 600.0
LINE_PX: Final = 8.0  # from one stripe to the next
# Slant of each owner's stripes: the mill's own fibre is plain, every owner beside it has a slant of its own.
SLANTS: Final = (0.0, 1.0, -1.0, 0.001, 0.5, -0.5)


@dataclass(frozen=True, slots=True)
class MixPart:
    """A lot in the mix: its name, colour, share [frac], and whose it is (place in the list of owners)."""

    name: str
    fill: str
    share: float
    owner: int = 0


def mix_bar(parts: Sequence[MixPart], owners: Sequence[str], *, width: float = WIDTH_PX) -> str:
    """The mix along a bar, every lot as wide as its share; below it whose fibre that is, as stripes.

    Raises
    ------
    InputError
        No lot, or shares that are not zero or more with something above zero.
    """
    total = sum(part.share for part in parts)
    if not parts or total <= 0 or any(part.share < 0 for part in parts):
        raise InputError("shares of the mix", [part.share for part in parts], "zero or more, some above zero")
    drawn, x = [], 0.0
    for part in parts:
        wide = width * part.share / total
        drawn.append(el("rect", x=x, y=0, width=wide, height=BAR_PX, fill=part.fill, class_="fibre-fill"))
        drawn.append(_stripes(x, wide, part.owner))
        x += wide
    frame = el("rect", x=0, y=0, width=width, height=BAR_PX, class_="mix-frame", fill="none", stroke_width=2)
    told = ", ".join(f"{part.name} {say(part.share / total, 'frac')}" for part in parts)
    shares = [
        sum(part.share for part in parts if part.owner == place) / total for place in range(len(owners))
    ]
    whose = ", ".join(
        f"{name} {say(share, 'frac')}" for name, share in zip(owners, shares, strict=True) if share > 0
    )
    desc = f"{told}; whose fibre: {whose}"
    return svg.picture(width, BAR_PX + STRIPE_PX, "The mix", desc, [*drawn, frame], css="picture mix-picture")


def owner_mark(place: int) -> str:
    """A small field with an owner's stripes, to stand beside the name."""
    body = [_stripes(0, 36, place, top=0, thick=22)]
    return svg.picture(36, 22, "stripes of this owner", "", body, css="picture-fixed inline-picture")


def one_swatch(fill: str, name: str, *, width: float = 328) -> str:
    """One shade on neutral grey."""
    height, rim = 150.0, 18.0
    body = [
        el("rect", x=0, y=0, width=width, height=height, class_="p-grey"),
        el("rect", x=rim, y=rim, width=width - 2 * rim, height=height - 2 * rim, fill=fill,
           class_="swatch-fill"),
        svg.words(name, rim + 12, height - rim - 14, size=16, css="p-bold ink-fixed",
                  fill=colour.ink_on(fill)),
    ]  # fmt: skip
    return svg.picture(
        width, height, "A shade, approximate on a screen", name, body, css="picture picture-tall"
    )


def small_pair(first: str, second: str) -> str:
    """Two shades touching, small enough for a bar at the edge of the screen."""
    body = [
        el("rect", x=0, y=0, width=64, height=36, class_="p-grey"),
        el("rect", x=5, y=5, width=27, height=26, fill=first, class_="swatch-fill"),
        el("rect", x=32, y=5, width=27, height=26, fill=second, class_="swatch-fill"),
    ]
    return svg.picture(64, 36, "wanted and blend", "", body, css="picture-fixed inline-picture")


def _stripes(x: float, wide: float, owner: int, *, top: float = BAR_PX, thick: float = STRIPE_PX) -> str:
    """A field below a lot with its owner's stripes, each cut to the field."""
    field = el("rect", x=x, y=top, width=wide, height=thick, class_="mix-owner", stroke_width=2)
    slant = SLANTS[owner % len(SLANTS)]
    if slant == 0:
        return field
    lean = thick * slant
    data = []
    at = x + LINE_PX / 2 - max(0.0, lean)
    while at < x + wide + max(0.0, -lean):
        ends = _cut(at, at + lean, x, x + wide)
        if ends is not None:
            (x0, t0), (x1, t1) = ends
            data.append(f"M{num(x0)} {num(top + thick * t0)}L{num(x1)} {num(top + thick * t1)}")
        at += LINE_PX
    return field + svg.stroke("".join(data), "mix-stripe", width=2)


def _cut(
    start: float, end: float, low: float, high: float
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The part of a line across a field between two posts, with how far down it begins and ends (0 to 1)."""
    if start == end:
        return ((start, 0.0), (end, 1.0)) if low <= start <= high else None
    cuts = sorted(((low - start) / (end - start), (high - start) / (end - start)))
    first, last = max(0.0, cuts[0]), min(1.0, cuts[1])
    if first >= last:
        return None
    return (start + first * (end - start), first), (start + last * (end - start), last)
