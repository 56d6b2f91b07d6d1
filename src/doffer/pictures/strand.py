"""The mill as one strand: places along it from door to box, at each the lots that stand there as tufts.

A tuft's area is as large as its kilograms, its colour the fibre's own. The strand itself is drawn as fibre
is: loose at the door, straightened by the card, thin after drawing, two plies twisted at the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.pictures import heap, svg, tuft
from doffer.pictures.svg import el, num
from doffer.pictures.tuft import Tuft
from doffer.pictures.wording import NOTHING, say, say_short_mass
from doffer.pictures.words import say_many

WIDE_PX: Final = 1240.0
TALL_PX: Final = 328.0
MOST_HEAP_PX: Final = 290.0
MOST_TALL_ROWS_PX: Final = 190.0
LARGEST_RADIUS_PX: Final = 62.0
MOST_PX2_PER_G: Final = 1.3
SHRINK: Final = 0.85  # step by which the rows of the upright strand are made smaller
HALVINGS: Final = 5
SMALLEST_HEAVIEST_PX: Final = 22.0  # the heaviest lot of the day is never drawn smaller
FULL_COLUMN_PX: Final = 70.0
EMPTY_COLUMN_PX: Final = 54.0
MOST_TUFTS: Final = 18
EDGE_PX: Final = 10.0
CROWD_G: Final = 1500.0  # room that even a light lot needs, for its number
NAME_PX: Final = 16.0
MASS_PX: Final = 18.0


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the mill and the lots that stand there; `mass_g` if lots are left out of the picture."""

    name: str
    lots: tuple[Tuft, ...] = ()
    mass_g: float | None = None
    href: str = ""

    @property
    def standing_g(self) -> float:
        """Everything that stands here [g]."""
        return sum(lot.mass_g for lot in self.lots) if self.mass_g is None else self.mass_g


def strand(places: Sequence[Place], *, system: str = "metric", width: float = WIDE_PX) -> str:
    """The strand from left to right, for a wide screen.

    Areas of all tufts share one scale, chosen so that the largest heap stays below MOST_HEAP_PX; where even
    small tufts do not fit, the lightest are left out and counted in words.
    """
    columns = _columns(places, width - 2 * EDGE_PX)
    scale, heaps = _fit(places, columns)
    top = max([heap.height_of(circles) for circles in heaps] + [52.0]) + 36
    parts = [_rope(0, width, top + 9)]
    x = EDGE_PX
    for place, column, circles in zip(places, columns, heaps, strict=True):
        parts.append(_foot(place, x + column / 2, top, system))
        drawn = list(zip(_heaviest_first(place), circles, strict=False))
        for lot, (across, up, _) in reversed(drawn):
            said = _said(lot, place, system)
            parts.append(tuft.linked(lot, x + across, top - up + 2, scale * lot.mass_g, said=said))
        left_out = len(place.lots) - len(drawn)
        if left_out:
            crest = top - heap.height_of(circles) - 8
            parts.append(svg.amid(f"and {left_out} more", x + column / 2, crest, css="p-soft"))
        x += column
    title, desc, has_links = "The mill as a line of places", _desc(places, system), _has_links(places)
    return svg.picture(width, top + 92, title, desc, parts, has_links=has_links)


def strand_tall(places: Sequence[Place], *, system: str = "metric", width: float = TALL_PX) -> str:
    """The same from top to bottom, for a telephone: place and weight, below them the tufts in rows."""
    left = 34.0
    scale = _tall_scale(places, width - left - 4)
    y = 4.0
    parts: list[str] = []
    for place in places:
        parts.append(_tall_head(place, left, y, width, system))
        drawn, depth = _tall_tufts(place, left, y + 34, width, scale, system)
        parts += drawn
        y += 38 + (depth + 10 if depth else 0)
    title, desc, has_links = "The mill from door to box", _desc(places, system), _has_links(places)
    body = [_rope(0, y, 14, is_upright=True), *parts]
    return svg.picture(width, y + 4, title, desc, body, has_links=has_links, css="picture picture-tall")


