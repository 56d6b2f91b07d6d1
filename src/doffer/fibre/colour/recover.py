"""A plausible reflectance spectrum behind a typed Lab: smooth, between 0 and 1, and exactly that colour.

The spectrum is ``R = 1 / (1 + exp(-z))`` with the smoothest z. Under one light the colour is met exactly;
under two or more, whose readings carry noise of their own, as least squares. Own solver; what it costs in
accuracy is in docs/science/colour.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de_ab
from doffer.fibre.colour.spectrum import (
    LINE_SLOPE,
    N_BANDS,
    RATIO_EDGE,
    Light,
    lab_of_reflectance,
    ratios_of_lab,
    xyz_of_lab,
)

MOST_STEPS = 60
LONGEST_STEP = 2.0
EXACT_XYZ = 1e-9  # of white: far below what a Lab printed to two decimals says
STATIONARY = 1e-7
MOST_Z = 40.0  # beyond this a reflectance is 0 or 1 to the last bit: the colour is not to be had
RIDGE = 1e-8
SMOOTHNESS = 10.0  # of smoothness beside readings in units of their standard deviation (measured choice)
LEAST_SD = 0.02
CHROMA_STEPS = 24
MOST_LIGHTNESS = 100.0
DARKEST_START, LIGHTEST_START = 0.002, 0.98

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, slots=True)
class Recovered:
    """Spectra (n, 31); CIELAB difference from the asked Lab (n,); whether all chroma was kept (n,)."""

    reflectance: Floats
    residual_de: Floats
    is_exact: Flags


def recover_reflectance(lab: Floats, seen_in: Light) -> Recovered:
    """Spectra of Lab values under one light, shape (n, 3): exact wherever a body colour can have them.

    Minimises ``z'Qz / 2`` (Q: squared first differences) subject to ``W' sigma(z) = XYZ``. Where no surface
    can have the colour (chroma beyond what that lightness allows), chroma is lowered until one can, and
    `is_exact` says so. Blends of spectra recovered from one light are off by about 1 CIEDE2000 on average.

    Raises
    ------
    InputError
        Lightness outside 0..100 or a gap, or black: a surface throws back something.
    """
    given = np.atleast_2d(np.asarray(lab, dtype=np.float64))
    _check_lab(given)
    reflectance, exact = _exact(given, seen_in)
    for place in np.flatnonzero(~exact):
        reflectance[place] = _most_chroma(given[place], seen_in)
    off = de_ab(given, lab_of_reflectance(reflectance, seen_in))
    return Recovered(reflectance, off, exact)


def _most_chroma(lab: Floats, seen_in: Light) -> Floats:
    """The spectrum of the same hue and lightness with the most chroma that can be."""
    grey, can_be = _exact(lab[None] * np.array([1.0, 0.0, 0.0]), seen_in)
    if not can_be[0]:
        raise InputError("Lab", lab.tolist(), "a colour that a surface can have")
    low, high, best = 0.0, 1.0, grey[0]
    for _ in range(CHROMA_STEPS):
        middle = (low + high) / 2
        tried, can_be = _exact(lab[None] * np.array([1.0, middle, middle]), seen_in)
        if can_be[0]:
            low, best = middle, tried[0]
        else:
            high = middle
    return np.asarray(best)


def _exact(labs: Floats, seen_in: Light) -> tuple[Floats, Flags]:
    """Sequential quadratic steps to the smoothest z with each colour (n, 3); False where there is none."""
    weights = seen_in.weights / seen_in.white_xyz
    wanted = xyz_of_lab(labs, seen_in.white_xyz) / seen_in.white_xyz
    smooth = _roughness()
    z = np.repeat(_start(wanted[:, 1])[:, None], N_BANDS, axis=1)
    multipliers = np.zeros((len(labs), 3))
    found = np.zeros(len(labs), dtype=bool)
    left = np.arange(len(labs))
    for _ in range(MOST_STEPS):
        r = _sigmoid(z[left])
        slope = r * (1 - r)
        gap = wanted[left] - r @ weights
        jacobian = slope[:, :, None] * weights
        pull = z[left] @ smooth
        unbalanced = np.abs(pull + np.einsum("bnx,bx->bn", jacobian, multipliers[left])).max(axis=1)
        done = (np.abs(gap).max(axis=1) < EXACT_XYZ) & (unbalanced < STATIONARY)
        found[left[done]] = True
        go = ~done & (np.abs(z[left]).max(axis=1) <= MOST_Z)
        left = left[go]
        if not left.size:
            break
        bend = np.maximum(0.0, (multipliers[left] @ weights.T) * slope[go] * (1 - 2 * r[go]))
        step = _step(smooth, bend, jacobian[go], -pull[go], gap[go])
        z[left] += _capped(step[:, :N_BANDS])
        multipliers[left] = step[:, N_BANDS:]
    return _sigmoid(z), found


def _step(smooth: Floats, bend: Floats, jacobian: Floats, pull: Floats, gap: Floats) -> Floats:
    """Newton step and new multipliers of the constrained problem, shape (n, 34)."""
    n_rows = len(bend)
    system = np.zeros((n_rows, N_BANDS + 3, N_BANDS + 3))
    system[:, :N_BANDS, :N_BANDS] = smooth
    system[:, range(N_BANDS), range(N_BANDS)] += bend
    system[:, :N_BANDS, N_BANDS:] = jacobian
    system[:, N_BANDS:, :N_BANDS] = jacobian.transpose(0, 2, 1)
    system[:, range(N_BANDS, N_BANDS + 3), range(N_BANDS, N_BANDS + 3)] = -LEAST_PIVOT
    return np.asarray(np.linalg.solve(system, np.concatenate([pull, gap], axis=1)[..., None])[..., 0])


LEAST_PIVOT = 1e-14  # keeps the system solvable where a colour cannot be had and all slopes vanish


def _capped(move: Floats) -> Floats:
    """The step, none of its parts longer than allowed."""
    longest = np.abs(move).max(axis=-1, keepdims=True)
    return np.asarray(move * np.minimum(1.0, LONGEST_STEP / np.maximum(longest, LONGEST_STEP)))


def _sigmoid(z: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-z)))


def _start(lightness_ratio: Floats) -> Floats:
    """The flat z of a grey that is as light."""
    level = np.clip(lightness_ratio, DARKEST_START, LIGHTEST_START)
    return np.asarray(np.log(level / (1 - level)))


def recover_from_lights(labs: Floats, lights: tuple[Light, ...], *, sd: float) -> Recovered:
    """Spectra of Lab readings of the same pads under several lights, shape (n, m, 3).

    Least squares of readings (in units of their standard deviation `sd`, at least 0.02) beside smoothness:
    noise of the readings does not wrench the spectrum, which exact fitting would let it do.
    """
    given = np.asarray(labs, dtype=np.float64)
    if given.ndim != 3 or given.shape[1] != len(lights):
        raise InputError("readings", given.shape, f"shaped (lots, {len(lights)} lights, 3)")
    _check_lab(given)
    reflectance = np.stack([_soft(row, lights, max(sd, LEAST_SD)) for row in given])
    seen = np.stack([lab_of_reflectance(reflectance, one) for one in lights], axis=1)
    off = np.linalg.norm(seen - given, axis=-1).mean(axis=1)
    return Recovered(reflectance, off, np.ones(len(given), dtype=bool))


def _soft(labs: Floats, lights: tuple[Light, ...], sd: float) -> Floats:
    """Gauss-Newton steps on ``rho/2 z'Qz + 1/2 sum |(Lab(z) - Lab)/sd|^2``."""
    z = np.full(N_BANDS, float(_start(ratios_of_lab(labs[0], lights[0])[1])))
    smooth = SMOOTHNESS * _roughness()
    for _ in range(MOST_STEPS):
        r = _sigmoid(z)
        rows, gaps = [], []
        for lab, one in zip(labs, lights, strict=True):
            rows.append((_lab_slopes(r, one) * (r * (1 - r))) / sd)
            gaps.append((lab - lab_of_reflectance(r, one)) / sd)
        jacobian, gap = np.concatenate(rows), np.concatenate(gaps)
        move = np.linalg.solve(jacobian.T @ jacobian + smooth, jacobian.T @ gap - smooth @ z)
        z = z + _capped(move)
        if np.abs(move).max() < STATIONARY:
            break
    return _sigmoid(z)


