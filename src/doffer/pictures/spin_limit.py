"""How far a yarn is from the limit of spinning: fewest fibres, comfortable, and this yarn."""

from __future__ import annotations

import math
from typing import Final

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el, num

WIDTH_PX: Final = 328.0
HEIGHT_PX: Final = 96.0
BAR_TOP_PX: Final = 34.0
BAR_PX: Final = 26.0
EDGE_PX: Final = 4.0
LOWEST_TIMES, HIGHEST_TIMES = 0.5, 3.0  # the bar runs from half the fewest to three times the comfortable
WAVE_PX: Final = 8.0


def spin_limit(*, fibres: float, fewest: float, comfortable: float, width: float = WIDTH_PX) -> str:
    """A bar of fibres across: too few to hold, holding with care, running well; a post where this yarn is.

    Equal steps along the bar are equal ratios. A yarn beyond either end stands at that end.

    Raises
    ------
    InputError
        Not ``0 < fewest < comfortable``, or no fibre.
    """
    if not 0 < fewest < comfortable or not fibres > 0:
        raise InputError(
            "fibres across", (fibres, fewest, comfortable), "above zero, fewest below comfortable"
        )
    low, high = LOWEST_TIMES * fewest, HIGHEST_TIMES * comfortable

    def at(value: float) -> float:
        way = math.log(value / low) / math.log(high / low)
        return EDGE_PX + min(1.0, max(0.0, way)) * (width - 2 * EDGE_PX)

    hard, good, here = at(fewest), at(comfortable), at(fibres)
    bottom = BAR_TOP_PX + BAR_PX
    hatch = "".join(
        f"M{num(x)} {num(bottom)}L{num(min(hard, x + BAR_PX / 2))} {num(BAR_TOP_PX)}"
        for x in _every(EDGE_PX, hard - BAR_PX / 2, WAVE_PX)
    )
    parts = [
        el("rect", x=good, y=BAR_TOP_PX, width=width - EDGE_PX - good, height=BAR_PX, class_="p-range"),
        el("rect", x=hard, y=BAR_TOP_PX, width=good - hard, height=BAR_PX, class_="p-caution-wash"),
        svg.stroke(hatch, "p-promise"),
        el("rect", x=EDGE_PX, y=BAR_TOP_PX, width=width - 2 * EDGE_PX, height=BAR_PX, fill="none",
           class_="p-edge", stroke_width=2),
        svg.stroke(f"M{num(hard)} {num(BAR_TOP_PX)}V{num(bottom + 6)}M{num(good)} {num(BAR_TOP_PX)}"
                   f"V{num(bottom + 6)}", "p-ink-line"),
        *_marks(hard, good, fewest, comfortable, bottom + 24),
        el("path", d=f"M{num(here - 8)} {num(BAR_TOP_PX - 12)}h16l-8 11z", class_="p-ink"),
        svg.stroke(f"M{num(here)} {num(BAR_TOP_PX - 4)}V{num(bottom + 2)}", "p-ink-line", width=4),
        _label(f"{fibres:.0f}", here, BAR_TOP_PX - 16, width),
    ]  # fmt: skip
    desc = verdict_words(fibres=fibres, fewest=fewest, comfortable=comfortable)
    return svg.picture(
        width, HEIGHT_PX, "Fibres across, against the limit", desc, parts, css="picture picture-tall"
    )


def verdict_words(*, fibres: float, fewest: float, comfortable: float) -> str:
    """The bar in a sentence."""
    if fibres < fewest:
        return (
            f"{fibres:.0f} fibres across are too few: below {fewest:.0f} a frame does not hold them together"
        )
    if fibres < comfortable:
        return (
            f"{fibres:.0f} fibres across hold with care: the fewest is {fewest:.0f}, "
            f"from {comfortable:.0f} on it runs well"
        )
    return f"{fibres:.0f} fibres across run well: from {comfortable:.0f} on, and the fewest is {fewest:.0f}"


def _marks(hard: float, good: float, fewest: float, comfortable: float, y: float) -> list[str]:
    """The two numbers under the bar, each at its mark and apart from the other."""
    return [
        svg.at_end(f"fewest {fewest:.0f}", max(hard + 12, 78), y, css="p-soft"),
        svg.words(f"runs well from {comfortable:.0f}", max(good - 12, hard + 26), y, css="p-soft"),
    ]


def _label(text: str, x: float, y: float, width: float) -> str:
    half = svg.letters_width(text, 17) / 2
    return svg.amid(text, min(max(x, half), width - half), y, size=17, css="p-bold")


def _every(start: float, end: float, step: float) -> list[float]:
    return [start + step * k for k in range(max(0, math.floor((end - start) / step) + 1))]
