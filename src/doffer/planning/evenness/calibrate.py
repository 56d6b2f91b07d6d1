"""Figures of one's own machines from what a mill has: a scale, a red pulse, tufts, cans side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats

ERRORS = 2.0  # standard errors to either side: about 95 %
CLEAN_DOWN_FRAC = 0.10  # a clean-down is right within this: common practice, no source
GAIN_FRAC, READ_FRAC = 0.03, 0.002  # noise of a red share read from a photo: our own guess
STEPS = 60
CLOSE_ENOUGH = 1e-9
LEAST_PIECES, LEAST_TUFTS, LEAST_CANS = 4, 5, 2


@dataclass(frozen=True, slots=True)
class Found:
    """A figure as a trial found it: value, the ends of about 95 %, how many pieces it rests on."""

    value: float
    low: float
    high: float
    n: int
    note: str = ""


def hold_up_from_clean_down(mass_g: Floats) -> Found:
    """Hold-up of a card: oven-dry grams that come off after the feed has stopped, one weighing or several.

    The ends are 10 % of one weighing (common practice), or two standard errors of several if that is more.

    Raises
    ------
    InputError
        No weighing, or one of nothing.
    """
    masses = np.atleast_1d(np.asarray(mass_g, dtype=np.float64))
    if masses.size < 1 or np.any(masses <= 0):
        raise InputError("clean-down", masses.tolist(), "one or more weighings above zero grams")
    mean, error = float(masses.mean()), 0.0
    if masses.size > 1:
        error = ERRORS * float(masses.std(ddof=1)) / math.sqrt(masses.size)
    off = max(error, CLEAN_DOWN_FRAC * mean)
    return Found(mean, max(0.0, mean - off), mean + off, int(masses.size))


def hold_up_from_pulse(mass_g: Floats, red_share: Floats) -> Found:
    """Hold-up from a pulse of red fibre fed into white: the share of red dies away as ``exp(-m / tau)``.

    Fitted as it stands, not by its logarithm, whose small values would bend it (non-linear least squares with
    free height, weights by 3 % of the reading and 0.2 points); only what comes after the peak is used.

    Parameters
    ----------
    mass_g : ndarray, shape (n,)
        Middle of each piece, counted along what came off [g oven-dry], rising.
    red_share : ndarray, shape (n,)
        Share of red in each [frac], in any scale.

    Raises
    ------
    InputError
        Fewer than four pieces after the peak, pieces out of order, or red that does not die away.
    """
    masses, shares = np.asarray(mass_g, dtype=np.float64), np.asarray(red_share, dtype=np.float64)
    if masses.shape != shares.shape or np.any(np.diff(masses) <= 0):
        raise InputError("pieces", masses.size, "as many shares as masses, in the order they came off")
    peak = int(np.argmax(shares)) if shares.size else 0
    masses, shares = masses[peak:] - masses[peak:][:1], shares[peak:]
    if masses.size < LEAST_PIECES:
        raise InputError("pieces after the peak", masses.size, f"{LEAST_PIECES} or more")
    tau_g, error = _fitted_decay(masses, shares)
    if not 0 < tau_g < 10 * masses[-1]:
        raise InputError("red pulse", f"{tau_g:.0f} g", "one that dies away within the pieces taken")
    note = "" if masses[-1] > 2 * tau_g else "pieces were taken over less than two hold-ups: take more"
    half = ERRORS * error
    return Found(tau_g, tau_g * math.exp(-half), tau_g * math.exp(half), int(masses.size), note)


def _fitted_decay(masses: Floats, shares: Floats) -> tuple[float, float]:
    """Hold-up and the standard error of its logarithm; the height at the first piece is fitted along."""
    height = float(shares[0])
    half_gone = np.flatnonzero(shares < height / 2)
    log_tau = math.log(max(float(masses[half_gone[0]] if half_gone.size else masses[-1]) / math.log(2), 1e-3))
    for _ in range(STEPS):
        decay = np.exp(-masses / math.exp(log_tau))
        model = height * decay
        noise = np.hypot(GAIN_FRAC * np.abs(model), READ_FRAC * max(1.0, height))
        slope = np.stack([model * masses / math.exp(log_tau), decay], axis=1) / noise[:, None]
        normal = slope.T @ slope
        gap = (shares - model) / noise
        step = np.linalg.lstsq(slope, gap, rcond=None)[0]
        log_tau += float(np.clip(step[0], -0.5, 0.5))
        height += float(step[1])
        if abs(step[0]) < CLOSE_ENOUGH:
            break
    free = masses.size - 2
    scale = max(1.0, float(gap @ gap) / free)
    return math.exp(log_tau), math.sqrt(float(np.linalg.inv(normal)[0, 0]) * scale)


def clump_from_tufts(mass_g: Floats) -> Found:
    """Mass of the clumps as a gram of the fibre is made of them: ``E[m^2] / E[m]`` of tufts pulled at random.

    The ends are two standard errors by leaving one tuft out at a time.

    Raises
    ------
    InputError
        Fewer than five tufts (20 are good), or one without mass.
    """
    masses = np.asarray(mass_g, dtype=np.float64)
    if masses.size < LEAST_TUFTS or np.any(masses <= 0):
        raise InputError("tufts", masses.size, f"{LEAST_TUFTS} or more, each above zero grams; 20 are good")
    squares, total = float((masses**2).sum()), float(masses.sum())
    without = (squares - masses**2) / (total - masses)
    error = ERRORS * _jackknife_error(without)
    value = squares / total
    return Found(value, max(0.0, value - error), value + error, int(masses.size))


def _jackknife_error(without: Floats) -> float:
    n = without.size
    return math.sqrt((n - 1) / n * float(((without - without.mean()) ** 2).sum()))


def correlation_of_cans(readings: Floats) -> Found:
    """Correlation between the ends of a drawing, from cans read side by side: the part common to all.

    One-way analysis of variance by place: ``rho = (MSB - MSW) / (MSB + (n - 1) MSW)``; ends by leaving one
    place out at a time. A value below zero is kept: it is chance, and an average of several needs it.

    Parameters
    ----------
    readings : ndarray, shape (cans, places)
        Shade (or share) of every can at the same places along the lot, each the mean of a long piece.

    Raises
    ------
    InputError
        Fewer than two cans or four places, or readings that do not differ.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] < LEAST_CANS or values.shape[1] < LEAST_PIECES:
        raise InputError(
            "readings", values.shape, f"{LEAST_CANS} cans or more at {LEAST_PIECES} places or more"
        )
    if float(np.ptp(values)) == 0:
        raise InputError("readings", "all alike", "readings that differ; else there is nothing to correlate")
    value = _common_part(values)
    places = values.shape[1]
    without = np.array([_common_part(np.delete(values, place, axis=1)) for place in range(places)])
    error = ERRORS * _jackknife_error(without)
    return Found(value, max(0.0, value - error), min(1.0, value + error), places)


def _common_part(values: Floats) -> float:
    cans, places = values.shape
    means = values.mean(axis=0)
    between = cans * float(means.var(ddof=1))
    within = float(((values - means) ** 2).sum()) / (places * (cans - 1))
    total = between + (cans - 1) * within
    return (between - within) / total if total > 0 else 0.0


def spread_without_floor(*, sd_frac: float, floor_sd_frac: float, reading_sd_frac: float = 0.0) -> float:
    """Measured spread less what fibre counts and the reading itself make: variances are taken off [frac].

    Zero when the floor is all there is.
    """
    if min(sd_frac, floor_sd_frac, reading_sd_frac) < 0:
        raise InputError("spread", min(sd_frac, floor_sd_frac, reading_sd_frac), "zero or more")
    return math.sqrt(max(0.0, sd_frac**2 - floor_sd_frac**2 - reading_sd_frac**2))
