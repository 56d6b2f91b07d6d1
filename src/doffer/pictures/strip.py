"""Strips of fibre and roving in the fibre's own colours, as the simulated stream lays them.

A strip is a small field of pixels, one column an equal mass of the flow, one lane a part of its width. All
strips of a passage are one PNG, one below the other, served at an address of its own; each is shown through
an SVG frame that cuts it out. What the strips show is also said in words: they are a picture, no verdict.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.fibre.arrays import Floats, single
from doffer.fibre.colour.blend import Mixing, transform, untransform
from doffer.fibre.colour.screen import SCREEN_OBSERVER_DEG, encode, linear_rgb
from doffer.fibre.colour.spectrum import Light, light
from doffer.pictures.svg import el
from doffer.tables.loader import Tables

Pixels = NDArray[np.uint8]
COLUMNS: Final = 480
LANES: Final = 24
RIM_ROWS: Final = 1  # a strip's outermost rows once more, so that smoothing never shows its neighbour
MOST_FIBRES: Final = 10_000  # beyond, chance is far below one step of a screen
PNG_HEAD: Final = b"\x89PNG\r\n\x1a\n"
PNG_LEVEL: Final = 4
RGB_DEPTH: Final = (8, 2, 0, 0, 0)  # eight bits, true colour, no filter of rows between others
FULL_SCALE: Final = 255
ROW_PX: Final = 4  # a row of cloth
FURROW: Final = 0.86  # light that comes from between two rows of cloth, drawn only


@dataclass(frozen=True, eq=False, slots=True)
class Dyes:
    """How lots look mixed: spectra, blend model and the screen's light.

    Parameters
    ----------
    reflectance : ndarray, shape (k, 31)
        Spectra of the lots in the order of the shares.
    """

    reflectance: Floats
    mixing: Mixing
    screen: Light

    @classmethod
    def of(cls, reflectance: Floats, mixing: Mixing, tables: Tables) -> Dyes:
        """Under the light that a screen shows."""
        return cls(reflectance, mixing, light(tables, "D65", observer_deg=SCREEN_OBSERVER_DEG))


def seen(shares: NDArray[Any], dyes: Dyes) -> Floats:
    """Linear screen light 0..1 of shares, shape (..., k) -> (..., 3), by the blend's own model.

    In single precision: far finer than the 256 steps of a screen. What a screen cannot show is clipped.
    """
    mixed = untransform(single(shares) @ single(transform(dyes.reflectance, dyes.mixing)), dyes.mixing)
    return np.clip(linear_rgb(mixed, dyes.screen), 0, 1)


def on_screen(linear: Floats) -> Pixels:
    """The 256 steps of a screen for linear light 0..1, same shape."""
    return np.asarray(
        np.rint(FULL_SCALE * STEPS[np.rint(linear * (len(STEPS) - 1)).astype(np.intp)]), np.uint8
    )


STEPS: Final = encode(np.linspace(0.0, 1.0, 1 << 14))


def streaked(shares: NDArray[Any], *, fibres: float, streak_px: int, seed: int, lanes: int = LANES) -> Floats:
    """Shares of every cell of a strand: the mean of each column, and fibres that run along the flow.

    Each cell holds `fibres` drawn at random from its column's shares, drawn out over `streak_px` columns.
    Every column keeps its mean, so that no stripe is seen but those of the stream.

    Parameters
    ----------
    shares : ndarray, shape (n, k) or (lanes, n, k)
        Mean shares of each column, alike in all lanes or lane by lane; rows sum to 1.
    fibres : float
        Fibres in a section of one lane, 1 or more.

    Returns
    -------
    ndarray, shape (lanes, n, k)
    """
    means = np.clip(np.asarray(shares, np.float64), 0, None)
    means = means / means.sum(axis=-1, keepdims=True)
    cells = means if means.ndim == 3 else np.broadcast_to(means, (lanes, *means.shape))
    count = int(np.clip(round(fibres), 1, MOST_FIBRES))
    drawn = np.random.default_rng(seed).multinomial(count, cells) / count
    chance = _drawn_out(drawn - drawn.mean(axis=0), streak_px)
    kept = np.clip(cells + chance, 0, None)
    return np.asarray(kept / kept.sum(axis=2, keepdims=True))


def _drawn_out(chance: Floats, streak_px: int) -> Floats:
    """The running mean over a streak, as strong as before it, so that fibres still show."""
    length = chance.shape[1]
    reach = min(streak_px, length)
    wrapped = np.concatenate((chance, chance[:, :reach]), axis=1)
    sums = np.cumsum(wrapped, axis=1)
    return np.asarray((sums[:, reach:] - sums[:, :-reach]) / np.sqrt(reach))


def cloth(shares: NDArray[Any], dyes: Dyes) -> Floats:
    """A swatch of cloth: linear light of rows of yarn, shape (rows, n, k) -> (rows * ROW_PX, n, 3).

    Every row lies above the last, in the same direction, with a furrow between; loops are not drawn.
    """
    rows = np.repeat(seen(shares, dyes), ROW_PX, axis=0)
    rows[::ROW_PX] *= FURROW
    return rows


def stacked(strips: Sequence[Pixels]) -> Pixels:
    """Strips of one size, one below the other, each with its outermost rows once more.

    Raises
    ------
    InputError
        No strip, or strips of different sizes.
    """
    if not strips or len({strip.shape for strip in strips}) != 1:
        raise InputError("strips", [strip.shape for strip in strips], "one or more, all of one size")
    rims = ((RIM_ROWS, RIM_ROWS), (0, 0), (0, 0))
    return np.concatenate([np.pad(strip, rims, mode="edge") for strip in strips])


def png(pixels: Pixels) -> bytes:
    """A PNG of pixels, shape (rows, columns, 3), eight bits a channel (ISO/IEC 15948)."""
    height, width, _ = pixels.shape
    lines = np.zeros((height, 1 + 3 * width), np.uint8)
    lines[:, 1:] = pixels.reshape(height, -1)
    head = struct.pack(">II5B", width, height, *RGB_DEPTH)
    packed = zlib.compress(lines.tobytes(), PNG_LEVEL)
    return PNG_HEAD + _chunk(b"IHDR", head) + _chunk(b"IDAT", packed) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def framed(
    href: str,
    said: str,
    *,
    place: int,
    n_strips: int,
    is_fleecy: bool,
    columns: int = COLUMNS,
    lanes: int = LANES,
) -> str:
    """One strip cut out of the stacked ones at `href`; `said` tells it to those who do not see it.

    Stretched to the room there is. Locks keep their edges (`is_fleecy`), fibres are smoothed.

    Raises
    ------
    InputError
        There is no strip at this place.
    """
    if not 0 <= place < n_strips:
        raise InputError("strip", place, f"from 0 to {n_strips - 1}")
    step = lanes + 2 * RIM_ROWS
    return el(
        "svg",
        el("title", escape(said)),
        el("desc"),
        el(
            "image",
            href=href,
            x=0,
            y=0,
            width=columns,
            height=step * n_strips,
            preserveAspectRatio="none",
            image_rendering="pixelated" if is_fleecy else "auto",
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 {place * step + RIM_ROWS} {columns} {lanes}",
        preserveAspectRatio="none",
        class_="strip",
        role="img",
        aria_label=said,
    )
