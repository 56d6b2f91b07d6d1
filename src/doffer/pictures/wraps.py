"""Yarn wrapped round a ruler, an inch of it, by each way of wrapping: the number alone says nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError
from doffer.pictures import colour as colours
from doffer.pictures import svg
from doffer.pictures.svg import el, num

WIDTH_PX: Final = 328.0
INCH_PX: Final = 300.0
EDGE_PX: Final = 14.0
ROW_PX: Final = 130.0
HIGH_PX: Final = 46.0
RULER_PX: Final = 30.0
MM_PER_IN: Final = 25.4
LEAN_FRAC: Final = 0.4  # of the way from one wrap to the next that a wrap leans over the ruler's face
MOST_WRAPS: Final = 80
LEAST_LINE_PX: Final = 2.0
LOFT_FRAC: Final = 0.62  # how pale the loft beside the body of a yarn is drawn


@dataclass(frozen=True, slots=True)
class WrapRow:
    """One way of wrapping: its words, and how often it goes round in an inch."""

    method: str
    per_inch: float


def wraps(rows: Sequence[WrapRow], *, thick_mm: float, colour: str, system: str = "metric") -> str:
    """An inch of ruler for each way of wrapping, the yarn on it as thick as it is beside the inch.

    Raises
    ------
    InputError
        No row, a number of wraps or a thickness that is not above zero.
    """
    if not rows or not thick_mm > 0 or any(not row.per_inch > 0 for row in rows):
        raise InputError("wraps", [row.per_inch for row in rows], "one way of wrapping or more, above zero")
    parts = [_row(row, k * ROW_PX, thick_mm, colour) for k, row in enumerate(rows)]
    desc = "; ".join(f"{say_wraps(row.per_inch, system)} {row.method}" for row in rows)
    return svg.picture(
        WIDTH_PX, ROW_PX * len(rows), "Wraps on a ruler", desc, parts, css="picture picture-tall"
    )


def say_wraps(per_inch: float, system: str = "metric") -> str:
    """Wraps in an inch, and in a centimetre where people think in those."""
    inch = f"{per_inch:.0f} wraps in an inch"
    return inch if system == "us" else f"{inch} ({per_inch / MM_PER_IN * 10:.1f} in 1 cm)"


def _row(row: WrapRow, y: float, thick_mm: float, colour: str) -> str:
    top = y + 36
    pitch = INCH_PX / row.per_inch
    thick = min(max(LEAST_LINE_PX, thick_mm / MM_PER_IN * INCH_PX), pitch * 0.96)
    lean = pitch * LEAN_FRAC
    count = min(MOST_WRAPS, round(row.per_inch))
    start = EDGE_PX + (INCH_PX - count * pitch) / 2 + pitch / 2
    middles = [start + k * pitch for k in range(count)]
    data = "".join(
        f"M{num(x - lean / 2)} {num(top + HIGH_PX)}L{num(x + lean / 2)} {num(top)}" for x in middles
    )
    loft = colours.mixed(colour, colours.WHITE, LOFT_FRAC)
    band = {"fill": "none", "stroke_linecap": "round"}
    return "".join((
        svg.words(f"{row.per_inch:.0f}", EDGE_PX, y + 16, size=17, css="p-bold"),
        svg.words(row.method, EDGE_PX + 30, y + 16, size=svg.MIN_TEXT_PX, css="p-soft"),
        el("rect", x=2, y=top + 8, width=WIDTH_PX - 4, height=RULER_PX, rx=3, class_="p-wash p-edge",
           stroke_width=2),
        el("path", d=data, stroke=loft, stroke_width=max(LEAST_LINE_PX, pitch * 0.94), **band),
        el("path", d=data, class_="p-edge", stroke_width=thick + 2, **band),
        el("path", d=data, stroke=colour, stroke_width=thick, **band),
        _inch(top + HIGH_PX + 18),
    ))  # fmt: skip


def _inch(y: float) -> str:
    """The inch from end to end, below the wraps."""
    middle, end = WIDTH_PX / 2, EDGE_PX + INCH_PX
    line = f"M{num(EDGE_PX)} {num(y - 6)}v12M{num(end)} {num(y - 6)}v12M{num(EDGE_PX)} {num(y)}"
    line += f"H{num(middle - 30)}M{num(middle + 30)} {num(y)}H{num(end)}"
    return svg.stroke(line, "p-ink-line") + svg.amid("1 inch", middle, y + 5, css="p-soft")