def _tall_head(place: Place, left: float, y: float, width: float, system: str) -> str:
    """A place on the upright strand: a knot, its name, what stands there."""
    css = "p-bold" if place.standing_g else "p-soft"
    total = say_short_mass(place.standing_g, system) if place.standing_g else NOTHING
    name = svg.words(place.name, left, y + 21, size=17, css=css)
    return "".join((
        el("circle", cx=14, cy=y + 15, r=6, class_="p-sheet p-ink-line", stroke_width=2),
        svg.link(place.href, name) if place.href else name,
        svg.at_end(total, width - 4, y + 21, size=17, css="p-bold"),
    ))  # fmt: skip


def _tall_tufts(
    place: Place, left: float, y: float, width: float, scale: float, system: str
) -> tuple[list[str], float]:
    """The tufts of one place in rows, and how deep the rows are."""
    shown = _heaviest_first(place)[:MOST_TUFTS]
    circles = _rows([tuft.footprint(lot.code, scale * lot.mass_g) for lot in shown], width - left - 4)
    parts = []
    for lot, (across, down, _) in zip(shown, circles, strict=True):
        said = _said(lot, place, system)
        parts.append(tuft.linked(lot, left + across, y + down, scale * lot.mass_g, said=said))
    depth = max((down + r for _, down, r in circles), default=0.0)
    left_out = len(place.lots) - len(shown)
    if left_out:
        depth += 22
        parts.append(svg.words(f"and {left_out} more", left, y + depth - 4, css="p-soft"))
    return parts, depth


def _heaviest_first(place: Place) -> list[Tuft]:
    """Large lots are laid first, so that they lie below."""
    return sorted(place.lots, key=lambda lot: (-lot.mass_g, lot.code))


def _columns(places: Sequence[Place], width: float) -> list[float]:
    """Room for each place: enough for its name, and the rest by how much stands there."""
    least = [FULL_COLUMN_PX if place.lots else EMPTY_COLUMN_PX for place in places]
    spare = max(0.0, width - sum(least))
    needs = [sum(lot.mass_g + CROWD_G for lot in place.lots[1:]) for place in places]
    whole = sum(needs)
    if whole == 0:
        return [width / max(1, len(places))] * len(places)
    squeeze = min(1.0, width / sum(least))
    return [squeeze * part + spare * need / whole for part, need in zip(least, needs, strict=True)]


def _fit(places: Sequence[Place], columns: Sequence[float]) -> tuple[float, list[list[heap.Circle]]]:
    """Pixels squared per gram, and the heaps it gives: as large as the height allows.

    Where the smallest scale is still too large, heaps end at the height allowed.
    """
    lots = [_heaviest_first(place)[:MOST_TUFTS] for place in places]
    largest, least = _scales(places, LARGEST_RADIUS_PX)
    best = _heaps(lots, columns, largest)
    if best is not None:
        return largest, best
    scale, best = least, _heaps(lots, columns, least)
    if best is None:
        return least, _heaps(lots, columns, least, is_cut=True) or []
    for _ in range(HALVINGS):
        middle = (scale + largest) / 2
        tried = _heaps(lots, columns, middle)
        if tried is None:
            largest = middle
        else:
            scale, best = middle, tried
    return scale, best


def _heaps(
    lots: Sequence[Sequence[Tuft]], columns: Sequence[float], scale: float, *, is_cut: bool = False
) -> list[list[heap.Circle]] | None:
    """A heap per place, or None as soon as one is too high."""
    heaps = []
    for standing, column in zip(lots, columns, strict=True):
        radii = [tuft.footprint(lot.code, scale * lot.mass_g) for lot in standing]
        circles = heap.heap(radii, column, most_height=MOST_HEAP_PX)
        if len(circles) < len(radii) and not is_cut:
            return None
        heaps.append(circles)
    return heaps


def _scales(places: Sequence[Place], largest_px: float) -> tuple[float, float]:
    """The scale to begin with, and the one below which a smaller scale saves no room."""
    heaviest = max((lot.mass_g for place in places for lot in place.lots), default=1.0)
    per_radius = math.pi / max(heaviest, 1.0)
    return min(MOST_PX2_PER_G, per_radius * largest_px**2), per_radius * SMALLEST_HEAVIEST_PX**2


