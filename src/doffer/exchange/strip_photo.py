"""Photographs and scans of a roving strip: opened by the rules for photos, then measured.

A scale comes from a scanner's known resolution, from two marked points and their distance, or from a ruler's
ticks. The pictures are looked at and not kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.mill.commands.lots import opened
from doffer.process.evenness.strip_place import Box, Pixels, find_strip, linear_light, on_its_side
from doffer.process.evenness.strip_scale import Scale, scale_from_points, scale_from_ticks
from doffer.process.evenness.strip_scan import StripScan, scan_strip
from doffer.tables.loader import Tables

MM_PER_INCH = 25.4
TURN_PX = 640  # along, to tell how far a strip is turned


@dataclass(frozen=True, slots=True)
class Resolution:
    """A scanner's setting, dots per inch."""

    dots_per_inch: float


@dataclass(frozen=True, slots=True)
class Points:
    """Two points of the picture, as shares of its width and height, and how far apart they are."""

    first: tuple[float, float]
    second: tuple[float, float]
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Ruler:
    """Where a ruler's ticks lie, and their distance."""

    band: Box
    tick_mm: float = 1.0


Known = Resolution | Points | Ruler


def pixels_of(data: bytes, *, field: str = "photo") -> Pixels:
    """The bytes of a JPEG, PNG or WebP as upright red, green and blue, shape (h, w, 3).

    Raises
    ------
    InputError
        Too large in bytes or pixels, another kind of file, or a broken one.
    """
    picture, _ = opened(data, field=field)
    return np.array(picture.convert("RGB"))


def scale_of(rgb: Pixels, known: Known | None) -> Scale:
    """Millimetres in a pixel by what is known of the picture.

    Raises
    ------
    InputError
        Nothing known, or nothing that can be relied on.
    """
    height, width = rgb.shape[:2]
    match known:
        case Resolution(dots_per_inch) if np.isfinite(dots_per_inch) and dots_per_inch > 0:
            return Scale(MM_PER_INCH / dots_per_inch, 0.0)
        case Resolution(dots_per_inch):
            raise InputError("scanner's resolution", dots_per_inch, "above 0 dots per inch")
        case Points(first, second, distance_mm):
            for x, y in (first, second):
                if not (0 <= x <= 1 and 0 <= y <= 1):
                    raise InputError("point on the ruler", (x, y), "inside the picture")
            ends = [(x * width, y * height) for x, y in (first, second)]
            return scale_from_points(ends[0], ends[1], distance_mm=distance_mm)
        case Ruler(band, tick_mm):
            return _ticks(rgb, band, tick_mm)
        case None:
            how = "known: lay a ruler beside the strip and mark two points of it or frame its ticks"
            raise InputError("scale", None, how)


def _ticks(rgb: Pixels, band: Box, tick_mm: float) -> Scale:
    """The scale by the ruler's ticks; where they do not show along the rows, along the strip's direction."""
    try:
        return scale_from_ticks(rgb, band=band, tick_mm=tick_mm)
    except InputError:
        lying, box = (
            (rgb, band) if rgb.shape[1] >= rgb.shape[0] else (rgb.transpose(1, 0, 2), on_its_side(band))
        )
        turn_rad = find_strip(linear_light(lying, max(1, lying.shape[1] // TURN_PX))).turn_rad
        return scale_from_ticks(lying, band=box, tick_mm=tick_mm, turn_rad=turn_rad)


def scan_photo(
    data: bytes,
    *,
    known: Known | None,
    tables: Tables,
    white: bytes | None = None,
    slope_lab: Floats | None = None,
    ruler: Box | None = None,
) -> StripScan:
    """The stripes of a strip in a photograph or scan.

    Parameters
    ----------
    known : Resolution, Points or Ruler
        What gives the scale.
    white : bytes, optional
        White paper in the same place and light.
    slope_lab : ndarray, shape (3,), optional
        dLab for a share of 1 of the component that varies.
    ruler : Box, optional
        Where the whole ruler lies, where it is wider than the strip and could be taken for it.

    Raises
    ------
    InputError
        Not a picture that may be opened, no scale, or a strip that cannot be measured: each with its reason.
    """
    rgb = pixels_of(data)
    scale = scale_of(rgb, known)
    paper = None if white is None else pixels_of(white, field="picture of white paper")
    return scan_strip(
        rgb,
        mm_per_px=scale.mm_per_px,
        tables=tables,
        white=paper,
        slope_lab=slope_lab,
        without=ruler,
    )
