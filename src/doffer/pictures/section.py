"""The fibres in the section of a yarn: each as thick beside the others as it is, by lots of the blend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.pictures import svg
from doffer.pictures.svg import el
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

SIZE_PX: Final = 300.0
RIM_PX: Final = 6.0
MOST_DRAWN: Final = 320
LEAST_DIAMETER_FRAC: Final = 0.35  # of the mean: no fibre is thinner in the picture
GOLDEN_RAD: Final = math.pi * (3 - math.sqrt(5))
PUSHES: Final = 14
PACKING_FRAC: Final = 0.52  # how close fibres are drawn; the count and the diameters are the yarn's
NEIGHBOURS: Final = (1, 2, 3, 5, 8, 13, 21, 34, 55, 89)  # in a sunflower they lie so many places on
ROOM: Final = 1.05
KEPT: Final = 64


@dataclass(frozen=True, slots=True)
class SectionPart:
    """Fibres of one lot in the section: how many, how thick [um], how far that varies [frac], its colour."""

    name: str
    fibres: float
    diameter_um: float
    diameter_cv_frac: float
    colour: str

    def __post_init__(self) -> None:
        if not self.fibres >= 0 or not self.diameter_um > 0 or not self.diameter_cv_frac >= 0:
            raise InputError(
                "fibres of " + self.name,
                (self.fibres, self.diameter_um, self.diameter_cv_frac),
                "a number of zero or more, a diameter above zero",
            )


def section(parts: Sequence[SectionPart], *, title: str = "Fibres across one single") -> str:
    """A section of a single with every fibre drawn, up to 320 of them.

    Diameters are spread as a laboratory finds them (normal, never thinner than a third of the mean).

    Raises
    ------
    InputError
        No fibre.
    """
    total = sum(part.fibres for part in parts)
    if not total >= 1:
        raise InputError("fibres across", total, "one or more")
    drawn = _drawn(tuple(parts))
    middle = SIZE_PX / 2
    ring = el("circle", cx=middle, cy=middle, r=middle - RIM_PX / 2, class_="p-wash p-edge", stroke_width=2)
    return svg.picture(
        SIZE_PX, SIZE_PX, title, words_of(parts), [ring, *drawn], css="picture picture-section"
    )


def words_of(parts: Sequence[SectionPart]) -> str:
    """The count in words: "139 fibres: 84 of L008 at 24.5 micron and 55 of L009 at 27.5 micron"."""
    total = sum(part.fibres for part in parts)
    each = [f"{part.fibres:.0f} of {part.name} at {say(part.diameter_um, 'um')}" for part in parts]
    words = f"About {total:.0f} fibres: {say_list(each)}"
    if total > MOST_DRAWN:
        words += f"; {MOST_DRAWN} of them drawn"
    return words


@lru_cache(maxsize=KEPT)
def _drawn(parts: tuple[SectionPart, ...]) -> tuple[str, ...]:
    """A path of circles per lot, mixed as the card mixes them."""
    diameters, owners = _fibres(parts)
    places = _packed(diameters)
    reach = float((np.hypot(*places.T) + diameters / 2).max())
    scale = (SIZE_PX / 2 - RIM_PX - 2) / reach
    shapes = []
    for k, part in enumerate(parts):
        data = "".join(
            _circle(SIZE_PX / 2 + x * scale, SIZE_PX / 2 + y * scale, d * scale / 2)
            for (x, y), d in zip(places[owners == k], diameters[owners == k], strict=True)
        )
        if data:
            shapes.append(el("path", d=data, fill=part.colour, class_="fibre-fill tuft-edge", stroke_width=2))
    return tuple(shapes)


def _fibres(parts: tuple[SectionPart, ...]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Diameters [um] and lots of the fibres drawn, in chance order; the same for the same blend always."""
    total = sum(part.fibres for part in parts)
    less = min(1.0, MOST_DRAWN / total)
    rng = np.random.default_rng(20_260_302)
    diameters, owners = [], []
    for k, part in enumerate(parts):
        n = round(part.fibres * less)
        spread = rng.normal(part.diameter_um, part.diameter_cv_frac * part.diameter_um, n)
        diameters.append(np.maximum(spread, LEAST_DIAMETER_FRAC * part.diameter_um))
        owners.append(np.full(n, k))
    order = rng.permutation(sum(len(each) for each in owners))
    return np.concatenate(diameters)[order], np.concatenate(owners)[order]


def _packed(diameters: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places of fibres, shape (n, 2): a sunflower's, pushed apart until they hardly overlap."""
    n = len(diameters)
    radius = math.sqrt(float((diameters**2).sum()) / PACKING_FRAC) / 2
    k = np.arange(n)
    out = radius * np.sqrt((k + 0.5) / n)
    places = np.stack([out * np.cos(k * GOLDEN_RAD), out * np.sin(k * GOLDEN_RAD)], axis=1)
    for _ in range(PUSHES):
        push = np.zeros_like(places)
        for step in NEIGHBOURS:
            if step >= n:
                break
            apart = places[step:] - places[:-step]
            distance = np.maximum(np.hypot(*apart.T), 1e-9)
            short = np.clip((diameters[step:] + diameters[:-step]) / 2 * ROOM - distance, 0, None)
            shift = apart * (short / distance / 2)[:, None]
            push[step:] += shift
            push[:-step] -= shift
        places = places + push
    return np.asarray(places)


def _circle(x: float, y: float, radius: float) -> str:
    """Path data of a circle."""
    r, across = svg.near(radius), svg.near(2 * radius)
    return f"M{svg.near(x - radius)} {svg.near(y)}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0"