def _tall_scale(places: Sequence[Place], room: float) -> float:
    scale, least = _scales(places, LARGEST_RADIUS_PX * 0.7)
    while scale > least:
        rows = [
            _rows([tuft.footprint(t.code, scale * t.mass_g) for t in _heaviest_first(p)[:MOST_TUFTS]], room)
            for p in places
        ]
        if max((heap.height_of(row) for row in rows), default=0.0) <= MOST_TALL_ROWS_PX:
            break
        scale *= SHRINK
    return scale


def _rows(radii: Sequence[float], width: float) -> list[heap.Circle]:
    """Circles side by side, in as many rows as needed; y grows downward from the top of the first row."""
    circles: list[heap.Circle] = []
    x = y = tallest = 0.0
    for radius in radii:
        if x > 0 and x + 2 * radius > width:
            x, y, tallest = 0.0, y + 2 * tallest + 2, 0.0
        tallest = max(tallest, radius)
        circles.append((x + radius, y + tallest, radius))
        x += 2 * radius + 2
    return circles


def _foot(place: Place, x: float, y: float, system: str) -> str:
    """Below the strand: a mark, the place's name, its weight."""
    has_fibre = place.standing_g > 0
    total = say_short_mass(place.standing_g, system) if has_fibre else NOTHING
    mark = el(
        "path", d=f"M{num(x)} {num(y + 20)}v10", class_="p-ink-line", stroke_width=2, stroke_linecap="round"
    )
    css = "p-bold" if has_fibre else "p-soft"
    name = svg.words(place.name, x, y + 51, size=NAME_PX, css=css, text_anchor="middle")
    mass = svg.words(total, x, y + 77, size=MASS_PX if has_fibre else NAME_PX, css=css, text_anchor="middle")
    return mark + (svg.link(place.href, name, mass) if place.href else name + mass)


def _rope(start: float, end: float, middle: float, *, is_upright: bool = False) -> str:
    """The strand: fibres that lie ever closer, then two plies around each other."""
    turn = start + (end - start) * 0.72
    lines = [_fibre(k, start, turn, middle, end, is_upright=is_upright) for k in range(6)]
    for phase in (0.0, math.pi):
        points = [(s, middle + 4.2 * math.sin(phase + (s - turn) / 6.4)) for s in _steps(turn, end, 4)]
        lines.append(_line(points, is_upright=is_upright))
    return el("path", d="".join(lines), class_="p-strand", stroke_width=2.4, stroke_linecap="round")


def _fibre(k: int, start: float, end: float, middle: float, last: float, *, is_upright: bool) -> str:
    """One of the loose fibres; the bundle narrows on its way."""
    chance = svg.steady_numbers(f"rope{k}", 2)
    points = []
    for s in _steps(start, end, 9):
        way = (s - start) / (last - start)
        spread = 8.5 * (1 - way) ** 1.4 + 2.2
        points.append(
            (s, middle + spread * math.sin(6.28 * chance[0] + s / (46 + 40 * chance[1]) + k * 1.05))
        )
    return _line(points, is_upright=is_upright)


def _steps(start: float, end: float, step: float) -> list[float]:
    count = max(2, round((end - start) / step))
    return [start + (end - start) * i / count for i in range(count + 1)]


def _line(points: Sequence[svg.Point], *, is_upright: bool) -> str:
    turned = [(y, x) if is_upright else (x, y) for x, y in points]
    return "M" + "L".join(f"{svg.near(x)} {svg.near(y)}" for x, y in turned)


def _said(lot: Tuft, place: Place, system: str) -> str:
    parts = [
        lot.code,
        say(lot.mass_g, "g", system),
        f"at {place.name}",
        lot.note,
        "on hold" if lot.is_held else "",
    ]
    return ", ".join(part for part in parts if part)


def _desc(places: Sequence[Place], system: str) -> str:
    """The picture in words."""
    filled = [place for place in places if place.lots]
    if not filled:
        return "No fibre stands anywhere."
    return "; ".join(
        f"{place.name}: {say(place.standing_g, 'g', system)} in {say_many(len(place.lots), 'lot')}"
        for place in filled
    )


def _has_links(places: Sequence[Place]) -> bool:
    return any(place.href or any(lot.href for lot in place.lots) for place in places)
