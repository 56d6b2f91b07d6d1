"""The way of a dye bath: temperature over minutes, its steps numbered, a dot where it should be now."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say, say_duration
from doffer.pictures.words import say_list
from doffer.planning.dye_curve import Stretch, temperature_at

WIDTH_PX: Final = 340.0
HEIGHT_PX: Final = 236.0
LEFT_PX: Final = 52.0
RIGHT_PX: Final = 16.0
TOP_PX: Final = 26.0
FLOOR_PX: Final = 196.0
COLDEST_C: Final = 10.0
HOTTEST_C: Final = 100.0
APART_C: Final = 14.0  # two temperatures nearer than this would be written over each other
APART_PX: Final = 54.0
BALL_PX: Final = 12.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)
# On paper no style sheet reaches the picture: these greys stand in there, and on screen the theme wins.
INK, EDGE, LINE, SHEET, WASH = "#000000", "#555555", "#999999", "#ffffff", "#e8e8e8"


def dye_line(line: Sequence[Stretch], *, now_min: float | None = None, system: str = "metric") -> str:
    """Temperature over time, each step with its number above it; minutes are counted from the start.

    `now_min` puts a dot where the bath should be; outside the steps there is none.

    Raises
    ------
    InputError
        No steps.
    """
    if not line:
        raise InputError("steps", 0, "one or more, with their minutes")
    whole_min = line[-1].end_min
    parts = [*_grid(line, system), _way(line)]
    parts += [_ball(number, part, whole_min) for number, part in enumerate(line, start=1)]
    parts += _clock(line)
    at_c = None if now_min is None else temperature_at(line, now_min)
    desc = say_list([_told(number, part, system) for number, part in enumerate(line, start=1)], "then")
    if now_min is not None and at_c is not None:
        x, y = _x(now_min, whole_min), _y(at_c)
        parts.append(
            svg.stroke(
                f"M{num(x)} {num(TOP_PX)}V{num(FLOOR_PX)}", "p-promise", width=2, dash="5 4", stroke=INK
            )
        )
        parts.append(
            el("circle", cx=x, cy=y, r=8, class_="dye-now p-promise", fill=SHEET, stroke=INK, stroke_width=3)
        )
        desc += f"; now {say_duration(now_min)} in, at {say(at_c, 'c', system)}"
    return svg.picture(
        WIDTH_PX, HEIGHT_PX, "Temperature of the bath", desc, parts, css="picture picture-tall"
    )


def _told(number: int, part: Stretch, system: str) -> str:
    minutes = say_duration(part.end_min - part.start_min)
    return f"{number} {part.what}, {minutes}, to {say(part.end_c, 'c', system)}"


def _x(minute: float, whole_min: float) -> float:
    return LEFT_PX + minute / whole_min * (WIDTH_PX - LEFT_PX - RIGHT_PX)


def _y(degrees_c: float) -> float:
    share = (degrees_c - COLDEST_C) / (HOTTEST_C - COLDEST_C)
    return FLOOR_PX - share * (FLOOR_PX - TOP_PX)


def _way(line: Sequence[Stretch]) -> str:
    whole_min = line[-1].end_min
    points = [(_x(0, whole_min), _y(line[0].start_c))]
    for part in line:
        points += [
            (_x(part.there_min, whole_min), _y(part.end_c)),
            (_x(part.end_min, whole_min), _y(part.end_c)),
        ]
    data = "M" + "L".join(f"{num(x)} {num(y)}" for x, y in points)
    under = f"{data}V{num(FLOOR_PX)}H{num(LEFT_PX)}Z"
    return el("path", d=under, class_="p-wash", fill=WASH) + svg.stroke(
        data, "p-ink-line dye-way", width=3, stroke=INK
    )


def _grid(line: Sequence[Stretch], system: str) -> list[str]:
    """A thin line for each temperature that can be written without touching another, the hottest first."""
    parts = [
        svg.stroke(
            f"M{num(LEFT_PX)} {num(FLOOR_PX)}H{num(WIDTH_PX - RIGHT_PX)}", "p-edge", width=2, stroke=EDGE
        )
    ]
    written: list[float] = []
    known = {part.end_c for part in line} | {line[0].start_c}
    for degrees_c in sorted(known, reverse=True):
        if any(abs(degrees_c - other) < APART_C for other in written):
            continue
        written.append(degrees_c)
        y = _y(degrees_c)
        parts.append(
            svg.stroke(f"M{num(LEFT_PX)} {num(y)}H{num(WIDTH_PX - RIGHT_PX)}", "p-line", width=1, stroke=LINE)
        )
        parts.append(svg.at_end(say(degrees_c, "c", system), LEFT_PX - 7, y + 5, size=SMALL_PX, css="p-soft"))
    return parts


def _ball(number: int, part: Stretch, whole_min: float) -> str:
    """The number of a step on the middle of its line, as in the list beside the picture."""
    middle_min = (part.start_min + part.end_min) / 2
    x, y = _x(middle_min, whole_min), _y(temperature_at([part], middle_min) or part.end_c)
    return el(
        "g",
        el(
            "circle",
            cx=x,
            cy=y,
            r=BALL_PX,
            class_="p-sheet p-ink-line",
            fill=SHEET,
            stroke=INK,
            stroke_width=2,
        ),
        svg.amid(str(number), x, y + 5, size=SMALL_PX, css="p-bold"),
    )


def _clock(line: Sequence[Stretch]) -> list[str]:
    """Minutes where a step ends, as many as stay apart; the last one always."""
    whole_min = line[-1].end_min
    parts, free_until = [], _x(whole_min, whole_min)
    for part in reversed(line):
        x = _x(part.end_min, whole_min)
        parts.append(svg.stroke(f"M{num(x)} {num(FLOOR_PX)}v6", "p-edge", width=2, stroke=EDGE))
        if x <= free_until:
            text = say_duration(part.end_min)
            is_last = part is line[-1]
            half = svg.letters_width(text, SMALL_PX)
            draw = svg.at_end if is_last else svg.amid
            parts.append(draw(text, x, FLOOR_PX + 24, size=SMALL_PX, css="p-soft"))
            free_until = x - (half if is_last else half / 2) - APART_PX / 2
    return parts
