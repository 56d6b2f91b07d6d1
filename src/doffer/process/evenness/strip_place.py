"""Where a strip of roving lies in a photograph, how it is turned, and the same strip laid straight.

The strip runs along the longer side of the picture, on ground of another colour. Everything here works on
linear light, so that the lens' fall-off and a white paper's picture are plain factors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.fibre.arrays import Bools, Floats
from doffer.fibre.colour.screen import decode

Pixels = NDArray[np.uint8]
Singles = NDArray[np.float32]
Box = tuple[float, float, float, float]  # left, top, right, bottom, as shares of the picture

MOST_TURN_DEG = 10.0
TURN_STEP_DEG = 0.5
SEARCH_PX = 320  # a strip is looked for in a picture of about this length
EDGE_ROWS = 0.03  # of the height, above and below: ground
LEAST_STEP = 0.035  # of encoded light 0..1 between ground and strip, about 4 L*
FILLED = 0.8  # of the strip's width: a column that belongs to it
WHOLE = 0.9  # of the columns between its ends
LEAST_LENGTH = 0.25  # of the picture's length
TRIMS = 3
SLACK_PX = 1.5  # of the small picture, above and below: half a step of direction at the strip's ends
LEVELS = 256
ROWS_AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class Place:
    """A strip in a picture: middle of its near end, direction, length and width, in pixels.

    Parameters
    ----------
    start_x, start_y : float
        Middle of the end that lies to the left [px].
    turn_rad : float
        Direction of the strip against the rows, positive downwards.
    length_px, width_px : float
        How long and how wide it is.
    """

    start_x: float
    start_y: float
    turn_rad: float
    length_px: float
    width_px: float


def on_its_side(box: Box) -> Box:
    """The same box where a picture's rows have become its columns."""
    return (box[1], box[0], box[3], box[2])


def linear_light(rgb: Pixels, factor: int = 1) -> Singles:
    """Linear light 0..1 of an sRGB picture, means of blocks of `factor` by `factor` pixels, shape (h, w, 3).

    Rows are taken a few at a time, so that a large picture is never held whole in floats.
    """
    curve = decode(np.arange(LEVELS) / (LEVELS - 1)).astype(np.float32)
    if factor <= 1:
        return np.asarray(curve[rgb])
    rows, columns = rgb.shape[0] // factor, rgb.shape[1] // factor
    out = np.empty((rows, columns, 3), dtype=np.float32)
    for first in range(0, rows, ROWS_AT_ONCE):
        last = min(first + ROWS_AT_ONCE, rows)
        out[first:last] = shrunk(curve[rgb[first * factor : last * factor]], factor)
    return out


def shrunk(linear: Singles, factor: int) -> Singles:
    """Means of blocks of `factor` by `factor` pixels, shape (h, w, 3) -> (h // factor, w // factor, 3)."""
    if factor <= 1:
        return linear
    rows, columns = linear.shape[0] // factor, linear.shape[1] // factor
    cut = linear[: rows * factor, : columns * factor]
    down = cut.reshape(rows, factor, columns * factor, -1).mean(axis=1, dtype=np.float32)
    return np.asarray(down.reshape(rows, columns, factor, -1).mean(axis=2, dtype=np.float32))


