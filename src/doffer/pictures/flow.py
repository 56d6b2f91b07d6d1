"""The river: one lot from bag to product, as wide as its weight, each loss falling away with its name.

The same number of pixels per gram holds everywhere in one picture. The soft band along the edge is the range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say, say_range, say_short_mass
from doffer.pictures.words import say_list

RIVER_PX: Final = 150.0  # thickness of the river at its widest
TALL_RIVER_PX: Final = 112.0
STEP_PX: Final = 100.0
WIDE_PX: Final = 1240.0
FIRST_PX: Final = 64.0
TOP_PX: Final = 62.0
FALL_PX: Final = 44.0
FALL_ASIDE_PX: Final = 34.0
NAME_ROWS_PX: Final = 44.0
LEAST_STREAM_PX: Final = 2.0
TALL_PX: Final = 328.0
TALL_STEP_PX: Final = 70.0
TALL_ROW_PX: Final = 21.0
TEXT_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)


@dataclass(frozen=True, slots=True)
class RiverStep:
    """One stage of the river: what is kept after it, with its 90 % range, and what leaves it by name [g]."""

    name: str
    mass_g: float
    low_g: float | None = None
    high_g: float | None = None
    losses: tuple[tuple[str, float], ...] = ()

    @property
    def range_g(self) -> tuple[float, float]:
        """Low and high weight; the weight itself where there is no range."""
        low = self.mass_g if self.low_g is None else self.low_g
        return low, self.mass_g if self.high_g is None else self.high_g


@dataclass(frozen=True, slots=True)
class Brush:
    """What every stroke of one river shares."""

    scale: float
    colour: str
    system: str


def river(
    source: str, start_g: float, steps: Sequence[RiverStep], *, colour: str, system: str = "metric"
) -> str:
    """From raw at the left to product at the right; width = weight, so that taking up water widens it.

    Raises
    ------
    InputError
        Nothing to start with, or no stage.
    """
    brush = Brush(RIVER_PX / _widest(start_g, steps), colour, system)
    fair = (WIDE_PX - 2 * FIRST_PX) / len(steps)
    step_px = max(STEP_PX, fair, *(svg.letters_width(step.name, TEXT_PX) + 14 for step in steps))
    xs = [FIRST_PX + i * step_px for i in range(len(steps) + 1)]
    masses = [start_g, *(step.mass_g for step in steps)]
    streams: list[str] = []
    bottom = TOP_PX + masses[0] * brush.scale
    for i, step in enumerate(steps):
        drawn, lowest = _streams(xs[i], TOP_PX + masses[i] * brush.scale, step, brush, lower=i % 2 == 1)
        streams.append(drawn)
        bottom = max(bottom, lowest, TOP_PX + step.range_g[1] * brush.scale)
    names = [source, *(step.name for step in steps)]
    stations = [
        _station(x, name, say_short_mass(m, system)) for x, name, m in zip(xs, names, masses, strict=True)
    ]
    body = [_body(xs, masses, brush), _rim(xs, start_g, steps, brush)]
    title, desc = _river_words(source, start_g, steps, system)
    return svg.picture(xs[-1] + FIRST_PX, bottom + 12, title, desc, [*streams, *body, *stations])


def river_tall(
    source: str, start_g: float, steps: Sequence[RiverStep], *, colour: str, system: str = "metric"
) -> str:
    """The same river from top to bottom, for a telephone: losses leave to the right, a line each."""
    brush = Brush(TALL_RIVER_PX / _widest(start_g, steps), colour, system)
    middle = TALL_RIVER_PX / 2 + 6
    y, before = 30.0, start_g
    streams: list[str] = []
    parts = [
        svg.words(source, 2, 18, size=TEXT_PX, css="p-bold"),
        svg.words(
            say_short_mass(start_g, system), TALL_PX - 2, 18, size=TEXT_PX, css="p-bold", text_anchor="end"
        ),
    ]
    for step in steps:
        drop = max(TALL_STEP_PX, 46.0 + TALL_ROW_PX * len(step.losses))
        parts.append(_tall_piece(middle, y, drop, before, step, brush))
        for k, loss in enumerate(step.losses):
            streams.append(
                _tall_stream(middle, before * brush.scale / 2, y + 10 + TALL_ROW_PX * k, loss, brush)
            )
        parts.append(_tall_station(middle, y + drop, step, brush))
        y += drop
        before = step.mass_g
    title, desc = _river_words(source, start_g, steps, system)
    return svg.picture(TALL_PX, y + 12, title, desc, [*streams, *parts], css="picture picture-tall")


def _widest(start_g: float, steps: Sequence[RiverStep]) -> float:
    if start_g <= 0 or not steps:
        raise InputError("start_g", start_g, "above zero, with at least one stage after it")
    return max(start_g, *(step.range_g[1] for step in steps))


def _curve(xs: Sequence[float], ys: Sequence[float], verb: str) -> str:
    """Path data of a line that runs level through every point."""
    data = [f"{verb}{num(xs[0])} {num(ys[0])}"]
    for i in range(1, len(xs)):
        middle = num((xs[i] + xs[i - 1]) / 2)
        data.append(f"C{middle} {num(ys[i - 1])} {middle} {num(ys[i])} {num(xs[i])} {num(ys[i])}")
    return "".join(data)


def _body(xs: Sequence[float], masses: Sequence[float], brush: Brush) -> str:
    lower = [TOP_PX + mass * brush.scale for mass in masses]
    data = f"M{num(xs[-1])} {num(TOP_PX)}H{num(xs[0])}" + _curve(xs, lower, "L") + "Z"
    return el("path", d=data, fill=brush.colour, class_="fibre-fill tuft-edge river-body", stroke_width=2)


def _rim(xs: Sequence[float], start_g: float, steps: Sequence[RiverStep], brush: Brush) -> str:
    """The range as a soft band along the lower edge, from the low weight to the high one."""
    low = [TOP_PX + mass * brush.scale for mass in (start_g, *(step.range_g[0] for step in steps))]
    high = [TOP_PX + mass * brush.scale for mass in (start_g, *(step.range_g[1] for step in steps))]
    data = _curve(xs, low, "M") + _curve(xs[::-1], high[::-1], "L") + "Z"
    return el("path", d=data, class_="p-range river-range", opacity=0.8)


def _station(x: float, name: str, mass: str) -> str:
    return "".join((
        el("path", d=f"M{num(x)} {num(TOP_PX - 10)}v8", class_="p-ink-line", stroke_width=2),
        svg.words(name, x, TOP_PX - 36, size=TEXT_PX, text_anchor="middle"),
        svg.words(mass, x, TOP_PX - 16, size=TEXT_PX, css="p-bold", text_anchor="middle"),
    ))  # fmt: skip


def _streams(x: float, edge: float, step: RiverStep, brush: Brush, *, lower: bool) -> tuple[str, float]:
    """The losses of one step, peeling off the lower edge one beside the other, each named where it ends.

    Every second step falls deeper, so that neighbouring names have room.
    """
    parts: list[str] = []
    lowest = edge
    names: list[str] = []
    aside = FALL_ASIDE_PX
    for k, (name, mass) in enumerate(step.losses):
        thick = max(LEAST_STREAM_PX, mass * brush.scale)
        behind = len(step.losses) - 1 - k
        fall = FALL_PX + (NAME_ROWS_PX if lower else 0) + NAME_ROWS_PX * behind
        start = edge - thick / 2
        across = aside + thick / 2
        aside += thick + 7
        path = f"M{num(x)} {num(start)}C{num(x + across)} {num(start)} {num(x + across)} {num(start + 12)}"
        path += f" {num(x + across)} {num(edge + fall)}"
        parts.append(_stroke(path, thick, brush.colour))
        is_alone = len(step.losses) == 1
        at = x + across - (0 if is_alone else thick / 2)
        names.append(_loss_name(at, edge + fall, name, say(mass, "g", brush.system), is_alone=is_alone))
        lowest = max(lowest, edge + fall + 38)
        edge -= thick
    return "".join((*reversed(parts), *names)), lowest


def _loss_name(x: float, y: float, name: str, mass: str, *, is_alone: bool) -> str:
    """Name and weight under the end of a stream; beside another stream they begin at its left edge."""
    anchor = "middle" if is_alone else "start"
    return svg.words(name, x, y + 17, size=SMALL_PX, css="p-halo", text_anchor=anchor) + svg.words(
        mass, x, y + 34, size=SMALL_PX, css="p-bold p-halo", text_anchor=anchor
    )


def _stroke(path: str, thick: float, colour: str) -> str:
    """A stream in the fibre's colour with a thin seen edge."""
    edge = el("path", d=path, fill="none", class_="tuft-edge", stroke_width=thick + 2, opacity=0.55)
    return edge + el(
        "path", d=path, fill="none", stroke=colour, stroke_width=thick, class_="fibre-stroke stream"
    )


