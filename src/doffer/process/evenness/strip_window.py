"""What one strip can show of a lot: the waves shorter than itself, and how few of them there are.

A photograph of 30 cm of roving compares pieces within those 30 cm. Drifts along tens of metres move all of
them together and are not in it; they are found in pieces taken from all over the lot.
"""

from __future__ import annotations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Variation
from doffer.process.evenness.spectrum import between_variance

MOST_WAVES = 4096  # of a strip: finer pieces than this add nothing to the count of free waves
NEXT_WAVE = 1.5  # half waves: the first is counted from nought to here


def within_variance(variation: Variation, *, piece_g: float, strip_g: float) -> Floats:
    """Variance between pieces of one strip about the strip's own mean, shape (q,), expected over the lot.

    ``B(piece) - B(strip)``: what pieces all over the lot differ by, less what whole strips differ by.
    Computed (the law of total variance).

    Raises
    ------
    InputError
        A strip that holds less than two pieces.
    """
    _check(piece_g, strip_g)
    between = between_variance(variation, masses_g=np.array([piece_g, strip_g]))
    return np.asarray(np.maximum(between[:, 0] - between[:, 1], 0))


def strip_freedom(variation: Variation, *, piece_g: float, strip_g: float) -> Floats:
    """Degrees of freedom of the variance within one strip, shape (q,), from 1 up to its pieces less one.

    ``(sum v)^2 / sum v^2`` over the variances v of the half waves ``j / (2 strip)`` that fit the strip; what
    is left over counts as drift and belongs to the first. White noise has about half as many as pieces, a
    wandering shade about 2.5. Computed (Satterthwaite's rule, from memory).
    """
    _check(piece_g, strip_g)
    pieces = strip_g / piece_g
    numbers = np.arange(1, min(MOST_WAVES, max(2, int(pieces))))
    waves = numbers / (2 * strip_g)
    boxes = np.sinc(waves * piece_g) ** 2 / (2 * strip_g)
    powers = np.stack([np.interp(waves, variation.cycles_per_g, row) for row in variation.density_g]) * boxes
    at = np.rint(variation.line_cycles_per_g * 2 * strip_g).astype(np.intp)
    lines = variation.line_variance * np.sinc(variation.line_cycles_per_g * piece_g) ** 2
    is_seen = (variation.line_cycles_per_g * 2 * strip_g >= NEXT_WAVE) & (at <= len(numbers))
    powers += [np.bincount(at[is_seen] - 1, weights=line[is_seen], minlength=len(numbers)) for line in lines]
    total = within_variance(variation, piece_g=piece_g, strip_g=strip_g)
    powers[:, 0] += np.maximum(total - powers.sum(axis=1), 0)
    squares = (powers**2).sum(axis=1)
    found = np.divide(powers.sum(axis=1) ** 2, squares, out=np.ones(len(powers)), where=squares > 0)
    return np.asarray(np.clip(found, 1.0, max(1.0, pieces - 1)))


def _check(piece_g: float, strip_g: float) -> None:
    if not 0 < piece_g <= strip_g / 2:
        raise InputError(
            "piece and strip", f"{piece_g:g} g of {strip_g:g} g", "a strip that holds two pieces or more"
        )
