"""Colour from a photograph with a chart beside the fibre: a sketch to begin with, never a measurement.

A root-polynomial of degree 2 (it does not care about exposure) turns the camera's linear red, green and blue
into XYZ; it is fitted on the patches of the chart in the same photograph. What comes out is a `Sketch`, and
nothing that passes or fails a batch takes one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.fibre.colour.spectrum import Light, lab_of_xyz, xyz_of_lab
from doffer.tables.loader import Tables

LEAST_PATCHES = 12  # twice the six terms
LEAST_GREYS = 4
DARKEST, LIGHTEST = 0.01, 0.98  # of full scale: outside, a patch is noise or clipped
GREY_CHROMA = 3.0  # a chart's grey row has less chroma than this
WEIGHT_POWER = 2.0 / 3.0  # errors count by lightness, not by light


@dataclass(frozen=True, eq=False, slots=True)
class Camera:
    """A fitted photograph: how each channel becomes linear, the matrix from root terms to XYZ, shape (6, 3).

    `residual_de` is CIEDE2000 left on each patch that was used, `grey_de` the mean over the grey ones.
    """

    encoded_knots: Floats
    linear_knots: Floats
    matrix: Floats
    seen_in: Light
    residual_de: Floats
    grey_de: float


@dataclass(frozen=True, slots=True)
class Sketch:
    """A colour guessed from a photograph and what it may be off by (CIEDE2000). For a first guess only."""

    lab: Lab
    off_low_de: float
    off_high_de: float


def fit_chart(rgb: Floats, patch_lab: Floats, seen_in: Light, tables: Tables) -> Camera:
    """Fit a photograph's colours on its chart.

    Channels are made linear by the chart's own grey row (monotone), since telephones bend their tones; then
    ``XYZ = M (r, g, b, sqrt(rg), sqrt(gb), sqrt(rb))`` is fitted by least squares weighted ``1/Y^(2/3)``
    (root-polynomial correction; common practice, degree chosen by own simulations).

    Parameters
    ----------
    rgb : ndarray, shape (p, 3)
        Median colour of each patch in the photograph, 0..1.
    patch_lab : ndarray, shape (p, 3)
        What the chart's maker says they are, under `seen_in`.

    Raises
    ------
    InputError
        Too few patches that are neither dark nor clipped, no grey row, greys that do not rise, or greys that
        are still off after the fit.
    """
    given = np.asarray(rgb, dtype=np.float64)
    if given.shape != patch_lab.shape or given.ndim != 2 or not np.all(np.isfinite(given)):
        raise InputError("patches of the chart", given.shape, f"three numbers for each of {len(patch_lab)}")
    good = (given.min(axis=1) >= DARKEST) & (given.max(axis=1) <= LIGHTEST)
    if good.sum() < LEAST_PATCHES:
        allowed = (
            f"at least {LEAST_PATCHES} patches neither black nor burnt out; photograph again by a window"
        )
        raise InputError("usable patches of the chart", int(good.sum()), allowed)
    given, wanted = given[good], np.asarray(patch_lab, dtype=np.float64)[good]
    grey = np.hypot(wanted[:, 1], wanted[:, 2]) < GREY_CHROMA
    encoded, linear = _grey_curve(given[grey], wanted[grey])
    terms = _root_terms(_linear(given, encoded, linear))
    xyz = xyz_of_lab(wanted, seen_in.white_xyz)
    weight = (1 / xyz[:, 1] ** WEIGHT_POWER)[:, None]
    matrix = np.linalg.lstsq(terms * weight, xyz * weight, rcond=None)[0]
    left = de2000(wanted, lab_of_xyz(np.maximum(terms @ matrix, 0), seen_in.white_xyz))
    most, grey_de = tables.constants["photo_grey_most"].value, float(left[grey].mean())
    if grey_de > most:
        allowed = f"at most {most:g} from the chart; use daylight, keep shadows and shine off the chart"
        raise InputError("difference left on the grey patches", f"{grey_de:.1f}", allowed)
    return Camera(encoded, linear, np.asarray(matrix), seen_in, left, grey_de)


def sketch_colour(rgb: Floats, camera: Camera, tables: Tables) -> Sketch:
    """The colour of fibre in the same photograph, from the median of 200 x 200 pixels or more, shape (3,).

    Raises
    ------
    InputError
        Clipped or black.
    """
    given = np.asarray(rgb, dtype=np.float64)
    if given.shape != (3,) or not np.all((given >= DARKEST) & (given <= LIGHTEST)):
        raise InputError("colour in the photograph", given.tolist(), "neither black nor burnt out")
    xyz = _root_terms(_linear(given[None], camera.encoded_knots, camera.linear_knots)) @ camera.matrix
    lab = lab_of_xyz(np.maximum(xyz[0], 0), camera.seen_in.white_xyz)
    error = tables.constants["photo_error"]
    return Sketch(as_lab(lab), error.low or error.value, error.high or error.value)


def _grey_curve(rgb: Floats, lab: Floats) -> tuple[Floats, Floats]:
    """Knots of each channel, shape (g, 3), and the lightness they stand for, shape (g,)."""
    if len(rgb) < LEAST_GREYS:
        raise InputError("grey patches of the chart", len(rgb), f"at least {LEAST_GREYS}, from dark to white")
    order = np.argsort(lab[:, 0])
    knots, lightness = rgb[order], lab[order, 0]
    if np.any(np.diff(knots, axis=0) <= 0):
        raise InputError(
            "grey row of the chart", "not in order", "lighter from patch to patch; is a shadow on it?"
        )
    return knots, lightness


def _linear(rgb: Floats, knots: Floats, lightness: Floats) -> Floats:
    """Linear light 0..1 of each channel: by lightness along the grey row, straight on beyond its ends."""
    channels = []
    for channel in range(3):
        x, at = rgb[:, channel], knots[:, channel]
        slopes = np.diff(lightness) / np.diff(at)
        place = np.clip(np.searchsorted(at, x) - 1, 0, len(slopes) - 1)
        channels.append(lightness[place] + slopes[place] * (x - at[place]))
    tone = np.clip(np.stack(channels, axis=1), 0, None)
    grey = np.stack([tone, np.zeros_like(tone), np.zeros_like(tone)], axis=-1)
    return np.asarray(xyz_of_lab(grey, np.ones(3))[..., 1])


def _root_terms(rgb: Floats) -> Floats:
    """Terms of the root-polynomial of degree 2, shape (p, 6): all scale with exposure."""
    red, green, blue = rgb.T
    return np.stack(
        [red, green, blue, np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(red * blue)], axis=1
    )
