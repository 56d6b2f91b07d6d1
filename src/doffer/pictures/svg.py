"""Writing SVG text: escaped, without style attributes, numbers short; the frame that every picture shares."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable, Iterator, Sequence
from html import escape
from typing import Final

Point = tuple[float, float]
MIN_TEXT_PX: Final = 14
TEXT_PX: Final = 15
WIDTH_OF_LETTER: Final = 0.58  # of the type size, for the bold figures and capitals of this typeface
MM_PER_PX: Final = 25.4 / 96  # a CSS pixel, by definition
KAPPA: Final = 1 / 6  # Catmull-Rom to Bezier

Attribute = str | float | int | None


def num(value: float) -> str:
    """A coordinate with at most two decimals."""
    return _short(f"{value:.2f}")


def near(value: float) -> str:
    """A coordinate with one decimal: enough for the bends of fibre, and half the page to send."""
    return _short(f"{value:.1f}")


def _short(text: str) -> str:
    text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def el(tag: str, *children: str, **attributes: Attribute) -> str:
    """One element: `class_` becomes class, underscores hyphens, None is left out; children are SVG text."""
    parts = [tag]
    for name, value in attributes.items():
        if value is None:
            continue
        shown = value if isinstance(value, str) else num(value)
        parts.append(f'{name.rstrip("_").replace("_", "-")}="{escape(shown)}"')
    body = "".join(children)
    return f"<{' '.join(parts)}>{body}</{tag}>" if body else f"<{' '.join(parts)}/>"


def words(text: str, x: float, y: float, *, size: float = TEXT_PX, css: str = "", **more: Attribute) -> str:
    """A line of text, escaped."""
    if size < MIN_TEXT_PX:
        raise AssertionError(f"text of {size} px is too small to read")
    return el("text", escape(text), x=x, y=y, font_size=size, class_=css or None, **more)


def at_end(text: str, x: float, y: float, *, size: float = TEXT_PX, css: str = "", **more: Attribute) -> str:
    """A line of text that ends at x."""
    return words(text, x, y, size=size, css=css, text_anchor="end", **more)


def amid(text: str, x: float, y: float, *, size: float = TEXT_PX, css: str = "", **more: Attribute) -> str:
    """A line of text with its middle at x."""
    return words(text, x, y, size=size, css=css, text_anchor="middle", **more)


def stroke(path: str, css: str, *, width: float = 2, dash: str | None = None, **more: Attribute) -> str:
    """An open line; its colour comes by class."""
    return el(
        "path",
        d=path,
        fill="none",
        class_=css,
        stroke_width=width,
        stroke_dasharray=dash,
        stroke_linecap="round",
        **more,
    )


def letters_width(text: str, size: float = TEXT_PX) -> float:
    """About how wide a text will be drawn [px]; wide enough for the bold face."""
    return len(text) * size * WIDTH_OF_LETTER


def picture(
    width: float,
    height: float,
    title: str,
    desc: str,
    body: Iterable[str],
    *,
    has_links: bool = False,
    css: str = "picture",
) -> str:
    """The whole picture: without links one image; with links a group, so that each link is met by itself."""
    return el(
        "svg",
        el("title", escape(title)),
        el("desc", escape(desc)),
        *body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {num(width)} {num(height)}",
        width=width,
        height=height,
        class_=css,
        role="group" if has_links else "img",
        aria_label=f"{title}. {desc}" if desc else title,
    )


def link(href: str, *children: str, label: str = "") -> str:
    """A link inside a picture."""
    return el("a", " ".join(children), href=href, class_="tuft-link", aria_label=label or None)


def hit(x: float, y: float, width: float, height: float) -> str:
    """An unseen field to touch, laid over what it belongs to."""
    return el("rect", x=x, y=y, width=width, height=height, class_="p-hit")


def told(said: str, drawn: str, **more: Attribute) -> str:
    """A part of a picture that tells `said` to a pointer resting on it; put around a link, never inside."""
    return el("g", el("title", escape(said)), drawn, **more)


def polygon_area(points: Sequence[Point]) -> float:
    """Area enclosed by straight lines through the points."""
    shifted = [*points[1:], points[0]]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, shifted, strict=True))) / 2


def _bends(points: Sequence[Point]) -> Iterator[tuple[Point, Point, Point, Point]]:
    """The cubic curves of a closed smooth line: start, two handles, end."""
    count = len(points)
    for i in range(count):
        before, here, there, after = (points[(i + k) % count] for k in (-1, 0, 1, 2))
        c1 = (here[0] + (there[0] - before[0]) * KAPPA, here[1] + (there[1] - before[1]) * KAPPA)
        c2 = (there[0] - (after[0] - here[0]) * KAPPA, there[1] - (after[1] - here[1]) * KAPPA)
        yield here, c1, c2, there


def smooth_closed(points: Sequence[Point]) -> str:
    """Path data of a closed smooth line through the points."""
    data = [f"M{near(points[0][0])} {near(points[0][1])}"]
    data += ["C" + " ".join(f"{near(x)} {near(y)}" for x, y in bend[1:]) for bend in _bends(points)]
    return "".join(data) + "Z"


def smooth_area(points: Sequence[Point]) -> float:
    """Area inside the smooth line through the points: ``1/2 sum (x dy - y dx)`` along its curves, exactly."""
    twice = 0.0
    for bend in _bends(points):
        for i, j, weight in CUBIC_AREA:
            twice += weight * (bend[i][0] * bend[j][1] - bend[j][0] * bend[i][1])
    return abs(twice) / 2


# The integral of x dy - y dx along a cubic curve, as a sum over pairs of its points (from its definition).
CUBIC_AREA = ((0, 1, 0.6), (0, 2, 0.3), (0, 3, 0.1), (1, 2, 0.3), (1, 3, 0.3), (2, 3, 0.6))


def wave(x: float, y: float, length: float, *, rise: float, half: float) -> str:
    """Path data of a crimp: half waves of the length `half`, `rise` high."""
    count = max(2, round(length / half))
    step = length / count
    return f"M{near(x)} {near(y)}q{near(step / 2)} {near(-2 * rise)} {near(step)} 0" + f"t{near(step)} 0" * (
        count - 1
    )


def band(left: Point, right: Point, thick_left: float, thick_right: float) -> str:
    """Path data of a ribbon, level where it leaves `left` and meets `right` (its upper edges)."""
    (x0, y0), (x1, y1) = left, right
    middle = (x0 + x1) / 2
    return (
        f"M{num(x0)} {num(y0)}C{num(middle)} {num(y0)} {num(middle)} {num(y1)} {num(x1)} {num(y1)}"
        f"V{num(y1 + thick_right)}C{num(middle)} {num(y1 + thick_right)} {num(middle)} {num(y0 + thick_left)}"
        f" {num(x0)} {num(y0 + thick_left)}Z"
    )


def steady_numbers(seed: str, count: int) -> list[float]:
    """Numbers in 0..1 that look random and are the same for the same seed, everywhere and always."""
    numbers: list[float] = []
    block = 0
    while len(numbers) < count:
        digest = hashlib.sha256(f"{seed}/{block}".encode()).digest()
        numbers.extend(value / 0xFFFFFFFF for value in struct.unpack(">8I", digest))
        block += 1
    return numbers[:count]
