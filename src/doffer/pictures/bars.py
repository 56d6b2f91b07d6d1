"""Bars that carry a range: one figure against its promise, and the weights of a plan stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say, say_range, say_spread

BAR_PX: Final = 260.0
TEXT_PX: Final = 15.0
SMALL_PX: Final = float(svg.MIN_TEXT_PX)
ROW_PX: Final = 46.0
LADDER_PX: Final = 328.0
THICK_PX: Final = 16.0


@dataclass(frozen=True, slots=True)
class Rung:
    """A stage of the ladder: weight after it, its 90 % range, and what was weighed once it is done [g]."""

    name: str
    mass_g: float
    low_g: float
    high_g: float
    weighed_g: float | None = None
    note: str = ""


def range_bar(
    mean: float,
    *,
    low: float,
    high: float,
    promise: float | None = None,
    unit: str = "g",
    largest: float | None = None,
    name: str = "Expected",
    system: str = "metric",
    width: float = BAR_PX,
) -> str:
    """A small bar beside a figure: the range as a band, what is expected as a mark, the promise as a post.

    Raises
    ------
    InputError
        Low, mean and high are not in rising order.
    """
    _check_range(mean, low, high)
    end = max(high, promise or 0.0) * 1.08 if largest is None else largest
    start = 0.0 if low < 0.5 * end else low - (end - low) * 0.6
    at = [4 + (value - start) / max(end - start, 1e-12) * (width - 8) for value in (low, mean, high)]
    parts = [
        el("path", d=f"M4 16H{num(width - 4)}", class_="p-edge", stroke_width=2, stroke_linecap="round"),
        el("rect", x=at[0], y=8, width=max(2.0, at[2] - at[0]), height=16, rx=4, class_="p-range range-band"),
        el(
            "path",
            d=f"M{num(at[1])} 4V28",
            class_="p-range-line range-mean",
            stroke_width=4,
            stroke_linecap="round",
        ),
    ]
    desc = say_spread(mean, low, high, unit, system)
    if promise is not None:
        x = 4 + (promise - start) / max(end - start, 1e-12) * (width - 8)
        post = f"M{num(x)} 2V30M{num(x)} 2h9l-3 4 3 4h-9"
        parts.append(el("path", d=post, fill="none", class_="p-promise range-promise", stroke_width=2.5))
        desc += f"; promised {say(promise, unit, system)}"
    return svg.picture(width, 32, name, desc, parts, css="picture-fixed inline-picture")


def stage_ladder(
    rungs: Sequence[Rung], *, colour: str, system: str = "metric", width: float = LADDER_PX
) -> str:
    """The weights of a plan from stage to stage as shrinking bars; the end of each bar is soft by its range.

    A rung that has been weighed carries a post at what the scale said.
    """
    if not rungs:
        raise InputError("stages", 0, "at least one stage")
    for rung in rungs:
        _check_range(rung.mass_g, rung.low_g, rung.high_g)
    scale = (width - 8) / max(max(rung.high_g, rung.weighed_g or 0.0) for rung in rungs)
    parts = [_rung(rung, k * ROW_PX, colour, scale, system, width) for k, rung in enumerate(rungs)]
    desc = "; ".join(
        f"after {rung.name} {say_spread(rung.mass_g, rung.low_g, rung.high_g, 'g', system)}" for rung in rungs
    )
    css = "picture picture-tall" if width <= LADDER_PX else "picture"
    return svg.picture(width, ROW_PX * len(rungs) + 4, "Weight from stage to stage", desc, parts, css=css)


def _check_range(mean: float, low: float, high: float) -> None:
    if not low <= mean <= high:
        raise InputError("range", f"{low} to {high}", f"around the expected {mean}")


def _rung(rung: Rung, y: float, colour: str, scale: float, system: str, width: float) -> str:
    low, mean, high = (4 + mass * scale for mass in (rung.low_g, rung.mass_g, rung.high_g))
    top = y + 24
    words = say(rung.mass_g, "g", system)
    spread = "" if rung.low_g == rung.high_g else say_range(rung.low_g, rung.high_g, "g", system)
    parts = [
        svg.words(rung.name, 4, y + 17, size=TEXT_PX),
        svg.words(words, width - 4, y + 17, size=TEXT_PX, css="p-bold", text_anchor="end"),
        svg.at_end(spread, width - 16 - svg.letters_width(words), y + 17, size=SMALL_PX, css="p-range-text"),
        el("rect", x=4, y=top, width=max(1.0, mean - 4), height=THICK_PX, rx=3, fill=colour,
           class_="fibre-fill tuft-edge rung", stroke_width=2),
        el("rect", x=low, y=top + 3, width=high - low, height=THICK_PX - 6, class_="p-range rung-range"),
    ]  # fmt: skip
    if rung.weighed_g is not None:
        x = 4 + rung.weighed_g * scale
        parts.append(
            svg.stroke(f"M{num(x)} {num(top - 3)}v{num(THICK_PX + 6)}", "p-ink-line rung-weighed", width=4)
        )
    return "".join(parts)
