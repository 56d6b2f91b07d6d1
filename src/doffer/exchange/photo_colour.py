"""A colour from a photograph with a chart in it: opened by the rules for photos, a first guess only."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from PIL import Image

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.chart import Sketch, fit_chart, sketch_colour
from doffer.fibre.colour.spectrum import light
from doffer.mill.commands.lots import redrawn
from doffer.tables.loader import Tables

Box = tuple[float, float, float, float]  # left, top, right, bottom, as shares of the picture
LEAST_FIBRE_PX = 200  # to a side: fewer pixels are single fibres and shadows
LEAST_PATCH_PX = 8
FULL_SCALE = 255


def sketch_of_photo(
    data: bytes,
    *,
    fibre: Box,
    patches: Sequence[Box],
    patch_labs: Sequence[tuple[float, float, float]],
    tables: Tables,
    observer_deg: int = 10,
) -> Sketch:
    """The colour of fibre in a photograph, corrected by the chart beside it.

    Parameters
    ----------
    fibre : Box
        Where the fibre fills the picture, at least 200 pixels to a side.
    patches : sequence of Box
        Where each patch of the chart lies.
    patch_labs : sequence of Lab
        What the chart's maker says of the patches under D65.

    Raises
    ------
    InputError
        No picture that may be kept as a photo, a box outside it or too small, a chart that does not fit.
    """
    if len(patches) != len(patch_labs):
        raise InputError("patches of the chart", len(patches), f"{len(patch_labs)}, one for each Lab")
    clean, _, _ = redrawn(data)
    with Image.open(io.BytesIO(clean)) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    rgb = np.stack([_median(pixels, box, LEAST_PATCH_PX, "patch of the chart") for box in patches])
    seen_in = light(tables, "D65", observer_deg=observer_deg)
    camera = fit_chart(rgb, np.array(patch_labs, dtype=np.float64), seen_in, tables)
    return sketch_colour(_median(pixels, fibre, LEAST_FIBRE_PX, "fibre in the photo"), camera, tables)


def _median(pixels: np.ndarray, box: Box, least_px: int, field: str) -> Floats:
    """Median red, green and blue of a box, 0..1."""
    if not (0 <= box[0] < box[2] <= 1 and 0 <= box[1] < box[3] <= 1):
        raise InputError(field, box, "inside the picture, from left to right and top to bottom")
    height, width = pixels.shape[:2]
    left, right = round(box[0] * width), round(box[2] * width)
    top, bottom = round(box[1] * height), round(box[3] * height)
    if right - left < least_px or bottom - top < least_px:
        allowed = f"at least {least_px} by {least_px} pixels; photograph it from nearer"
        raise InputError(field, f"{right - left} by {bottom - top} pixels", allowed)
    return np.asarray(np.median(pixels[top:bottom, left:right].reshape(-1, 3), axis=0) / FULL_SCALE)
