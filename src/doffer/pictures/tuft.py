"""A tuft of fibre: an uneven lock with crimp, as large as its weight, the same for the same lot always."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from doffer.pictures import colour, svg
from doffer.pictures.svg import Point, el, num

CORNERS: Final = 22
LOBES: Final = ((2, 0.07), (3, 0.055), (4, 0.035), (5, 0.03), (8, 0.018))  # waves around the edge, how deep
SQUASH: Final = 1.07  # a heap lies a little wider than it is high
LABEL_PX: Final = 15
ROW_PX: Final = 7.0
STRAY_RADIUS: Final = 22.0


@dataclass(frozen=True, slots=True)
class Tuft:
    """One lot as it is drawn."""

    code: str
    mass_g: float
    colour: str
    href: str = ""
    note: str = ""
    is_held: bool = False


def outline(seed: str, area: float) -> list[Point]:
    """Points of the edge around (0, 0); the smooth line through them encloses `area`, up to rounding."""
    chance = svg.steady_numbers(seed, 2 * len(LOBES))
    points: list[Point] = []
    for i in range(CORNERS):
        angle = 2 * math.pi * i / CORNERS
        radius = 1.0
        for k, (waves, depth) in enumerate(LOBES):
            radius += (
                depth
                * (0.4 + 0.6 * chance[2 * k])
                * math.cos(waves * angle + 2 * math.pi * chance[2 * k + 1])
            )
        points.append((SQUASH * radius * math.cos(angle), radius * math.sin(angle)))
    scale = math.sqrt(area / svg.smooth_area(points))
    return [(x * scale, y * scale) for x, y in points]


def radius_of(area: float) -> float:
    """Radius of the circle as large as a tuft."""
    return math.sqrt(area / math.pi)


@lru_cache(maxsize=2048)
def shape(seed: str, area: float, fill: str, *, clear_px: float = 0.0, is_held: bool = False) -> str:
    """The tuft around (0, 0); a belt `clear_px` high in its middle stays free of crimp for a label."""
    edge = outline(seed, area)
    shade = _shade(fill)
    body = svg.smooth_closed(edge)
    small = [(x * 0.8 - radius_of(area) * 0.06, y * 0.76 - radius_of(area) * 0.1) for x, y in edge]
    return "".join(
        (
            _strays(seed, edge, shade),
            el("path", d=body, fill=fill, class_="tuft-shape tuft-edge", stroke_width=2),
            el(
                "path",
                d=svg.smooth_closed(small),
                fill=colour.mixed(fill, "#ffffff", 0.13),
                opacity=0.55,
                class_="tuft-shape",
            ),
            _crimp(seed, edge, shade, clear_px),
            el("path", d=body, fill="none", stroke_width=4, stroke_dasharray="5 5", class_="p-held")
            if is_held
            else "",
        )
    )


def _shade(fill: str) -> str:
    """A darker tone of a light fibre, a lighter tone of a dark one: crimp must be seen on both."""
    is_light = colour.contrast(fill, colour.BLACK) > 4
    return colour.mixed(fill, "#3a2a18", 0.42) if is_light else colour.mixed(fill, "#e9dcc6", 0.38)


def _crimp(seed: str, edge: list[Point], shade: str, clear_px: float) -> str:
    """Wavy lines inside the edge, in rows."""
    top, bottom = min(y for _, y in edge), max(y for _, y in edge)
    chance = svg.steady_numbers(seed + "crimp", 64)
    lines: list[str] = []
    y = top + ROW_PX
    while y < bottom - ROW_PX * 0.8 and len(lines) < len(chance) // 2:
        span = _span(edge, y)
        if span and abs(y) > clear_px / 2:
            left, right = span
            inset = 5 + (right - left) * 0.22 * chance[2 * len(lines)]
            length = (right - left - inset - 5) * (0.55 + 0.4 * chance[2 * len(lines) + 1])
            if length > 8:
                lines.append(svg.wave(left + inset, y, length, rise=1.5, half=4.6))
        y += ROW_PX
    if not lines:
        return ""
    return el(
        "path",
        d="".join(lines),
        fill="none",
        stroke=shade,
        stroke_width=2,
        stroke_linecap="round",
        opacity=0.42,
    )


def _span(edge: list[Point], y: float) -> tuple[float, float] | None:
    """Where the level line at `y` enters and leaves the tuft."""
    crossings = []
    for (x0, y0), (x1, y1) in zip(edge, [*edge[1:], edge[0]], strict=True):
        if (y0 <= y) != (y1 <= y):
            crossings.append(x0 + (y - y0) / (y1 - y0) * (x1 - x0))
    return (min(crossings), max(crossings)) if crossings else None


def _strays(seed: str, edge: list[Point], shade: str) -> str:
    """A few long fibres that leave the edge at a slant and curl; a small tuft has none."""
    if max(x for x, _ in edge) < STRAY_RADIUS:
        return ""
    chance = svg.steady_numbers(seed + "stray", 9)
    data: list[str] = []
    for k in range(3):
        place = int(chance[3 * k] * (CORNERS - 1))
        (x, y), (x1, y1) = edge[place], edge[(place + 3) % CORNERS]
        out = 1.06 + 0.12 * chance[3 * k + 1]
        bend = 1.12 + 0.1 * chance[3 * k + 2]
        start = f"M{num(x * 0.97)} {num(y * 0.97)}"
        data.append(f"{start}Q{num(x * bend)} {num(y * bend)} {num(x1 * out)} {num(y1 * out)}")
    line = "".join(data)
    return el("path", d=line, fill="none", stroke=shade, stroke_width=2, stroke_linecap="round", opacity=0.55)


def linked(tuft: Tuft, x: float, y: float, area: float, *, said: str, text_px: float = LABEL_PX) -> str:
    """A tuft with its number, as a link with a hit area of at least 48 px.

    The number stands inside where it fits, else below with a halo.
    """
    radius = radius_of(area)
    is_inside = fits_label(tuft.code, area, text_px)
    lift = 0.0 if is_inside else -9.0
    label = _label(tuft, radius + lift, text_px, is_inside=is_inside)
    clear = text_px * 1.25 if is_inside else 0.0
    drawn = (
        el("g", shape(tuft.code, area, tuft.colour, clear_px=clear, is_held=tuft.is_held),
           transform=f"translate(0 {num(lift)})" if lift else None),
        label,
        el("circle", cx=0, cy=0, r=max(24.0, radius), class_="p-hit"),
    )  # fmt: skip
    inner = svg.link(tuft.href, *drawn, label=said) if tuft.href else "".join(drawn)
    return svg.told(said, inner, transform=f"translate({num(x)} {num(y)})")


def _label(tuft: Tuft, bottom: float, text_px: float, *, is_inside: bool) -> str:
    if is_inside:
        ink = colour.ink_on(tuft.colour)
        css = "p-bold ink-fixed"
        return svg.words(tuft.code, 0, text_px * 0.36, size=text_px, css=css, text_anchor="middle", fill=ink)
    y = bottom + text_px * 0.95
    return svg.words(tuft.code, 0, y, size=text_px, css="p-bold p-halo", text_anchor="middle")


def fits_label(code: str, area: float, text_px: float = LABEL_PX) -> bool:
    """Whether the lot's number can stand inside its tuft."""
    return 2 * radius_of(area) * 0.9 >= svg.letters_width(code, text_px)


def footprint(code: str, area: float) -> float:
    """Radius of the room a tuft takes in a heap, with its number and a hit area for a thumb."""
    radius = radius_of(area)
    if fits_label(code, area):
        return max(24.0, radius)
    return max(26.0, radius + 9.0, svg.letters_width(code, LABEL_PX) / 2 + 3)
