"""Batches of a shade against its standard: how far off each was, and which way they walk.

Readable without colour: every batch has its number, and its shape says whether it is within the tolerance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from doffer.pictures import colour, svg
from doffer.pictures.svg import Point, el, num
from doffer.pictures.words import say_list

WIDTH_PX: Final = 328.0
LEFT_PX, RIGHT_PX = 44.0, 14.0
TOP_PX, PLOT_PX, FOOT_PX = 34.0, 190.0, 34.0
RADIUS_PX: Final = 13.0
LEAST_RADIUS_PX: Final = 5.0
NUMBERED_PX: Final = 11.0  # a smaller mark has no room for its number
HEADROOM: Final = 1.25
MOST_AHEAD: Final = 6
SIZE: Final = float(svg.MIN_TEXT_PX)
PLANE_PX: Final = 300.0
RULE_PX: Final = 74.0
MARGIN: Final = 1.18
LEAST_SPAN: Final = 1.0
ON_SHADE, ASKED, OFF = "on shade", "for a person to decide", "off shade"


@dataclass(frozen=True, slots=True)
class Mark:
    """One batch: its number in the table, its name, its colour on screen, difference, L, a, b.

    One that `is_left_out` lies so far from the others that the pictures keep to their scale without it: it
    stands at their edge.
    """

    number: int
    name: str
    hex: str
    de: float
    lab: tuple[float, float, float]
    is_left_out: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """What passes and what is left to a person, by the standard's own formula."""

    pass_de: float
    ask_de: float

    def word(self, de: float) -> str:
        """Where a difference falls."""
        return ON_SHADE if de <= self.pass_de else ASKED if de <= self.ask_de else OFF


def over_batches(
    marks: Sequence[Mark], limits: Limits, *, along_de: Sequence[float] = (), first: str = "", last: str = ""
) -> str:
    """Difference to the standard, batch by batch, on the band of what passes.

    Parameters
    ----------
    along_de : sequence of float
        The line through the batches and, dashed, where it goes on; empty: no line is drawn.
    first, last : str
        Days of the first and the last batch, written under them.
    """
    ahead = min(MOST_AHEAD, max(0, len(along_de) - len(marks)))
    shown = list(along_de[: len(marks) + ahead])
    most = HEADROOM * max([limits.ask_de, *(mark.de for mark in marks if not mark.is_left_out), *shown])
    spots = max(2, len(marks) + ahead)
    apart = (WIDTH_PX - LEFT_PX - RIGHT_PX) / spots
    xs = [LEFT_PX + apart * (k + 0.5) for k in range(spots)]
    floor = TOP_PX + PLOT_PX

    def y(de: float) -> float:
        return floor - PLOT_PX * min(de, most) / most

    body = [_bands(limits, y, floor), *_ticks(limits, y, floor)]
    if shown:
        line = [(x, y(de)) for x, de in zip(xs, shown, strict=False)]
        body.append(svg.stroke(_straight(line[: len(marks)]), "p-ink-line", width=2))
        if ahead:
            body.append(svg.stroke(_straight(line[len(marks) - 1 :]), "p-ink-line", width=2, dash="3 6"))
    radius = max(LEAST_RADIUS_PX, min(RADIUS_PX, apart / 2 - 1))
    body += [_mark(mark, (x, y(mark.de)), radius, limits) for mark, x in zip(marks, xs, strict=False)]
    body.append(svg.words(first, LEFT_PX, floor + 24, size=SIZE, css="p-soft"))
    if last and len(marks) > 1:
        body.append(svg.at_end(last, WIDTH_PX - RIGHT_PX, floor + 24, size=SIZE, css="p-soft"))
    body += [
        svg.amid(f"{mark.de:.0f}", x, y(mark.de) + radius + SIZE + 2, size=SIZE, css="p-halo")
        for mark, x in zip(marks, xs, strict=False)
        if mark.is_left_out
    ]
    told = [f"{m.number} {m.name} {m.de:.1f}, {limits.word(m.de)}{_aside(m)}" for m in marks]
    desc = f"On shade up to {limits.pass_de:.1f}, to be decided up to {limits.ask_de:.1f}. {say_list(told)}"
    return svg.picture(
        WIDTH_PX,
        floor + FOOT_PX,
        "How far each batch is from the standard",
        desc,
        body,
        css="picture picture-tall",
    )


