"""Fibre diameters as a histogram, each component in its own colour, with the line at 30 micron."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from doffer.errors import InputError
from doffer.fibre.content import whole_percents
from doffer.pictures import svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

HEIGHT_PX: Final = 190.0
TOP_PX: Final = 44.0
SIDE_PX: Final = 14.0
COARSE_UM: Final = 30.0  # the prickle limit of the trade; the share above it is asked for
TICK_UM: Final = 10
TEXT_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)
LEGEND_ROW_PX: Final = 28.0
SHARE_TOLERANCE: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Part:
    """One component: name, colour, and its share of all fibres in each class, 0..1.

    `share` is of all fibres, those outside the drawn classes too; all parts add up to 1.
    """

    name: str
    colour: str
    shares: tuple[float, ...]
    share: float


def histogram(
    edges_um: Sequence[float],
    parts: Sequence[Part],
    *,
    over_30_frac: float,
    mean_um: float | None = None,
    width: float = 328.0,
) -> str:
    """Stacked bars by diameter class; every bar's area is the share of fibres in it.

    Parameters
    ----------
    edges_um : sequence of float, n + 1 values
        Edges of the diameter classes [um], rising.
    parts : sequence of Part
        Each with n shares of all fibres, by number; together at most the part's share; parts add up to 1.
    over_30_frac : float
        Share of fibres above 30 um, as computed by the caller, 0..1.

    Raises
    ------
    InputError
        Shares and classes do not fit together.
    """
    count = len(edges_um) - 1
    if count < 1 or any(len(part.shares) != count for part in parts):
        raise InputError(
            "shares", [len(part.shares) for part in parts], f"one per diameter class, {count} of them"
        )
    if any(share < -SHARE_TOLERANCE for part in parts for share in part.shares):
        raise InputError("shares", "negative", "zero or above")
    for part in parts:
        if sum(part.shares) > part.share + SHARE_TOLERANCE:
            raise InputError("shares", part.shares, f"together no more than the part's {part.share:g}")
    scale = (width - 2 * SIDE_PX) / (edges_um[-1] - edges_um[0])
    body = [_bars(edges_um, parts, scale), _axis(edges_um, scale, width)]
    body.append(_coarse_line(edges_um, scale, over_30_frac, width))
    legend_top = TOP_PX + HEIGHT_PX + 72
    percents = whole_percents({part.name: part.share for part in parts})
    said = [say(percents[part.name] / 100, "frac", digits=0) for part in parts]
    body += [
        _legend(part, share, legend_top + k * LEGEND_ROW_PX, width)
        for k, (part, share) in enumerate(zip(parts, said, strict=True))
    ]
    height = legend_top + LEGEND_ROW_PX * len(parts)
    named = say_list([f"{part.name} {share} of the fibres" for part, share in zip(parts, said, strict=True)])
    desc = f"{named}; {say(over_30_frac, 'frac', digits=0)} over 30 micron"
    if mean_um is not None:
        desc += f"; mean {say(mean_um, 'um')}"
    return svg.picture(width, height, "How thick the fibres are", desc, body, css="picture picture-tall")


def _x(um: float, edges_um: Sequence[float], scale: float) -> float:
    return SIDE_PX + (um - edges_um[0]) * scale


def _bars(edges_um: Sequence[float], parts: Sequence[Part], scale: float) -> str:
    """Density in each class, the parts standing on each other."""
    widths = [high - low for low, high in pairwise(edges_um)]
    tallest = max(sum(part.shares[i] for part in parts) / widths[i] for i in range(len(widths)))
    rise = HEIGHT_PX / max(tallest, 1e-12)
    drawn = []
    floor = TOP_PX + HEIGHT_PX
    base = [0.0] * len(widths)
    for part in parts:
        data = []
        for i, wide in enumerate(widths):
            high = part.shares[i] / wide * rise
            if high > 0:
                x, y = _x(edges_um[i], edges_um, scale), floor - base[i] - high
                data.append(f"M{num(x)} {num(y)}h{num(wide * scale)}v{num(high)}h{num(-wide * scale)}z")
            base[i] += high
        drawn.append(el("path", d="".join(data), fill=part.colour, class_="fibre-fill bars"))
    skyline = []
    for i, (up, wide) in enumerate(zip(base, widths, strict=True)):
        start = f"{num(_x(edges_um[i], edges_um, scale))} {num(floor - up)}"
        skyline.append(f"{'L' if i else 'M'}{start}h{num(wide * scale)}")
    return "".join(drawn) + svg.stroke("".join(skyline), "tuft-edge")


def _axis(edges_um: Sequence[float], scale: float, width: float) -> str:
    floor = TOP_PX + HEIGHT_PX
    parts = [
        el(
            "path",
            d=f"M{num(SIDE_PX)} {num(floor)}H{num(width - SIDE_PX)}",
            class_="p-ink-line",
            stroke_width=2,
        )
    ]
    first = int(-(-edges_um[0] // TICK_UM)) * TICK_UM
    for um in range(first, int(edges_um[-1]) + 1, TICK_UM):
        x = _x(um, edges_um, scale)
        parts.append(el("path", d=f"M{num(x)} {num(floor)}v6", class_="p-ink-line", stroke_width=2))
        parts.append(svg.words(str(um), x, floor + 22, size=SMALL_PX, text_anchor="middle"))
    parts.append(
        svg.words("micron", width - SIDE_PX, floor + 40, size=SMALL_PX, css="p-soft", text_anchor="end")
    )
    return "".join(parts)


def _coarse_line(edges_um: Sequence[float], scale: float, over_frac: float, width: float) -> str:
    """The line at 30 micron, with the share beyond it in words."""
    said = f"{say(over_frac, 'frac', digits=0)} over 30 micron"
    if not edges_um[0] < COARSE_UM < edges_um[-1]:
        return svg.words(said, width - SIDE_PX, 20, size=TEXT_PX, css="p-bold", text_anchor="end")
    x = _x(COARSE_UM, edges_um, scale)
    line = f"M{num(x)} 28V{num(TOP_PX + HEIGHT_PX)}"
    anchor, at = (
        ("start", x - 6)
        if x < width / 2
        else ("end", min(width - 2, x + svg.letters_width(said, TEXT_PX) / 2))
    )
    return el("path", d=line, class_="p-promise", stroke_width=2, stroke_dasharray="7 5") + svg.words(
        said, at, 20, size=TEXT_PX, css="p-bold p-promise-text", text_anchor=anchor
    )


def _legend(part: Part, share: str, y: float, width: float) -> str:
    return "".join((
        el("rect", x=SIDE_PX, y=y - 12, width=22, height=16, rx=4, fill=part.colour,
           class_="fibre-fill tuft-edge", stroke_width=2),
        svg.words(part.name, SIDE_PX + 34, y + 1, size=TEXT_PX),
        svg.words(share, width - SIDE_PX, y + 1, size=TEXT_PX, css="p-bold", text_anchor="end"),
    ))  # fmt: skip