def _tall_piece(middle: float, y: float, drop: float, before_g: float, step: RiverStep, brush: Brush) -> str:
    """A stretch of the tall river: its body, and the range at both banks."""
    low, high = (mass * brush.scale for mass in step.range_g)
    body = _taper(middle, y, drop, before_g * brush.scale, step.mass_g * brush.scale)
    end = num(y + drop)
    rim = f"M{num(middle - high / 2)} {end}H{num(middle - low / 2)}M{num(middle + low / 2)} {end}H"
    return el(
        "path", d=body, fill=brush.colour, class_="fibre-fill tuft-edge river-body", stroke_width=2
    ) + el(
        "path",
        d=rim + num(middle + high / 2),
        class_="p-range-line river-range",
        stroke_width=6,
        opacity=0.75,
    )


def _taper(middle: float, y: float, drop: float, first_px: float, second_px: float) -> str:
    bend, end = num(y + drop / 2), num(y + drop)
    a, b = first_px / 2, second_px / 2
    left, left_end, right, right_end = (num(middle + side) for side in (-a, -b, a, b))
    return (
        f"M{left} {num(y)}C{left} {bend} {left_end} {bend} {left_end} {end}"
        f"H{right_end}C{right_end} {bend} {right} {bend} {right} {num(y)}Z"
    )