def _bands(limits: Limits, y: Callable[[float], float], floor: float) -> str:
    """What passes, and above it what a person decides."""
    wide = WIDTH_PX - LEFT_PX - RIGHT_PX
    passes, asks = y(limits.pass_de), y(limits.ask_de)
    drawn = [
        el("rect", x=LEFT_PX, y=passes, width=wide, height=floor - passes, class_="p-range"),
        el("rect", x=LEFT_PX, y=asks, width=wide, height=passes - asks, class_="p-wash"),
        svg.stroke(f"M{num(LEFT_PX)} {num(passes)}h{num(wide)}", "p-range-line", width=2),
        svg.stroke(f"M{num(LEFT_PX)} {num(asks)}h{num(wide)}", "p-caution", width=2, dash="7 5"),
        svg.stroke(f"M{num(LEFT_PX)} {num(floor)}h{num(wide)}", "p-edge", width=2),
    ]
    return "".join(drawn)


def _ticks(limits: Limits, y: Callable[[float], float], floor: float) -> list[str]:
    at = LEFT_PX - 8
    ticks = [svg.at_end("0", at, floor + 5, size=SIZE, css="p-soft")]
    passes, asks = y(limits.pass_de), y(limits.ask_de)
    ticks.append(svg.at_end(f"{limits.pass_de:.1f}", at, passes + 5, size=SIZE, css="p-range-text"))
    if passes - asks >= SIZE:
        ticks.append(svg.at_end(f"{limits.ask_de:.1f}", at, asks + 5, size=SIZE, css="p-soft"))
    ticks.append(svg.words("away from the standard", 0, 16, size=SIZE, css="p-soft"))
    return ticks


def _straight(points: Sequence[Point]) -> str:
    return "".join(f"{'ML'[k > 0]}{num(x)} {num(y)}" for k, (x, y) in enumerate(points))


def _mark(mark: Mark, at: Point, radius: float, limits: Limits) -> str:
    """A batch: round on shade, three-cornered to be decided, square off shade; its number inside."""
    x, y = at
    word = limits.word(mark.de)
    style: dict[str, svg.Attribute] = {"fill": mark.hex, "class_": "fibre-fill tuft-edge", "stroke_width": 2}
    if word == ON_SHADE:
        shape = el("circle", cx=x, cy=y, r=radius, **style)
    elif word == ASKED:
        wide, up, down = radius * 1.3, radius * 1.45, radius * 0.95
        corners = f"M{num(x)} {num(y - up)}L{num(x + wide)} {num(y + down)}H{num(x - wide)}Z"
        shape = el("path", d=corners, **style)
    else:
        shape = el("rect", x=x - radius, y=y - radius, width=2 * radius, height=2 * radius, **style)
    drawn = [shape]
    if radius >= NUMBERED_PX:
        ink = colour.ink_on(mark.hex)
        drawn.append(svg.amid(str(mark.number), x, y + 5, size=SIZE, css="p-bold ink-fixed", fill=ink))
    return svg.told(f"{mark.number} {mark.name}: {mark.de:.1f}, {word}{_aside(mark)}", "".join(drawn))


def _aside(mark: Mark) -> str:
    return ", left out of the line" if mark.is_left_out else ""


