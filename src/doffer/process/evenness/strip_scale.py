"""Millimetres in a pixel: from a known distance between two points, or from the ticks of a ruler."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.fibre.arrays import Bools, Floats
from doffer.process.evenness.strip_place import Box, Pixels

Spectra = NDArray[np.complex128]
PADDED = 4  # zeros after the rows, so that a tone between two bins keeps its power
TREND_DEGREE = 3
CLOSE_BINS = 0.1  # of a bin: how close the vertex comes
ROWS_AT_ONCE = 32
LEAST_TICKS = 30
LEAST_PERIOD_PX, MOST_PERIOD_PX = 2.5, 60.0
LEAST_BAND_ROWS = 4
STANDS_OUT = 25.0  # times the power around it
NO_RIVAL = 0.5  # of its power in any other tone that is no multiple or part of it
MOST_SPREAD_FRAC = 0.03  # between the two halves of the ruler: more is a camera held askew
LEAST_POINTS_PX = 100.0
EDGE_ROUND = 0.02  # of the tone, when asking whether one is a multiple of another
NEAR_BINS = 3


@dataclass(frozen=True, slots=True)
class Scale:
    """Millimetres in a pixel, and how far off that may be [frac].

    `stands_out` says how many times the power of the ticks' tone exceeds what lies around it (1 where the
    scale was not read from ticks).
    """

    mm_per_px: float
    off_frac: float
    stands_out: float = 1.0


def scale_from_points(
    first_px: tuple[float, float], second_px: tuple[float, float], *, distance_mm: float
) -> Scale:
    """The scale from two points of a picture whose distance is known; a click is off by a pixel or two.

    Raises
    ------
    InputError
        A distance that is not above zero, or points nearer than 100 px.
    """
    if not (np.isfinite(distance_mm) and distance_mm > 0):
        raise InputError("distance between the two points", distance_mm, "above 0 mm")
    apart_px = float(np.hypot(second_px[0] - first_px[0], second_px[1] - first_px[1]))
    if not apart_px >= LEAST_POINTS_PX:
        allowed = f"at least {LEAST_POINTS_PX:g} pixels apart; choose marks far from each other on the ruler"
        raise InputError("two points on the ruler", f"{apart_px:.0f} pixels apart", allowed)
    return Scale(distance_mm / apart_px, 2 * np.sqrt(2) / apart_px)


def scale_from_ticks(rgb: Pixels, *, band: Box, tick_mm: float = 1.0, turn_rad: float = 0.0) -> Scale:
    """The scale from the ticks of a ruler: the dominant period in a band of the picture.

    Each row of the band (along the longer side of it) gives a power spectrum; they are added, so that a ruler
    lying a little askew does no harm. Along a row that is laid at an angle t, a ruler at an angle q shows
    ``u + v tan t`` ticks a pixel with ``u = cos q / p`` and ``v = sin q / p``; v is how far the ticks move
    from row to row, so the period is ``p = 1 / hypot(u, v)`` (own derivation).

    Parameters
    ----------
    rgb : ndarray, shape (h, w, 3)
        The picture.
    band : Box
        Where the ruler's ticks lie: the whole length, of the height the ticks alone.
    tick_mm : float
        Distance from tick to tick.
    turn_rad : float
        About how far the ruler is turned, as the strip is; the band is then where it lies at mid-length.

    Raises
    ------
    InputError
        No ticks that stand out, two candidates alike, or ticks that grow along the ruler.
    """
    if not (np.isfinite(tick_mm) and tick_mm > 0):
        raise InputError("distance between ticks", tick_mm, "above 0 mm")
    rows = _rows(rgb, band, float(np.tan(turn_rad)))
    power, product = _spectra(rows)
    length = rows.shape[1]
    tone, stands_out = _tone(power, length)
    halves = [_near(_spectra(half)[0], tone, half.shape[1]) for half in np.array_split(rows, 2, axis=1)]
    spread = abs(halves[0] - halves[1]) / tone
    if spread > MOST_SPREAD_FRAC:
        given = f"{100 * spread:.0f} % longer at one end"
        raise InputError(
            "ruler in the photo", given, "alike at both ends; hold the camera square to the table"
        )
    drift = float(np.angle(product[round(tone * PADDED * length)]) / (2 * np.pi))  # sin q / p
    off_frac = max(float(spread) / 2, CLOSE_BINS / (tone * length))
    ticks_per_px = float(np.hypot(tone - np.tan(turn_rad) * drift, drift))
    return Scale(tick_mm * ticks_per_px, off_frac, stands_out)


def _rows(rgb: Pixels, band: Box, slope: float) -> Floats:
    """Brightness along the ruler, row by row, shape (rows, along), freed of slow light."""
    left, top, right, bottom = band
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise InputError(
            "place of the ruler", band, "inside the picture, from left to right and top to bottom"
        )
    if (bottom - top) * rgb.shape[0] > (right - left) * rgb.shape[1]:
        rgb, (left, top, right, bottom) = rgb.transpose(1, 0, 2), (top, left, bottom, right)
    height, width = rgb.shape[:2]
    x, y = (
        np.arange(int(left * width), int(right * width)),
        np.arange(int(top * height), int(bottom * height)),
    )
    if len(y) < LEAST_BAND_ROWS or len(x) < LEAST_TICKS * LEAST_PERIOD_PX:
        allowed = f"at least {LEAST_TICKS} ticks long and {LEAST_BAND_ROWS} pixels high"
        raise InputError("place of the ruler", f"{len(x)} by {len(y)} pixels", allowed)
    lower = np.rint(slope * (x - x.mean())).astype(np.intp)
    cut = rgb[np.clip(y[:, None] + lower, 0, height - 1), x]
    grey = cut.mean(axis=-1, dtype=np.float64)
    basis = np.linalg.qr(np.vander(np.linspace(-1, 1, len(x)), TREND_DEGREE + 1))[0]
    return np.asarray(grey - (grey @ basis) @ basis.T)


def _spectra(rows: Floats) -> tuple[Floats, Spectra]:
    """Power of the rows by tone, and each row's product with the next one's, both added up.

    Hann window, padded to four times the length; some rows at a time, so that tall bands need little room.
    """
    n_rows, length = rows.shape
    window = np.hanning(length)
    size = PADDED * length
    power, product = np.zeros(size // 2 + 1), np.zeros(size // 2 + 1, dtype=np.complex128)
    before = np.zeros((0, size // 2 + 1), dtype=np.complex128)
    for first in range(0, n_rows, ROWS_AT_ONCE):
        found = np.fft.rfft(rows[first : first + ROWS_AT_ONCE] * window, n=size, axis=1)
        power += (np.abs(found) ** 2).sum(axis=0)
        chain = np.concatenate([before, found])
        product += (np.conj(chain[:-1]) * chain[1:]).sum(axis=0)
        before = found[-1:]
    return power, product


def _tone(power: Floats, length: int) -> tuple[float, float]:
    """Cycles a pixel of the ticks, and how far they stand out."""
    tones = np.arange(len(power)) / (PADDED * length)
    least = max(LEAST_TICKS / length, 1 / MOST_PERIOD_PX)
    allowed = (tones >= least) & (tones <= 1 / LEAST_PERIOD_PX)
    peak = int(np.argmax(np.where(allowed, power, 0)))
    around = (np.abs(tones - tones[peak]) < tones[peak] / 2) & allowed
    near = np.abs(np.arange(len(power)) - peak) <= NEAR_BINS * PADDED
    stands_out = float(power[peak] / max(float(np.median(power[around])), float(np.finfo(float).tiny)))
    rivals = power[allowed & ~near & ~_kin(tones, float(tones[peak]), length)]
    rival = float(rivals.max()) / float(power[peak]) if rivals.size and power[peak] > 0 else 0.0
    if not power[peak] > 0 or stands_out < STANDS_OUT or rival > NO_RIVAL:
        why = "not to be read from these ticks"
        how = "clear: frame the ticks alone and sharp, or give two points and their distance in mm"
        raise InputError("scale", why, how)
    return _vertex(power, peak) / (PADDED * length), stands_out


def _kin(tones: Floats, tone: float, length: int) -> Bools:
    """Tones that a ruler has besides: multiples of the ticks', and every whole part of a tenth of it."""
    tenths = tones / (tone / 10)
    return np.asarray(np.abs(tenths - np.rint(tenths)) * tone / 10 <= max(EDGE_ROUND * tone / 10, 2 / length))


def _near(power: Floats, tone: float, length: int) -> float:
    """The strongest tone within a tenth of the one given."""
    tones = np.arange(len(power)) / (PADDED * length)
    peak = int(np.argmax(np.where(np.abs(tones - tone) <= tone / 10, power, 0)))
    return _vertex(power, peak) / (PADDED * length)


def _vertex(power: Floats, peak: int) -> float:
    """Where the parabola through the logarithms of three neighbours is highest."""
    if not 0 < peak < len(power) - 1:
        return float(peak)
    before, at, after = np.log(power[peak - 1 : peak + 2] + np.finfo(float).tiny)
    bend = before - 2 * at + after
    return peak + (0.5 * float((before - after) / bend) if bend < 0 else 0.0)
