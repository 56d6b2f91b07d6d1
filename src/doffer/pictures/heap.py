"""Heaping circles: each comes to rest in the lowest free spot, like bags of fibre on a floor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

OVERLAP_PX: Final = 1e-6
PULL_TO_MIDDLE: Final = 0.18  # how much a spot nearer to the middle is preferred over a lower one

Circle = tuple[float, float, float]


def heap(radii: Sequence[float], width: float, *, most_height: float = math.inf) -> list[Circle]:
    """Place circles one after the other on the floor y = 0 of a column 0..width; y grows upward.

    Returns (x, y, radius) in the order given; fewer than given once a circle would rise above `most_height`.
    A circle wider than the column stands in its middle.
    """
    placed: list[Circle] = []
    for radius in radii:
        spots = sorted(_spots(radius, width, placed), key=lambda spot: _cost(spot, width))
        above = max((y + r for _, y, r in placed), default=0.0) + radius
        x, y = next((spot for spot in spots if _is_free(spot, radius, placed)), (width / 2, above))
        if y + radius > most_height:
            break
        placed.append((x, y, radius))
    return placed


def _cost(spot: tuple[float, float], width: float) -> tuple[float, float]:
    """Low and near the middle comes first."""
    return spot[1] + PULL_TO_MIDDLE * abs(spot[0] - width / 2), spot[0]


def height_of(circles: Sequence[Circle]) -> float:
    """Top of the heap."""
    return max((y + r for _, y, r in circles), default=0.0)


def _spots(radius: float, width: float, placed: list[Circle]) -> list[tuple[float, float]]:
    """All places where the circle would touch two things: floor, wall, circles."""
    left, right = radius, width - radius
    if right < left:
        return []
    spots = [(x, radius) for x in (width / 2, left, right)]
    for x, y, r in placed:
        reach = radius + r
        aside = math.sqrt(max(0.0, reach**2 - (radius - y) ** 2))
        spots += [(x - aside, radius), (x + aside, radius)]
        for wall in (left, right):
            if abs(wall - x) <= reach:
                spots.append((wall, y + math.sqrt(reach**2 - (wall - x) ** 2)))
    for i, first in enumerate(placed):
        for second in placed[i + 1 :]:
            spots += _between(first, second, radius)
    return [
        (x, y) for x, y in spots if left - OVERLAP_PX <= x <= right + OVERLAP_PX and y >= radius - OVERLAP_PX
    ]


def _between(first: Circle, second: Circle, radius: float) -> list[tuple[float, float]]:
    """Centres of a circle that touches two others."""
    (x0, y0, r0), (x1, y1, r1) = first, second
    apart = math.hypot(x1 - x0, y1 - y0)
    reach0, reach1 = r0 + radius, r1 + radius
    if apart == 0 or apart > reach0 + reach1:
        return []
    along = (reach0**2 - reach1**2 + apart**2) / (2 * apart)
    rise = math.sqrt(max(0.0, reach0**2 - along**2))
    ux, uy = (x1 - x0) / apart, (y1 - y0) / apart
    return [(x0 + along * ux - side * rise * uy, y0 + along * uy + side * rise * ux) for side in (-1, 1)]


def _is_free(spot: tuple[float, float], radius: float, placed: list[Circle]) -> bool:
    return all(math.hypot(spot[0] - x, spot[1] - y) >= radius + r - 1e-3 for x, y, r in placed)
