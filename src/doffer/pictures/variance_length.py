"""How uneven pieces of one length are among each other, from a centimetre to a skein.

A line for what is expected with its soft edge, a grey field for the heather that no machine takes out, the
limit as a dashed line, and a post for each length that was measured. Both scales are logarithmic.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import Point, el, num
from doffer.pictures.wording import say

WIDTH_PX: Final = 328.0
LEFT_PX, RIGHT_PX = 46.0, 12.0
TOP_PX, PLOT_PX, FOOT_PX = 32.0, 200.0, 46.0
SIZE: Final = float(svg.MIN_TEXT_PX)
MM_PER_CM, MM_PER_M = 10.0, 1000.0
LENGTH_TICKS_MM: Final = (1.0, 10.0, 100.0, 1000.0, 10_000.0, 100_000.0, 1_000_000.0)
TICKS_IN_TEN: Final = (1.0, 2.0, 5.0)
TICK_ROOM_PX: Final = 20.0
HEADROOM: Final = 1.25
LEAST_SHOWN: Final = 0.05  # a twentieth of what an eye tells: below it the line lies on the floor of the plot
WHISKER_PX, MARK_PX = 10.0, 6.0


@dataclass(frozen=True, slots=True)
class Along:
    """What is expected at one length: low, middle and high, and the heather in it, all in one unit."""

    length_mm: float
    low: float
    mid: float
    high: float
    heather: float


@dataclass(frozen=True, slots=True)
class Measured:
    """What a trial found at one length, and from where to where the true figure lies.

    `within_mm` is the length of the strip whose pieces were compared; None: pieces from all over the lot.
    """

    length_mm: float
    found: float
    low: float
    high: float
    within_mm: float | None = None


def by_length(
    expected: Sequence[Along],
    measured: Sequence[Measured] = (),
    *,
    within: Sequence[tuple[float, float]] = (),
    limit: float,
    unit: str,
    limit_words: str,
) -> str:
    """The chart; `unit` says what the upright scale counts, `limit_words` what the dashed line is.

    `within` are lengths and what is expected within one strip, as a dotted line: what a photo can show.
    What was measured at lengths outside those expected is left out.

    Raises
    ------
    InputError
        Fewer than two lengths, not rising, or low, middle and high out of order.
    """
    lengths = [one.length_mm for one in expected]
    if len(expected) < 2 or lengths != sorted(set(lengths)) or lengths[0] <= 0:
        raise InputError("lengths", lengths, "two or more, rising, above zero")
    if any(not 0 <= one.low <= one.mid <= one.high for one in expected):
        raise InputError("range", "out of order", "zero or more, low, middle and high in rising order")
    measured = [one for one in measured if lengths[0] <= one.length_mm <= lengths[-1]]
    across = _across(lengths[0], lengths[-1])
    up = _up([limit, *(one.high for one in expected), *(one.high for one in measured)], expected)
    floor = TOP_PX + PLOT_PX
    wide = WIDTH_PX - RIGHT_PX - LEFT_PX
    at_limit = up(limit)
    body = [
        el("rect", x=LEFT_PX, y=TOP_PX, width=wide, height=PLOT_PX, class_="p-sheet"),
        _heather(expected, across, up, floor),
        _band(expected, across, up),
        svg.stroke(
            _line([(across(one.length_mm), up(one.mid)) for one in expected]), "p-range-line", width=3
        ),
        *_within(within, measured, across, up),
        svg.stroke(f"M{num(LEFT_PX)} {num(at_limit)}h{num(wide)}", "p-promise", dash="7 5"),
        svg.at_end(
            limit_words, WIDTH_PX - RIGHT_PX - 4, at_limit - 6, size=SIZE, css="p-promise-text p-halo"
        ),
        svg.stroke(f"M{num(LEFT_PX)} {num(floor)}h{num(wide)}", "p-edge"),
        *_length_ticks(lengths, across, floor),
        *_up_ticks(up, floor),
        svg.words(unit, 0, 16, size=SIZE, css="p-soft"),
        svg.amid("length of the pieces compared", LEFT_PX + wide / 2, floor + 40, size=SIZE, css="p-soft"),
        *(_post(one, across(one.length_mm), up) for one in measured),
    ]
    height = floor + FOOT_PX
    desc = _told(expected, measured, within, limit, limit_words)
    return svg.picture(
        WIDTH_PX, height, "How uneven pieces are, by their length", desc, body, css="picture picture-tall"
    )


def say_length(length_mm: float) -> str:
    """A length in the unit it has on the bench: "5 mm", "4 cm", "1.5 m"."""
    if length_mm < MM_PER_CM:
        return say(length_mm, "mm")
    return say(length_mm / MM_PER_CM, "cm") if length_mm < MM_PER_M else say(length_mm / MM_PER_M, "m")


def _across(first: float, last: float) -> Callable[[float], float]:
    wide = WIDTH_PX - RIGHT_PX - LEFT_PX
    span = math.log(last / first)
    return lambda length: LEFT_PX + wide * min(1.0, max(0.0, math.log(length / first) / span))


def _up(tops: Sequence[float], expected: Sequence[Along]) -> Callable[[float], float]:
    """Upright place of a value: logarithmic from the least that is worth showing to the highest."""
    most = HEADROOM * max(tops)
    least = max(LEAST_SHOWN, min(max(one.low, one.heather) for one in expected) / 2)
    least = min(least, most / 10)
    floor, span = TOP_PX + PLOT_PX, math.log(most / least)
    return lambda value: floor - PLOT_PX * min(1.0, max(0.0, math.log(max(value, least) / least) / span))


def _line(points: Sequence[Point]) -> str:
    return "".join(f"{'ML'[k > 0]}{num(x)} {num(y)}" for k, (x, y) in enumerate(points))


def _heather(
    expected: Sequence[Along], across: Callable[[float], float], up: Callable[[float], float], floor: float
) -> str:
    top = [(across(one.length_mm), up(one.heather)) for one in expected]
    data = _line(top) + f"L{num(top[-1][0])} {num(floor)}L{num(top[0][0])} {num(floor)}Z"
    return el("path", d=data, class_="p-heather")


def _band(expected: Sequence[Along], across: Callable[[float], float], up: Callable[[float], float]) -> str:
    there = [(across(one.length_mm), up(one.high)) for one in expected]
    back = [(across(one.length_mm), up(one.low)) for one in reversed(expected)]
    return el("path", d=_line([*there, *back]) + "Z", class_="p-range curve-band")


def _length_ticks(lengths: Sequence[float], across: Callable[[float], float], floor: float) -> list[str]:
    drawn = []
    for length in LENGTH_TICKS_MM:
        if lengths[0] <= length <= lengths[-1]:
            x = across(length)
            drawn.append(svg.stroke(f"M{num(x)} {num(floor)}v6", "p-edge"))
            drawn.append(svg.amid(say_length(length), x, floor + 22, size=SIZE, css="p-soft"))
    return drawn


def _up_ticks(up: Callable[[float], float], floor: float) -> list[str]:
    """Round numbers up the side, as many as there is room for."""
    drawn: list[str] = []
    taken = math.inf
    for power in range(-3, 4):
        for step in TICKS_IN_TEN:
            y = up(step * 10.0**power)
            if TOP_PX < y < floor - 1 and taken - y >= TICK_ROOM_PX:
                drawn.append(
                    svg.at_end(f"{step * 10.0**power:g}", LEFT_PX - 8, y + 5, size=SIZE, css="p-soft")
                )
                taken = y
    return drawn


def _post(one: Measured, x: float, up: Callable[[float], float]) -> str:
    """What was found, a square, on the span in which the true figure lies."""
    top, low = up(one.high), up(one.low)
    half = WHISKER_PX / 2
    span = f"M{num(x)} {num(top)}V{num(low)}M{num(x - half)} {num(top)}h{num(WHISKER_PX)}"
    span += f"M{num(x - half)} {num(low)}h{num(WHISKER_PX)}"
    mark = el("rect", x=x - MARK_PX, y=up(one.found) - MARK_PX, width=2 * MARK_PX, height=2 * MARK_PX,
              class_="p-ink")  # fmt: skip
    said = f"measured at {say_length(one.length_mm)}: {one.found:.1f}, truly {one.low:.1f} to {one.high:.1f}"
    if one.within_mm:
        said += f", within a strip of {say_length(one.within_mm)}"
    return svg.told(said, svg.stroke(span, "p-ink-line", width=2) + mark)


def _within(
    within: Sequence[tuple[float, float]],
    measured: Sequence[Measured],
    across: Callable[[float], float],
    up: Callable[[float], float],
) -> list[str]:
    """What is expected within one strip, and what it is, at the foot where nothing else stands."""
    strip_mm = next((one.within_mm for one in measured if one.within_mm), None)
    said = [] if strip_mm is None else [
        svg.at_end(f"dotted and squares: within one strip of {say_length(strip_mm)}",
                   WIDTH_PX - RIGHT_PX - 4, TOP_PX + 18, size=SIZE, css="p-soft p-halo")
    ]  # fmt: skip
    if len(within) < 2:
        return said
    points = [(across(length_mm), up(value)) for length_mm, value in within]
    return [svg.stroke(_line(points), "p-range-line", width=2, dash="2 4"), *said]


def _told(
    expected: Sequence[Along],
    measured: Sequence[Measured],
    within: Sequence[tuple[float, float]],
    limit: float,
    limit_words: str,
) -> str:
    ends = [expected[0], expected[len(expected) // 2], expected[-1]]
    told = [
        f"pieces of {say_length(one.length_mm)} {one.mid:.1f} (from {one.low:.1f} to {one.high:.1f})"
        for one in ends
    ]
    told += [f"within one strip pieces of {say_length(mm)} {value:.1f}" for mm, value in within[:1]]
    told += [f"measured at {say_length(one.length_mm)} {one.found:.1f}" for one in measured]
    return f"{'; '.join(told)}; {limit_words} at {limit:.1f}"
