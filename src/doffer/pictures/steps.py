"""How far an order is: the line of places in small, a tuft where its fibre stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from doffer.pictures import svg, tuft
from doffer.pictures.svg import el, num
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

WIDE_PX: Final = 330.0
HIGH_PX: Final = 58.0
LINE_Y: Final = 32.0
LARGEST_AREA: Final = 520.0
SMALLEST_AREA: Final = 60.0
APART_PX: Final = 15.0


@dataclass(frozen=True, slots=True)
class Standing:
    """Fibre of an order at one place [g], in its colour."""

    lot: str
    place: str
    mass_g: float
    colour: str


def steps(places: Sequence[tuple[str, str]], standing: Sequence[Standing]) -> str:
    """The way through the mill as a short line; `places` are (key, name) in order.

    Before the foremost tuft the line is strong (done), behind it thin; the name of every place where fibre
    stands is written below. Fibre at a place outside the line (the store) is named, not drawn.
    """
    keys = [key for key, _ in places]
    gap = (WIDE_PX - 40) / max(1, len(keys) - 1)
    at = {key: 20 + gap * place for place, key in enumerate(keys)}
    names = dict(places)
    on_line = [each for each in standing if each.place in at]
    parts = [svg.stroke(f"M20 {num(LINE_Y)}H{num(WIDE_PX - 20)}", "p-line", width=2)]
    if on_line:
        reached = max(at[each.place] for each in on_line)
        parts.append(svg.stroke(f"M20 {num(LINE_Y)}H{num(reached)}", "p-strand", width=5))
    parts += [el("circle", cx=x, cy=LINE_Y, r=3, class_="p-bar") for x in at.values()]
    heaviest = max((each.mass_g for each in on_line), default=1.0)
    parts += [_tuft(each, x, heaviest) for each, x in _side_by_side(on_line, at)]
    aside = [each.place for each in standing if each.place not in at]
    if aside and not on_line:
        parts.append(
            svg.words(
                f"in {say_list(sorted(set(aside)))}",
                0,
                HIGH_PX - 4,
                size=float(svg.MIN_TEXT_PX),
                css="p-soft",
            )
        )
    parts += _names([key for key in keys if any(each.place == key for each in on_line)], at, names)
    words = [
        f"{each.lot} {say(each.mass_g, 'g')} at {names.get(each.place, each.place)}" for each in standing
    ]
    desc = say_list(words) if words else "nothing of it is in the mill yet"
    return svg.picture(WIDE_PX, HIGH_PX, "How far it is", desc, parts, css="picture-fixed")


def _side_by_side(on_line: Sequence[Standing], at: dict[str, float]) -> list[tuple[Standing, float]]:
    """Where each tuft stands: lots at one place a little apart, the heaviest behind."""
    placed: list[tuple[Standing, float]] = []
    for place, x in at.items():
        here = sorted((each for each in on_line if each.place == place), key=lambda one: -one.mass_g)
        first = max(14.0, x - APART_PX * (len(here) - 1) / 2)
        placed += [(each, first + APART_PX * number) for number, each in enumerate(here)]
    return placed


def _tuft(each: Standing, x: float, heaviest_g: float) -> str:
    area = max(SMALLEST_AREA, LARGEST_AREA * each.mass_g / heaviest_g)
    return el(
        "g", tuft.shape(each.lot, area, each.colour), transform=f"translate({num(x)} {num(LINE_Y - 8)})"
    )


def _names(keys: Sequence[str], at: dict[str, float], names: dict[str, str]) -> list[str]:
    """Names of the places in use, as many as have room side by side."""
    parts: list[str] = []
    free_from = 0.0
    for key in keys:
        half = svg.letters_width(names[key], svg.MIN_TEXT_PX) / 2
        x = min(max(at[key], half), WIDE_PX - half)
        if x - half >= free_from:
            parts.append(svg.amid(names[key], x, HIGH_PX - 4, size=float(svg.MIN_TEXT_PX), css="p-soft"))
            free_from = x + half + 8
    return parts