def _tall_stream(middle: float, half_px: float, y: float, loss: tuple[str, float], brush: Brush) -> str:
    name, mass = loss
    thick = max(LEAST_STREAM_PX, mass * brush.scale)
    x = middle + half_px - thick / 2
    level = num(y + 4)
    path = f"M{num(x)} {num(y - 10)}C{num(x)} {level} {num(x + 4)} {level} {num(TALL_RIVER_PX + 24)} {level}"
    return "".join((
        _stroke(path, min(thick, TALL_ROW_PX - 3), brush.colour),
        svg.words(name, TALL_RIVER_PX + 30, y + 9, size=SMALL_PX, css="p-halo p-soft"),
        svg.at_end(say(mass, "g", brush.system), TALL_PX - 2, y + 9, size=SMALL_PX, css="p-halo p-soft"),
    ))  # fmt: skip


def _tall_station(middle: float, y: float, step: RiverStep, brush: Brush) -> str:
    edge = middle + step.range_g[1] * brush.scale / 2 + 4
    mass = say_short_mass(step.mass_g, brush.system)
    return "".join((
        el("path", d=f"M{num(edge)} {num(y)}H{num(TALL_RIVER_PX + 24)}", class_="p-ink-line", stroke_width=2),
        svg.words(step.name, TALL_RIVER_PX + 30, y + 5, size=TEXT_PX, css="p-bold"),
        svg.words(mass, TALL_PX - 2, y + 5, size=TEXT_PX, css="p-bold", text_anchor="end"),
    ))  # fmt: skip


def _river_words(source: str, start_g: float, steps: Sequence[RiverStep], system: str) -> tuple[str, str]:
    """The river as title and sentences."""
    said = [f"{source} {say(start_g, 'g', system)}"]
    for step in steps:
        kept = say(step.mass_g, "g", system)
        if step.low_g is not None and step.high_g is not None:
            kept += f" ({say_range(step.low_g, step.high_g, 'g', system)})"
        lost = say_list([f"{name} {say(mass, 'g', system)}" for name, mass in step.losses])
        said.append(f"after {step.name} {kept}" + (f", leaving {lost}" if lost else ""))
    return f"{source}, from raw to {steps[-1].name}", "; ".join(said)