def which_way(
    standard: tuple[float, float, float],
    marks: Sequence[Mark],
    limits: Limits,
    *,
    passes: Sequence[Point],
    asks: Sequence[Point],
    lightness: tuple[float, float],
) -> str:
    """Hue and strength of the batches about the standard from above, and below it their lightness.

    Parameters
    ----------
    passes, asks : sequences of (a, b)
        Closed lines of what passes and of what is left to a person, for batches as light as the standard.
    lightness : (float, float)
        The darkest and the lightest L that pass.
    """
    reach = max(
        [
            LEAST_SPAN,
            *(abs(a - standard[1]) for a, _ in asks),
            *(abs(b - standard[2]) for _, b in asks),
            *(
                max(abs(m.lab[1] - standard[1]), abs(m.lab[2] - standard[2]))
                for m in marks
                if not m.is_left_out
            ),
        ]
    )
    scale = PLANE_PX / 2 / (reach * MARGIN)
    middle = (WIDTH_PX / 2, TOP_PX + PLANE_PX / 2)

    def spot(a: float, b: float) -> Point:
        right, up = (a - standard[1]) * scale, (b - standard[2]) * scale
        inside = min(1.0, PLANE_PX / 2 / max(abs(right), abs(up), 1.0))
        return middle[0] + right * inside, middle[1] - up * inside

    body = [*_compass(middle)]
    body.append(el("path", d=_straight([spot(a, b) for a, b in passes]) + "Z", class_="p-range"))
    body.append(svg.stroke(_straight([spot(a, b) for a, b in passes]) + "Z", "p-range-line", width=2))
    body.append(svg.stroke(_straight([spot(a, b) for a, b in asks]) + "Z", "p-caution", width=2, dash="7 5"))
    path = [spot(mark.lab[1], mark.lab[2]) for mark in marks]
    walked = [at for mark, at in zip(marks, path, strict=True) if not mark.is_left_out]
    if len(walked) > 1:
        body.append(svg.stroke(_straight(walked), "p-edge", width=2))
    body.append(_cross(middle))
    radius = RADIUS_PX if len(marks) <= 12 else LEAST_RADIUS_PX + 2
    body += [_mark(mark, at, radius, limits) for mark, at in zip(marks, path, strict=True)]
    top = TOP_PX + PLANE_PX + 34
    body += _lightness(standard[0], marks, limits, lightness, top)
    told = [f"{m.number} {m.name}: {_way(standard, m)}" for m in marks]
    desc = f"The cross in the middle is the standard. {say_list(told)}" if marks else "No batch yet."
    return svg.picture(
        WIDTH_PX, top + RULE_PX, "Which way the batches lie", desc, body, css="picture picture-tall"
    )


def _way(standard: tuple[float, float, float], mark: Mark) -> str:
    lighter, redder, yellower = (sample - base for sample, base in zip(mark.lab, standard, strict=True))
    words = [
        f"{abs(lighter):.1f} {'lighter' if lighter > 0 else 'darker'}",
        f"{abs(redder):.1f} towards {'red' if redder > 0 else 'green'}",
        f"{abs(yellower):.1f} towards {'yellow' if yellower > 0 else 'blue'}",
    ]
    return ", ".join(words)


def _compass(middle: Point) -> list[str]:
    half = PLANE_PX / 2
    x, y = middle
    return [
        svg.stroke(f"M{num(x - half)} {num(y)}h{num(PLANE_PX)}", "p-line", width=2),
        svg.stroke(f"M{num(x)} {num(y - half)}v{num(PLANE_PX)}", "p-line", width=2),
        svg.amid("towards yellow", x, y - half - 8, size=SIZE, css="p-soft"),
        svg.amid("towards blue", x, y + half + 18, size=SIZE, css="p-soft"),
        svg.words("green", x - half, y - 8, size=SIZE, css="p-soft p-halo"),
        svg.at_end("red", x + half, y - 8, size=SIZE, css="p-soft p-halo"),
    ]


def _cross(at: Point) -> str:
    x, y = at
    return svg.stroke(f"M{num(x - 9)} {num(y)}h18M{num(x)} {num(y - 9)}v18", "p-ink-line", width=3)


def _lightness(
    standard_l: float, marks: Sequence[Mark], limits: Limits, passes: tuple[float, float], top: float
) -> list[str]:
    """A rule from darker to lighter with the batches on it."""
    reach = max(
        [
            LEAST_SPAN,
            *(abs(end - standard_l) for end in passes),
            *(abs(m.lab[0] - standard_l) for m in marks if not m.is_left_out),
        ]
    )
    left, right = (WIDTH_PX - PLANE_PX) / 2, (WIDTH_PX + PLANE_PX) / 2
    scale = (PLANE_PX / 2 - RADIUS_PX) / reach
    middle, y = WIDTH_PX / 2, top + 34

    def x(lightness: float) -> float:
        return middle + min(reach, max(-reach, lightness - standard_l)) * scale

    low, high = x(passes[0]), x(passes[1])
    drawn = [
        svg.words("darker", left, top + 10, size=SIZE, css="p-soft"),
        svg.at_end("lighter", right, top + 10, size=SIZE, css="p-soft"),
        el("rect", x=low, y=y - 16, width=high - low, height=32, class_="p-range"),
        svg.stroke(f"M{num(left)} {num(y)}H{num(right)}", "p-line", width=2),
        svg.stroke(f"M{num(low)} {num(y - 16)}v32M{num(high)} {num(y - 16)}v32", "p-range-line", width=2),
        _cross((middle, y)),
    ]
    radius = RADIUS_PX if len(marks) <= 12 else LEAST_RADIUS_PX + 2
    return [*drawn, *(_mark(mark, (x(mark.lab[0]), y), radius, limits) for mark in marks)]
