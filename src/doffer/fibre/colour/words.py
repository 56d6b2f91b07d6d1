"""A colour difference in words a dyer uses: lighter or darker, stronger or less strong, towards which hue."""

from __future__ import annotations

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000, de2000_parts

TOLD_PART = 0.3  # a part below this share of the whole difference is not worth a word
GREY_CHROMA = 6.0  # below this a colour has no hue to speak of; red-green and yellow-blue are told instead
NEAR_AXIS_DEG = 25.0  # nearer than this to an axis a colour already is that hue and turns towards the next
OTHER_HUE_DEG = 60.0  # farther than this it is another colour: red beside green is redder, not yellower
AXES = ((0.0, "redder"), (90.0, "yellower"), (180.0, "greener"), (270.0, "bluer"))


def difference_words(standard: Floats, sample: Floats, *, least_de: float = 0.0) -> tuple[str, ...]:
    """How a sample differs from a standard, largest part first; empty when they differ less than `least_de`.

    Parts are the lightness, chroma and hue terms of CIEDE2000; for near-greys the hue and chroma give way to
    red-green and yellow-blue.

    Parameters
    ----------
    standard, sample : ndarray, shape (3,)
        L*a*b* under the same light.
    least_de : float
        Differences below this are not told (CIEDE2000).

    >>> difference_words(np.array([50.0, 20, 10]), np.array([47.0, 14, 6]))
    ('less strong', 'darker')
    """
    standard, sample = np.asarray(standard, dtype=np.float64), np.asarray(sample, dtype=np.float64)
    whole = float(de2000(standard, sample))
    if whole == 0 or whole < least_de:
        return ()
    told = [
        (size, word) for size, word in _parts(standard, sample) if abs(size) >= TOLD_PART * whole and word
    ]
    return tuple(word for _, word in sorted(told, key=lambda one: -abs(one[0])))


def _parts(standard: Floats, sample: Floats) -> list[tuple[float, str]]:
    """Size and word of each part of a difference."""
    parts = de2000_parts(standard, sample)
    light = float(parts.lightness)
    found = [(light, "lighter" if light > 0 else "darker")]
    if min(np.hypot(*standard[1:]), np.hypot(*sample[1:])) < GREY_CHROMA:
        red, yellow = (float(x) for x in sample[1:] - standard[1:])
        found += [
            (red, "redder" if red > 0 else "greener"),
            (yellow, "yellower" if yellow > 0 else "bluer"),
        ]
        return found
    chroma, hue = float(parts.chroma), float(parts.hue)
    from_deg, to_deg = (float(np.degrees(np.arctan2(lab[2], lab[1])) % 360) for lab in (standard, sample))
    apart_deg = abs((to_deg - from_deg + 180) % 360 - 180)
    word = _nearest_axis(to_deg) if apart_deg > OTHER_HUE_DEG else _hue_word(from_deg, hue)
    found += [(chroma, "stronger" if chroma > 0 else "less strong"), (hue, word)]
    return found


def _nearest_axis(hue_deg: float) -> str:
    """The word of the axis a hue stands nearest to: for another colour altogether, not a turn of the same."""
    return min(AXES, key=lambda axis: abs((hue_deg - axis[0] + 180) % 360 - 180))[1]


def _hue_word(hue_deg: float, turn: float) -> str:
    """The axis a hue turns towards; one it already stands on is passed over."""
    way = 1 if turn > 0 else -1
    return min(AXES, key=lambda axis: _way_to(axis[0], hue_deg, way))[1]


def _way_to(axis_deg: float, hue_deg: float, way: int) -> float:
    """Degrees to turn until an axis is reached; an axis that is already close counts as a whole turn away."""
    gap_deg = (way * (axis_deg - hue_deg)) % 360
    return gap_deg if gap_deg >= NEAR_AXIS_DEG else gap_deg + 360
