"""What lanes along a strip have in common: stripes run across the whole width, fibre and noise do not.

Each lane's series is split into waves (the orthonormal cosine transform). The mean product of two lanes at
least two apart is free of what belongs to a lane alone, whatever its size, so it estimates the stripes
without bias. Single estimates may be below zero; they are kept so, since a mean of clipped ones would be too
high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats

LEAST_LANES = 3
TREND_DEGREE = 3
FILL_MODES = 3  # the next waves, of which the unseen ones are guessed
LEAST_KEPT = 0.3  # of a wave, below which the trend's removal leaves too little to scale up


@dataclass(frozen=True, eq=False, slots=True)
class Waves:
    """Power of a strip by wave, all of shape (n,): wave j has a wavelength of ``2 length / j``.

    Parameters
    ----------
    shared : ndarray
        Mean product of two lanes two or more apart [signal^2]; may be below zero.
    mean : ndarray
        Square of the mean over all lanes: stripes, fibre and noise together [signal^2].
    length_mm : float
        Length of the strip.
    unseen : int
        Waves 0 .. unseen - 1 went with the light that was taken out; they hold a guess from the next three.
    own : float
        Variance of a lane's cells that no other lane shares [signal^2].
    """

    shared: Floats
    mean: Floats
    length_mm: float
    unseen: int
    own: float


def waves(lanes: Floats, *, length_mm: float, trend_degree: int) -> Waves:
    """The waves of a strip from its lanes.

    A polynomial of `trend_degree` along the strip is taken out of every lane (0: the mean alone). What that
    takes from the waves that remain is known exactly and put back; the waves it takes whole are filled with
    the mean of the next three. For white signals and degree 0 this is the usual division by n - 1.

    Parameters
    ----------
    lanes : ndarray, shape (n, m)
        Signal of m lanes in n equal cells along the strip.

    Raises
    ------
    InputError
        Fewer than three lanes.
    """
    n, m = lanes.shape
    if m < LEAST_LANES:
        raise InputError("lanes across the strip", m, f"at least {LEAST_LANES}")
    basis = np.linalg.qr(np.vander(np.linspace(-1, 1, n), trend_degree + 1))[0]
    split = _cosines(lanes - basis @ (basis.T @ lanes))
    kept = np.clip(1 - (_cosines(basis) ** 2).sum(axis=1), LEAST_KEPT, None)
    sums, squares = split.sum(axis=1), (split**2).sum(axis=1)
    neighbours = (split[:, :-1] * split[:, 1:]).sum(axis=1)
    shared = (sums**2 - squares - 2 * neighbours) / ((m - 1) * (m - 2)) / kept
    mean = (sums / m) ** 2 / kept
    unseen = trend_degree + 1
    own = float((squares / m / kept - shared)[unseen:].sum() / n)
    following = slice(unseen, unseen + FILL_MODES)
    shared[:unseen], mean[:unseen] = shared[following].mean(), mean[following].mean()
    return Waves(shared / n, mean / n, length_mm, unseen, max(own, 0.0))


def _cosines(series: Floats) -> Floats:
    """Orthonormal cosine transform (type II) of each column."""
    n = len(series)
    spectrum = np.fft.rfft(np.concatenate([series, series[::-1]]), axis=0)[:n]
    turned = (spectrum * np.exp(-0.5j * np.pi * np.arange(n) / n)[:, None]).real / np.sqrt(2 * n)
    turned[0] /= np.sqrt(2)
    return np.asarray(turned)


def windowed(wave: Waves, piece_mm: Floats) -> Floats:
    """How much of each wave's power is left in means of pieces: ``sinc^2(L / wavelength)``, shape (w, n)."""
    cycles_per_mm = np.arange(len(wave.shared)) / (2 * wave.length_mm)
    return np.asarray(np.sinc(np.outer(piece_mm, cycles_per_mm)) ** 2)


def piece_variance(wave: Waves, piece_mm: Floats) -> tuple[Floats, Floats, Floats]:
    """Variance between pieces of given lengths: shared by the lanes, of their mean, and the mean's error.

    The standard error is that of the mean's variance, from its own waves: each wave's power is the square of
    a normal number, so ``se^2 = 2 sum w^2 S^2`` and ``E[P^2] = 3 S^2`` (own derivation).

    Parameters
    ----------
    piece_mm : ndarray, shape (w,)
        Lengths of pieces.

    Returns
    -------
    shared, mean, mean_se : ndarray, shape (w,)
        [signal^2].
    """
    weights = windowed(wave, piece_mm)
    shared, mean = weights @ wave.shared, weights @ wave.mean
    seen = weights.copy()
    seen[:, wave.unseen : wave.unseen + FILL_MODES] += (
        weights[:, : wave.unseen].sum(axis=1)[:, None] / FILL_MODES
    )
    seen[:, : wave.unseen] = 0
    error = np.sqrt(seen**2 @ wave.mean**2 * 2 / 3)
    return shared, mean, error


def unseen_share(wave: Waves, piece_mm: Floats) -> Floats:
    """Share of the variance between pieces that is a guess, since it went with the light, shape (w,)."""
    weights = windowed(wave, piece_mm)
    whole = np.maximum(weights @ np.maximum(wave.shared, 0), np.finfo(float).tiny)
    return np.asarray(weights[:, : wave.unseen] @ np.maximum(wave.shared[: wave.unseen], 0) / whole)
