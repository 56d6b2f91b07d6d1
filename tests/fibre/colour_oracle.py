"""The independent colour library, for tests only, and the spectra it brings along."""

from __future__ import annotations

import importlib.util
import warnings

import numpy as np

if importlib.util.find_spec("numba"):  # before the library, whose stand-in for SciPy numba cannot read
    importlib.import_module("numba")
with warnings.catch_warnings():  # it tells of optional parts that are not installed
    warnings.simplefilter("ignore")
    import colour

CMFS = {
    2: colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"],
    10: colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"],
}
ONE_NM = colour.SpectralShape(380, 780, 1)
CHART = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
PATCHES = tuple(CHART)


def patch(name: str) -> np.ndarray:
    """Reflectance of a chart patch at 400 to 700 nm in steps of 10, shape (31,)."""
    return np.array([CHART[name][nm] for nm in range(400, 701, 10)])


def all_patches() -> np.ndarray:
    """All chart patches, shape (24, 31)."""
    return np.stack([patch(name) for name in PATCHES])


def fine_lab(name: str, illuminant: str, observer_deg: int) -> np.ndarray:
    """Lab of a patch by integration at 1 nm from 380 to 780, with the light's own white."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        light = colour.SDS_ILLUMINANTS[illuminant].copy().align(ONE_NM)
        cmfs = CMFS[observer_deg].copy().align(ONE_NM)
        spectrum = CHART[name].copy().align(ONE_NM)
        xyz = colour.sd_to_XYZ(spectrum, cmfs, light, method="Integration")
        white = colour.sd_to_XYZ(colour.sd_ones(ONE_NM), cmfs, light, method="Integration")
    return lab_of_xyz(xyz, white)


def lab_of_xyz(xyz: np.ndarray, white: np.ndarray) -> np.ndarray:
    """Lab by the library, for any white."""
    ratio = np.asarray(xyz) / np.asarray(white)
    f = colour.colorimetry.intermediate_lightness_function_CIE1976(ratio, np.ones(3))
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def delta_e(standard: np.ndarray, sample: np.ndarray, method: str, **how: float) -> np.ndarray:
    """Colour difference by the library."""
    return colour.delta_E(standard, sample, method=method, **how)


def srgb_hex(reflectance_xyz: np.ndarray) -> str:
    """Hex by the library from XYZ (Y of white 100) under D65, 2 degrees."""
    rgb = np.clip(colour.XYZ_to_sRGB(np.asarray(reflectance_xyz) / 100), 0, 1)
    return "#" + "".join(f"{round(255 * float(channel)):02x}" for channel in rgb)


def lab_of_hex(text: str, white: np.ndarray) -> np.ndarray:
    """Lab of a screen colour by the library, under its white, for that white."""
    rgb = np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return lab_of_xyz(colour.sRGB_to_XYZ(rgb) * 100, white)


def unusual_spectra() -> np.ndarray:
    """Spectra of many real objects, shape (n, 31), all between 0.004 and 0.99."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = colour.quality.cfi2017.load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    values = found.values.T[:, 4:65:2]
    return values[(values.min(axis=1) > 0.004) & (values.max(axis=1) < 0.99)]
