"""Whether a photograph of a strip is fit to be measured: light neither burnt out nor black, and in focus."""

from __future__ import annotations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.process.evenness.strip_place import Box, Pixels, Place, Singles

BURNT, BLACK = 254, 4  # of 255
MOST_BURNT_FRAC, MOST_BLACK_FRAC = 0.01, 0.5
FINE_MM, COARSE_MM = (1.0, 2.0), (4.0, 8.0)  # wavelengths across the strip: fibre, and groups of it
LEAST_SHARP = 0.05  # power of fibre against that of groups, at one wavelength each
IS_FLAT = 0.5  # fine power that is nearly the coarse one's is mostly fibre
NOISE_IN_FIBRE = 2.0  # a JPEG keeps more noise in what has grain than on plain ground
TILE_PX = 12
QUIET_FRAC = 0.5
SECOND_DIFFERENCE = np.sqrt(6.0)  # sd of x0 - 2 x1 + x2 for independent noise of sd 1


def check_light(rgb: Pixels, place: Place, factor: int) -> None:
    """Refuse a strip that is burnt out or black; `place` is in pixels of the picture shrunk by `factor`.

    Raises
    ------
    InputError
        More than 1 % burnt out, or more than half black.
    """
    length, half = int(place.length_px), place.width_px / 3
    along = np.arange(0, length, max(1, length // 600))[:, None]
    across = np.linspace(-half, half, 60)[None]
    cos, sin = np.cos(place.turn_rad), np.sin(place.turn_rad)
    x = np.rint((place.start_x + along * cos - across * sin) * factor).astype(np.intp)
    y = np.rint((place.start_y + along * sin + across * cos) * factor).astype(np.intp)
    seen = rgb[np.clip(y, 0, rgb.shape[0] - 1), np.clip(x, 0, rgb.shape[1] - 1)]
    burnt, black = float(np.mean(seen.max(axis=-1) >= BURNT)), float(np.mean(seen.max(axis=-1) <= BLACK))
    if burnt > MOST_BURNT_FRAC:
        allowed = "less than 1 % burnt out; lower the exposure until the brightest fibre is a light grey"
        raise InputError("light on the strip", f"burnt out on {100 * burnt:.0f} %", allowed)
    if black > MOST_BLACK_FRAC:
        raise InputError(
            "light on the strip", f"black on {100 * black:.0f} %", "brighter; give it more light"
        )


def pixel_noise(linear: Singles, place: Place, without: Box | None) -> float:
    """Noise of a pixel [L*]: sensor's and JPEG's, from the quieter half of the ground's tiles.

    The standard deviation comes from second differences down the columns, so slow light does
    not count. Zero where there is no ground to measure on.
    """
    lightness = 116 * np.cbrt(linear[..., 1]) - 16  # green stands for luminance here
    height, width = lightness.shape
    x, y = np.arange(width)[None], np.arange(height)[:, None]
    off = np.abs((y - place.start_y) * np.cos(place.turn_rad) - (x - place.start_x) * np.sin(place.turn_rad))
    ground = off > 0.75 * place.width_px
    if without is not None:
        rows = slice(int(without[1] * height), int(np.ceil(without[3] * height)))
        ground[rows, int(without[0] * width) : int(np.ceil(without[2] * width))] = False
    second = lightness[2:] - 2 * lightness[1:-1] + lightness[:-2]
    rows, columns = second.shape[0] // TILE_PX, width // TILE_PX
    if not rows or not columns:
        return 0.0
    tiles = _tiles(second, rows, columns)
    is_ground = _tiles(ground[1:-1], rows, columns).all(axis=1)
    if not is_ground.any():
        return 0.0
    sds = np.sort(np.sqrt((tiles[is_ground] ** 2).mean(axis=1))) / SECOND_DIFFERENCE
    return float(np.median(sds[: max(1, int(QUIET_FRAC * len(sds)))]))


def _tiles(values: np.ndarray, rows: int, columns: int) -> np.ndarray:
    cut = values[: rows * TILE_PX, : columns * TILE_PX]
    split = cut.reshape(rows, TILE_PX, columns, TILE_PX)
    return np.asarray(split.transpose(0, 2, 1, 3).reshape(rows * columns, -1))


def check_focus(strip: Singles, *, mm_per_px: float, noise_sd: float) -> None:
    """Refuse a strip that is out of focus: no more at fibre's wavelengths than noise is.

    Power spectra across the strip are averaged over its length. At 1-2 mm there must be at least 5 % of the
    power at 4-8 mm, after the noise is taken off. Own trials on white texture: a blur of 0.4 mm (sd) passes,
    one of 0.6 mm does not; stripes would bear that, but a lens out of focus also brings neighbours together.

    Raises
    ------
    InputError
        Out of focus.
    """
    lightness = 116 * np.cbrt(strip[..., 1].astype(np.float64)) - 16
    window = np.hanning(lightness.shape[1])
    detrended = lightness - lightness.mean(axis=1, keepdims=True)
    power = (np.abs(np.fft.rfft(detrended * window, axis=1)) ** 2).mean(axis=0)
    power /= (window**2).sum()  # so that white noise of variance 1 has power 1
    cycles_per_mm = np.asarray(np.fft.rfftfreq(len(window), mm_per_px), dtype=np.float64)
    fine, coarse = _between(power, cycles_per_mm, FINE_MM), _between(power, cycles_per_mm, COARSE_MM)
    noise = noise_sd**2 * (1 if fine > IS_FLAT * coarse else NOISE_IN_FIBRE)
    if not fine - noise >= LEAST_SHARP * coarse:
        allowed = (
            "in focus, so that single fibres show; rest the camera on something, tap on the strip to focus"
        )
        raise InputError("strip in the photo", "out of focus", allowed)


def _between(power: Floats, cycles_per_mm: Floats, wavelengths_mm: tuple[float, float]) -> float:
    low, high = 1 / wavelengths_mm[1], 1 / wavelengths_mm[0]
    inside = (cycles_per_mm >= low) & (cycles_per_mm <= high)
    return float(power[inside].mean()) if inside.any() else 0.0
