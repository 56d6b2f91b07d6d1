"""From a reflectance spectrum to XYZ and Lab, under a light and for an observer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError, NotFoundError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables

WAVELENGTHS_NM: Floats = np.arange(400.0, 701.0, 10.0)
N_BANDS = WAVELENGTHS_NM.size
ILLUMINANTS = ("D65", "A", "LED-B3", "FL11")
RATIO_EDGE = (6 / 29) ** 3  # CIE 15: below this ratio the cube root becomes a straight line
LINE_SLOPE = (29 / 6) ** 2 / 3
LINE_OFFSET = 4 / 29
MOST_REFLECTANCE = 1.2  # white pads reach 1.0; beyond this light is made, not thrown back


@dataclass(frozen=True, eq=False, slots=True)
class Light:
    """A light and an observer: weights W with ``XYZ = R @ W``, shape (31, 3), and the white's XYZ, (3,)."""

    illuminant: str
    observer_deg: int
    weights: Floats
    white_xyz: Floats


def light(tables: Tables, illuminant: str = "D65", *, observer_deg: int = 10) -> Light:
    """A light of table tristimulus; Y of the perfect diffuser is 100.

    Weights are folded for 10 nm steps from 1 nm data: a plain sum of 10 nm values would be wrong by 1.5
    CIEDE2000 on average under FL11.

    Raises
    ------
    NotFoundError
        A light or observer that the table does not have.
    """
    rows = [tables.tristimulus.get(f"{nm:g}/{illuminant}/{observer_deg}") for nm in WAVELENGTHS_NM]
    if any(row is None for row in rows):
        known = ", ".join(ILLUMINANTS)
        raise NotFoundError("light", f"{illuminant}/{observer_deg}°", f"Known are {known}, for 2° and 10°")
    weights = np.array([(row.x, row.y, row.z) for row in rows if row is not None])
    return Light(illuminant, observer_deg, weights, weights.sum(axis=0))


def three_bands(seen_in: Light) -> Light:
    """A light whose "wavelengths" are the three ratios X/Xn, Y/Yn, Z/Zn.

    Blend functions then mix these ratios as if they were reflectances: the quick way from Lab alone, without
    a spectrum. It is off by 2.7 CIEDE2000 on average where recovered spectra are off by 1.0
    (docs/science/colour.md), so it is a second opinion, not the answer.
    """
    return Light(seen_in.illuminant, seen_in.observer_deg, np.diag(seen_in.white_xyz), seen_in.white_xyz)


def ratios_of_lab(lab: Floats, seen_in: Light) -> Floats:
    """X/Xn, Y/Yn and Z/Zn of Lab values, shape (..., 3), to be mixed under `three_bands`."""
    return np.asarray(xyz_of_lab(lab, seen_in.white_xyz) / seen_in.white_xyz)


def check_reflectance(reflectance: Floats) -> Floats:
    """The spectrum, if it is one: 31 finite values, none below zero, none a brightener's.

    Raises
    ------
    InputError
        Wrong wavelengths, missing values, below zero, or above 1.2 (a fluorescent brightener; no blend model
        holds for it).
    """
    given = np.asarray(reflectance, dtype=np.float64)
    n_given = given.shape[-1] if given.ndim else 1
    if n_given != N_BANDS:
        raise InputError("spectrum", f"{n_given} values", "31 values, from 400 to 700 nm in steps of 10")
    if not np.all(np.isfinite(given)):
        raise InputError("spectrum", "a gap", "a number at every wavelength")
    if given.min() < 0:
        allowed = "zero or more; set the instrument to zero on its black trap and read again"
        raise InputError("reflectance", float(given.min()), allowed)
    if given.max() > MOST_REFLECTANCE:
        allowed = f"at most {MOST_REFLECTANCE:g}; more is a brightener, or per cent taken for a fraction"
        raise InputError("reflectance", float(given.max()), allowed)
    return given


def xyz_of_reflectance(reflectance: Floats, seen_in: Light) -> Floats:
    """Tristimulus values, shape (..., 3): ``XYZ = R @ W`` (CIE 15, weights in the manner of ASTM E308)."""
    return np.asarray(reflectance @ seen_in.weights)


def lab_of_reflectance(reflectance: Floats, seen_in: Light) -> Floats:
    """L*a*b* of spectra under a light, shape (..., 3)."""
    return lab_of_xyz(xyz_of_reflectance(reflectance, seen_in), seen_in.white_xyz)


def lab_of_xyz(xyz: Floats, white_xyz: Floats) -> Floats:
    """CIE 1976 L*a*b* from XYZ and the white's XYZ, shape (..., 3) (CIE 15)."""
    fx, fy, fz = np.moveaxis(_root(np.asarray(xyz) / white_xyz), -1, 0)
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def xyz_of_lab(lab: Floats, white_xyz: Floats) -> Floats:
    """XYZ from L*a*b* and the white's XYZ; the inverse of `lab_of_xyz`."""
    lightness, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    fy = (lightness + 16) / 116
    return np.asarray(_unroot(np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)) * white_xyz)


def _root(ratio: Floats) -> Floats:
    return np.where(ratio > RATIO_EDGE, np.cbrt(ratio), LINE_SLOPE * ratio + LINE_OFFSET)


def _unroot(f: Floats) -> Floats:
    return np.where(f > np.cbrt(RATIO_EDGE), f**3, (f - LINE_OFFSET) / LINE_SLOPE)
