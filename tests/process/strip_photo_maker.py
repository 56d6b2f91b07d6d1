"""Photographs of strips that never were: stripes of a known spectrum, light, grain, blur and a ruler."""

from dataclasses import dataclass, field
from io import BytesIO

import numpy as np
from PIL import Image

from doffer.fibre.colour.screen import encode

MM_PER_PX = 0.25
GROUND = (0.05, 0.12, 0.35)  # blue card, linear light
CURVE = (encode(np.linspace(0, 1, 8192) ** 2) * 255).astype(np.float32)  # by the root of the light
PAPER = ((94 + 16) / 116) ** 3


@dataclass(frozen=True)
class Scene:
    """What is photographed and how; lengths in mm, lightness in L*."""

    sd: float = 1.2
    correlation_mm: float = 15.0
    wave_mm: float | None = None  # a sine of that length instead of random stripes
    strip_mm: tuple[float, float] = (300.0, 40.0)
    lightness: float = 60.0
    texture_sd: float = 3.0
    fall_off: float = 6.0  # L* from the middle of the strip to its ends
    noise_sd: float = 0.6
    turn_deg: float = 0.0
    blur_mm: float = 0.0
    quality: int | None = 92
    mm_per_px: float = MM_PER_PX
    ruler: bool = True
    exposure: float = 1.0
    picture_px: tuple[int, int] = field(default=(1360, 420))


def stripes(scene, rng, n):
    """Lightness of the stripes along the strip, a value a pixel."""
    if scene.wave_mm is not None:
        phase = rng.uniform(0, 2 * np.pi)
        x = np.arange(n) * scene.mm_per_px
        return scene.sd * np.sqrt(2) * np.sin(2 * np.pi * x / scene.wave_mm + phase)
    keep = np.exp(-scene.mm_per_px / scene.correlation_mm)
    steps = rng.normal(size=n) * np.sqrt(1 - keep**2)
    steps[0] = rng.normal()
    values = np.empty(n)
    last = 0.0
    for i, step in enumerate(steps):
        last = keep * last + step
        values[i] = last
    return scene.sd * values


def piece_variance(signal, scene, piece_mm):
    """Variance of pieces in this strip about its own mean, and that of such strips' means by the formula."""
    per = round(piece_mm / scene.mm_per_px)
    whole = signal[: len(signal) // per * per].reshape(-1, per)
    return float(whole.mean(axis=1).var() + true_variance(scene, scene.strip_mm[0]))


def true_variance(scene, piece_mm):
    """Variance of pieces in an endless strand of the same spectrum."""
    if scene.wave_mm is not None:
        return scene.sd**2 * np.sinc(piece_mm / scene.wave_mm) ** 2
    ratio = scene.correlation_mm / piece_mm
    return scene.sd**2 * 2 * ratio * (1 - ratio * (1 - np.exp(-1 / ratio)))


def photograph(scene, seed):
    """(picture, white paper's picture, stripes along the strip), the pictures as bytes (h, w, 3)."""
    rng = np.random.default_rng(seed)
    width, height = scene.picture_px
    turn = np.radians(scene.turn_deg)
    x, y = np.meshgrid(np.arange(width) - width / 2, np.arange(height) - height / 2)
    along = (x * np.cos(turn) + y * np.sin(turn)) * scene.mm_per_px + scene.strip_mm[0] / 2
    across = (-x * np.sin(turn) + y * np.cos(turn)) * scene.mm_per_px
    n = round(scene.strip_mm[0] / scene.mm_per_px)
    signal = stripes(scene, rng, n)
    at = np.clip(np.rint(along / scene.mm_per_px - 0.5).astype(int), 0, n - 1)
    inside = (np.abs(across) <= scene.strip_mm[1] / 2) & (along >= 0) & (along < scene.strip_mm[0])
    lightness = (
        scene.lightness + signal[at] + rng.standard_normal(size=x.shape, dtype=np.float32) * scene.texture_sd
    )
    grey = (np.maximum(lightness + 16, 0) / 116) ** 3
    linear = np.where(inside[..., None], grey[..., None], np.array(GROUND))
    if scene.ruler:
        linear = _with_ruler(linear, along, across, scene)
    light = _light(along, across, scene)
    if scene.blur_mm:
        linear = _blurred(linear, scene.blur_mm / scene.mm_per_px)
    picture = _taken(linear * light[..., None] * scene.exposure, scene, rng)
    paper = _taken(np.full_like(linear, PAPER * 0.9) * light[..., None] * scene.exposure / 0.9, scene, rng)
    return picture, paper, signal


def _light(along, across, scene):
    """A factor that falls off as a lens and a window do: `fall_off` L* at the ends of the strip."""
    t = 2 * along / scene.strip_mm[0] - 1
    lost = scene.fall_off * (0.7 * t**2 + 0.3 * t + 0.1 * (across / scene.strip_mm[1]) ** 2)
    return ((scene.lightness - lost + 16) / (scene.lightness + 16)) ** 3


def _with_ruler(linear, along, across, scene):
    below = across - scene.strip_mm[1] / 2 - 4  # the ruler lies 4 mm beside the strip, 8 mm high
    on = (below >= 0) & (below < 8) & (along >= 0) & (along < scene.strip_mm[0])
    mm = np.rint(along)
    reach = np.where(mm % 10 == 0, 5.0, np.where(mm % 5 == 0, 4.0, 3.0))
    tick = on & (below < reach) & (np.abs(along - mm) < 0.15)
    shown = np.where(on[..., None], 0.75, linear)
    return np.where(tick[..., None], 0.05, shown)


def _blurred(linear, sd_px):
    reach = int(4 * sd_px) + 1
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd_px) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        padded = np.pad(linear, [(reach, reach) if a == axis else (0, 0) for a in range(3)], mode="edge")
        size = linear.shape[axis]
        linear = sum(
            weight * np.take(padded, np.arange(size) + i, axis=axis) for i, weight in enumerate(kernel)
        )
    return linear


def _taken(linear, scene, rng):
    """Encoded, with the sensor's noise, through JPEG."""
    place = np.sqrt(np.clip(linear, 0, 1).astype(np.float32)) * (len(CURVE) - 1)
    encoded = CURVE[place.astype(np.intp)]
    encoded += rng.standard_normal(size=encoded.shape, dtype=np.float32) * np.float32(scene.noise_sd * 2.55)
    rgb = np.clip(np.rint(encoded), 0, 255).astype(np.uint8)
    if scene.quality is None:
        return rgb
    with Image.open(BytesIO(as_jpeg(rgb, scene.quality))) as picture:
        return np.array(picture)


def as_jpeg(rgb, quality=92):
    out = BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality)
    return out.getvalue()


def ruler_band(scene):
    """Where the ticks lie when the strip is not turned: left, top, right, bottom as shares."""
    width, height = scene.picture_px
    per = scene.mm_per_px
    half = scene.strip_mm[0] / 2 / per / width
    top = 0.5 + (scene.strip_mm[1] / 2 + 4.0) / per / height
    return (0.5 - half, top, 0.5 + half, top + 8.0 / per / height)
