"""A fibre's colour on a screen: from its spectrum to sRGB, and a flag where the screen cannot show it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import Light, lab_of_xyz, xyz_of_lab, xyz_of_reflectance
from doffer.tables.loader import Tables

PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # red, green, blue: the definition of sRGB
SCREEN_OBSERVER_DEG = 2
LINEAR_BELOW, LINEAR_SLOPE, GAMMA, TOE = 0.0031308, 12.92, 2.4, 0.055  # sRGB's transfer curve
FITS_WITHIN = 1e-4
HALVINGS = 24


@dataclass(frozen=True, slots=True)
class OnScreen:
    """A colour as a screen can show it: `hex`, how far that is from the true one, whether it counts as shown.

    `mapped_de` is CIEDE2000 between the fibre and the swatch; `is_shown` is False where it exceeds the limit
    of table constants: the swatch then says "screen cannot show this".
    """

    hex: str
    mapped_de: float
    is_shown: bool


def screen_colour(reflectance: Floats, screen_light: Light, tables: Tables) -> OnScreen:
    """A spectrum, shape (31,), on an sRGB screen (IEC 61966-2-1).

    Seen under D65 by the 2 degree observer of sRGB, whatever light and observer the mill measures with.
    Outside the screen's range chroma is lowered at constant CIELAB hue and lightness. The perfect diffuser is
    #ffffff.

    Raises
    ------
    InputError
        Another light than D65 / 2 degrees.
    """
    if (screen_light.illuminant, screen_light.observer_deg) != ("D65", SCREEN_OBSERVER_DEG):
        given = f"{screen_light.illuminant}/{screen_light.observer_deg}°"
        raise InputError("light of a screen", given, "D65/2°, which is what a screen shows")
    white = screen_light.white_xyz
    lab = lab_of_xyz(xyz_of_reflectance(reflectance, screen_light), white)
    lab = lab * (MOST_LIGHTNESS / max(float(lab[0]), MOST_LIGHTNESS))
    to_rgb = np.asarray(np.linalg.inv(_primaries(white)), dtype=np.float64)
    shown = _into_gamut(lab, white, to_rgb)
    mapped = float(de2000(lab, shown))
    rgb = np.clip(to_rgb @ xyz_of_lab(shown, white), 0, 1)
    return OnScreen(_hex(rgb), mapped, mapped <= tables.constants["screen_shown"].value)


def linear_rgb(reflectance: Floats, screen_light: Light) -> Floats:
    """Linear screen light of spectra, shape (..., 31) -> (..., 3); outside 0..1 what a screen cannot show."""
    to_rgb = np.linalg.inv(_primaries(screen_light.white_xyz))
    weights = (screen_light.weights @ to_rgb.T).astype(reflectance.dtype)
    return np.asarray(reflectance @ weights)


def xyz_of_linear(linear_rgb: Floats, white_xyz: Floats) -> Floats:
    """XYZ of linear sRGB light 0..1, shape (..., 3), on the scale of the white's XYZ (IEC 61966-2-1)."""
    return np.asarray(linear_rgb @ _primaries(white_xyz).T)


MOST_LIGHTNESS = 100.0


def _primaries(white_xyz: Floats) -> Floats:
    """XYZ of the three primaries, one a column, scaled so that they add up to the white."""
    xy = np.array(PRIMARIES_XY)
    columns = np.stack([xy[:, 0] / xy[:, 1], np.ones(3), (1 - xy.sum(axis=1)) / xy[:, 1]])
    return np.asarray(columns * np.linalg.solve(columns, white_xyz))


def _into_gamut(lab: Floats, white_xyz: Floats, to_rgb: Floats) -> Floats:
    """The colour itself, or with as much of its chroma as fits, hue and lightness kept."""
    if _fits(lab, white_xyz, to_rgb):
        return lab
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _fits(lab * np.array([1.0, middle, middle]), white_xyz, to_rgb):
            low = middle
        else:
            high = middle
    return np.asarray(lab * np.array([1.0, low, low]))


def _fits(lab: Floats, white_xyz: Floats, to_rgb: Floats) -> bool:
    rgb = to_rgb @ xyz_of_lab(lab, white_xyz)
    return bool(rgb.min() >= -FITS_WITHIN and rgb.max() <= 1 + FITS_WITHIN)


def encode(linear: Floats) -> Floats:
    """SRGB values 0..1 from linear light 0..1, any shape."""
    toe = LINEAR_SLOPE * linear
    curve = (1 + TOE) * np.maximum(linear, LINEAR_BELOW) ** (1 / GAMMA) - TOE
    return np.asarray(np.where(linear <= LINEAR_BELOW, toe, curve))


def decode(encoded: Floats) -> Floats:
    """Linear light 0..1 from sRGB values 0..1; the inverse of `encode`."""
    edge = LINEAR_SLOPE * LINEAR_BELOW
    return np.asarray(
        np.where(encoded <= edge, encoded / LINEAR_SLOPE, ((encoded + TOE) / (1 + TOE)) ** GAMMA)
    )


def _hex(linear: Floats) -> str:
    return "#" + "".join(f"{round(255 * float(channel)):02x}" for channel in encode(linear))