def find_strip(linear: Singles, *, without: Box | None = None) -> Place:
    """Where the strip lies: its middle line, direction, length and width.

    Colour against the ground's gives a mask (threshold by Otsu's rule); the direction is the one along which
    the mask has the sharpest profile; the middle line is then fitted by least squares to the middles of its
    columns.

    Parameters
    ----------
    linear : ndarray, shape (h, w, 3)
        Linear light, w >= h.
    without : Box, optional
        What to leave out, such as the ruler.

    Raises
    ------
    InputError
        No strip, more than 10 degrees askew, or full of holes.
    """
    factor = max(1, linear.shape[1] // SEARCH_PX)
    mask = _mask(shrunk(linear, factor), without)
    turn_rad, top, bottom = _band(mask)
    centre, turn_rad, columns, width = _line(mask, turn_rad, top, bottom)
    if abs(np.degrees(turn_rad)) > MOST_TURN_DEG:
        turned = f"turned by {abs(np.degrees(turn_rad)):.0f} degrees"
        raise InputError("strip in the photo", turned, f"within {MOST_TURN_DEG:g} degrees of a long edge")
    inset = 1 + abs(np.tan(turn_rad)) * width / 2
    first, last = columns[0] + inset, columns[1] - inset
    length = (last - first) / np.cos(turn_rad)
    if length < LEAST_LENGTH * mask.shape[1]:
        raise _not_found("too short to be one")
    start_y = centre + np.tan(turn_rad) * first
    # the middle of a small pixel is the middle of its block
    at_x, at_y = ((value + 0.5) * factor - 0.5 for value in (first, start_y))
    return Place(at_x, at_y, turn_rad, length * factor, width * np.cos(turn_rad) * factor)


def straight(linear: Singles, place: Place, *, inner_frac: float) -> Singles:
    """The inner part of the strip laid straight, one sample a pixel: shape (along, across, 3), bilinear."""
    along = np.arange(int(place.length_px), dtype=np.float32)
    count = max(1, int(place.width_px * inner_frac))
    across = np.arange(count, dtype=np.float32) - (count - 1) / 2
    cos, sin = np.cos(place.turn_rad), np.sin(place.turn_rad)
    x = (place.start_x + along[:, None] * cos - across[None] * sin).astype(np.float32)
    y = (place.start_y + along[:, None] * sin + across[None] * cos).astype(np.float32)
    return sampled(linear, x, y)


def sampled(linear: Singles, x: Singles, y: Singles) -> Singles:
    """Light between pixels, bilinear; outside the picture its edge."""
    height, width = linear.shape[:2]
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    left = np.minimum(x.astype(np.intp), max(width - 2, 0))
    top = np.minimum(y.astype(np.intp), max(height - 2, 0))
    right, below = (x - left)[..., None], (y - top)[..., None]
    flat = linear.reshape(-1, linear.shape[-1])
    at = top * width + left
    upper = flat[at] * (1 - right) + flat[at + min(1, width - 1)] * right
    at += width if height > 1 else 0
    lower = flat[at] * (1 - right) + flat[at + min(1, width - 1)] * right
    return np.asarray(upper * (1 - below) + lower * below, dtype=np.float32)


def _not_found(why: str) -> InputError:
    allowed = (
        "one strip along the picture's longer side, on ground of a colour that no part of it has "
        "(blue or green card serves most fibre)"
    )
    return InputError("strip in the photo", why, allowed)


def _mask(small: Singles, without: Box | None) -> Bools:
    """Which pixels differ from the ground, by the distance in encoded light."""
    tone = np.sqrt(np.clip(small, 0, None))  # near enough to how far apart two colours look
    edge = max(1, round(EDGE_ROWS * len(tone)))
    ground = np.median(np.concatenate([tone[:edge], tone[-edge:]]).reshape(-1, 3), axis=0)
    distance = np.sqrt(((tone - ground) ** 2).sum(axis=-1))
    if without is not None:
        height, width = distance.shape
        left, top, right, bottom = without
        rows = slice(int(top * height), int(np.ceil(bottom * height)))
        distance[rows, int(left * width) : int(np.ceil(right * width))] = 0
    cut = _otsu(distance)
    mask = np.asarray(distance > cut)
    if not mask.any() or mask.all() or distance[mask].mean() - distance[~mask].mean() < LEAST_STEP:
        raise _not_found("not to be seen")
    return mask


def _otsu(values: Floats) -> float:
    """The cut that leaves the least variance within its two sides (Otsu's rule, from memory)."""
    counts, edges = np.histogram(values, bins=LEVELS)
    middles = (edges[1:] + edges[:-1]) / 2
    below, total = np.cumsum(counts)[:-1], counts.sum()
    sums = np.cumsum(counts * middles)
    # both sides hold something, or there is nothing to tell apart
    apart = np.maximum(below * (total - below), 1)
    between = np.where(below < total, (sums[-1] * below / total - sums[:-1]) ** 2 / apart, 0)
    best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    return float(edges[int(np.median(best)) + 1])


def _band(mask: Bools) -> tuple[float, int, int]:
    """Direction with the sharpest profile, and first and last row of its heaviest run at mid-length."""
    height, width = mask.shape
    rows, columns = np.nonzero(mask)
    best = (-1.0, 0.0, np.zeros(1))
    for turn_deg in np.arange(-MOST_TURN_DEG - 2, MOST_TURN_DEG + 2.1, TURN_STEP_DEG):
        shift = np.rint(rows - np.tan(np.radians(turn_deg)) * (columns - width / 2)).astype(np.intp)
        profile = np.bincount(shift[(shift >= 0) & (shift < height)], minlength=height).astype(np.float64)
        sharp = float((profile**2).sum())
        if sharp > best[0]:
            best = (sharp, float(np.radians(turn_deg)), profile)
    _, turn_rad, profile = best
    high = np.concatenate([[False], profile > profile.max() / 2, [False]])
    starts, ends = np.flatnonzero(~high[:-1] & high[1:]), np.flatnonzero(high[:-1] & ~high[1:])
    sums = [profile[a:b].sum() for a, b in zip(starts, ends, strict=True)]
    heaviest = int(np.argmax(sums))
    return turn_rad, int(starts[heaviest]), int(ends[heaviest])


def _line(mask: Bools, turn_rad: float, top: int, bottom: int) -> tuple[float, float, tuple[int, int], float]:
    """Height of the middle line at the left edge, direction, first and last column, and width."""
    height, width = mask.shape
    columns = np.arange(width)
    middle = (top + bottom - 1) / 2 + np.tan(turn_rad) * (columns - width / 2)
    reach = (bottom - top) / 2 + SLACK_PX
    rows = np.arange(height)[:, None]
    near = mask & (np.abs(rows - middle) <= reach)
    filled = near.sum(axis=0)
    good = np.flatnonzero(filled >= FILLED * (bottom - top))
    if len(good) < 2 or len(good) < WHOLE * (good[-1] - good[0] + 1):
        raise _not_found("broken by holes" if len(good) else "not to be seen")
    centres = (near * rows).sum(axis=0)[good] / filled[good]
    kept = np.ones(len(good), dtype=bool)
    for _ in range(TRIMS):
        slope, centre = np.polyfit(good[kept], centres[kept], 1)
        off = np.abs(centres - (centre + slope * good))
        kept = off <= max(3 * float(np.median(off)), 0.5)
    return (
        float(centre),
        float(np.arctan(slope)),
        (int(good[0]), int(good[-1])),
        float(np.median(filled[good])),
    )
