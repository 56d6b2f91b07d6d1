"""Colours for screens only: from CIE Lab to sRGB, and an ink that can be read on them.

Approximate until the colour work: Lab of D65 / 10 degrees is turned into sRGB as if it belonged to the
2 degree white of sRGB, so that white stays white. A screen is not a light booth; never judge a shade by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from doffer.errors import InputError

WHITE_XYZ: Final = (0.95047, 1.0, 1.08883)  # D65, the white of sRGB (IEC 61966-2-1)
XYZ_TO_RGB: Final = (
    (3.2406, -1.5372, -0.4986),
    (-0.9689, 1.8758, 0.0415),
    (0.0557, -0.2040, 1.0570),
)  # IEC 61966-2-1, linear light
LAB_EDGE: Final = 6 / 29
IN_GAMUT_TOLERANCE: Final = 1e-4
INK: Final = "#221d17"
WHITE: Final = "#ffffff"
BLACK: Final = "#000000"
READABLE: Final = 4.5  # WCAG 2.2, 1.4.3
HALVINGS: Final = 20


@dataclass(frozen=True, slots=True)
class ScreenColour:
    """A colour as the screen can show it; `is_clipped` when the fibre is more vivid than any screen."""

    hex: str
    is_clipped: bool


def screen_colour(lightness: float, a: float, b: float) -> ScreenColour:
    """SRGB of a CIE Lab colour; outside the screen's range the chroma is lowered, hue and lightness stay.

    Raises
    ------
    InputError
        The lightness is not within 0..100.
    """
    if not 0 <= lightness <= 100:
        raise InputError("lightness", lightness, "between 0 (black) and 100 (white)")
    if _fits(_linear_rgb(lightness, a, b)):
        return ScreenColour(_hex(_linear_rgb(lightness, a, b)), is_clipped=False)
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _fits(_linear_rgb(lightness, a * middle, b * middle)):
            low = middle
        else:
            high = middle
    return ScreenColour(_hex(_linear_rgb(lightness, a * low, b * low)), is_clipped=True)


def fibre_hex(lightness: float | None, a: float | None, b: float | None, *, unknown: str = "#cfc6b6") -> str:
    """The hex colour of a fibre, or an undyed grey-cream where no colour was measured."""
    if lightness is None or a is None or b is None:
        return unknown
    return screen_colour(lightness, a, b).hex


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two sRGB colours, 1..21 (WCAG 2.2 relative luminance)."""
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def ink_on(background: str) -> str:
    """The ink, white or black that can be read on a swatch: contrast at least 4.5."""
    for ink in (INK, WHITE):
        if contrast(ink, background) >= READABLE:
            return ink
    return max((BLACK, WHITE), key=lambda ink: contrast(ink, background))


def mixed(first: str, second: str, share: float) -> str:
    """The first colour with a share of the second, channel by channel; for shading pictures only."""
    pairs = zip(_channels(first), _channels(second), strict=True)
    return "#" + "".join(f"{round(255 * (one + (two - one) * share)):02x}" for one, two in pairs)


def _linear_rgb(lightness: float, a: float, b: float) -> tuple[float, float, float]:
    height = (lightness + 16) / 116
    xyz = [
        white * _lab_inverse(part)
        for white, part in zip(WHITE_XYZ, (height + a / 500, height, height - b / 200), strict=True)
    ]
    red, green, blue = (sum(k * part for k, part in zip(row, xyz, strict=True)) for row in XYZ_TO_RGB)
    return red, green, blue


def _lab_inverse(part: float) -> float:
    return part**3 if part > LAB_EDGE else 3 * LAB_EDGE**2 * (part - 4 / 29)


def _fits(rgb: tuple[float, float, float]) -> bool:
    return all(-IN_GAMUT_TOLERANCE <= channel <= 1 + IN_GAMUT_TOLERANCE for channel in rgb)


def _hex(rgb: tuple[float, float, float]) -> str:
    return "#" + "".join(f"{round(255 * _encoded(min(1.0, max(0.0, channel)))):02x}" for channel in rgb)


def _encoded(linear: float) -> float:
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055


def _luminance(colour: str) -> float:
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _channels(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _channels(colour: str) -> tuple[float, float, float]:
    text = colour.lstrip("#")
    try:
        red, green, blue = (int(text[i : i + 2], 16) / 255 for i in (0, 2, 4))
    except ValueError:
        raise InputError("colour", colour, "a hex colour like #a8845c") from None
    return red, green, blue