def _lab_slopes(reflectance: Floats, seen_in: Light) -> Floats:
    """Change of L*, a*, b* with the reflectance of every band, shape (3, 31)."""
    ratio = (reflectance @ seen_in.weights) / seen_in.white_xyz
    f_slope = np.where(ratio > RATIO_EDGE, np.cbrt(np.maximum(ratio, RATIO_EDGE)) ** -2 / 3, LINE_SLOPE)
    f = (f_slope / seen_in.white_xyz)[:, None] * seen_in.weights.T
    return np.stack([116 * f[1], 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _roughness() -> Floats:
    """Quadratic form of the roughness of z: squared first differences, and a touch of size."""
    differences = np.diff(np.eye(N_BANDS), axis=0)
    return np.asarray(differences.T @ differences + RIDGE * np.eye(N_BANDS))


def _check_lab(lab: Floats) -> None:
    if lab.shape[-1] != 3 or not np.all(np.isfinite(lab)):
        raise InputError("Lab", "a gap", "three numbers: L, a and b")
    if lab[..., 0].min() < 0 or lab[..., 0].max() > MOST_LIGHTNESS:
        lightness = lab[..., 0]
        worst = lightness.max() if lightness.max() > MOST_LIGHTNESS else lightness.min()
        raise InputError("lightness L", float(worst), "from 0 to 100")
