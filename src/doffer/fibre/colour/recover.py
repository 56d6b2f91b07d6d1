"""A plausible reflectance spectrum behind a typed Lab: smooth, between 0 and 1, and exactly that colour.

The spectrum is ``R = 1 / (1 + exp(-z))`` with the smoothest z. Under one light the colour is met exactly;
under two or more, whose readings carry noise of their own, as least squares. Own solver; what it costs in
accuracy is in docs/science/colour.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.spectrum import N_BANDS, Light, lab_of_reflectance, xyz_of_lab

MOST_STEPS = 60
LONGEST_STEP = 2.0
EXACT_XYZ = 1e-9  # of white: far below what a Lab printed to two decimals says
RIDGE = 1e-8
SMOOTHNESS = (
    10.0  # weight of smoothness beside readings in units of their standard deviation (measured choice)
)
LEAST_SD = 0.02
CHROMA_STEPS = 24


@dataclass(frozen=True, slots=True)
class Recovered:
    """Spectra, shape (n, 31); how far their Lab is from the asked one, shape (n,); whether no chroma was given up."""

    reflectance: Floats
    residual_de: Floats
    is_exact: Floats


def recover_reflectance(lab: Floats, seen_in: Light) -> Recovered:
    """Spectra of Lab values under one light, shape (n, 3): exact wherever a body colour can have them.

    Where it cannot (chroma beyond what any surface reaches at that lightness), chroma is lowered until it
    can, and `is_exact` says so.

    Raises
    ------
    InputError
        Lightness outside 0..100 or a gap.
    """
    given = np.atleast_2d(np.asarray(lab, dtype=np.float64))
    _check_lab(given)
    rows, exact = [], []
    for row in given:
        spectrum, kept_all = _nearest_possible(row, seen_in)
        rows.append(spectrum)
        exact.append(kept_all)
    reflectance = np.stack(rows)
    off = np.linalg.norm(lab_of_reflectance(reflectance, seen_in) - given, axis=-1)
    return Recovered(reflectance, off, np.array(exact, dtype=np.float64))


def _nearest_possible(lab: Floats, seen_in: Light) -> tuple[Floats, bool]:
    """The spectrum of a colour, or of the same hue and lightness with the most chroma that can be."""
    found = _exact(lab, seen_in)
    if found is not None:
        return found, True
    low, high = 0.0, 1.0
    best = _exact(lab * np.array([1.0, 0.0, 0.0]), seen_in)
    for _ in range(CHROMA_STEPS):
        middle = (low + high) / 2
        tried = _exact(lab * np.array([1.0, middle, middle]), seen_in)
        if tried is None:
            high = middle
        else:
            low, best = middle, tried
    if best is None:
        raise InputError("Lab", lab.tolist(), "a colour that a surface can have")
    return best, False


def _exact(lab: Floats, seen_in: Light) -> Floats | None:
    """Sequential quadratic steps to the smoothest z that has the colour; None where there is none."""
    scale = seen_in.white_xyz
    weights = seen_in.weights / scale
    wanted = xyz_of_lab(lab, scale) / scale
    smooth = _roughness()
    level = float(np.clip(wanted[1], 0.002, 0.98))
    z = np.full(N_BANDS, np.log(level / (1 - level)))
    multipliers = np.zeros(3)
    for _ in range(MOST_STEPS):
        r = 1 / (1 + np.exp(-z))
        slope = r * (1 - r)
        gap = wanted - r @ weights
        jacobian = slope[:, None] * weights
        bend = np.maximum(0.0, (weights @ multipliers) * slope * (1 - 2 * r))
        if np.abs(gap).max() < EXACT_XYZ and np.abs(smooth @ z + jacobian @ multipliers).max() < STATIONARY:
            return r
        system = np.block([[smooth + np.diag(bend), jacobian], [jacobian.T, np.zeros((3, 3))]])
        try:
            step = np.linalg.solve(system, np.concatenate([-smooth @ z, gap]))
        except np.linalg.LinAlgError:
            return None
        move, multipliers = step[:N_BANDS], step[N_BANDS:]
        z = z + move * min(1.0, LONGEST_STEP / max(float(np.abs(move).max()), LONGEST_STEP))
        if np.abs(z).max() > MOST_Z:
            return None
    r = 1 / (1 + np.exp(-z))
    return r if np.abs(wanted - r @ weights).max() < EXACT_XYZ else None


STATIONARY = 1e-7
MOST_Z = 40.0  # beyond this a reflectance is 0 or 1 to the last bit: the colour is not to be had


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
    return Recovered(reflectance, off, np.ones(len(given)))


def _soft(labs: Floats, lights: tuple[Light, ...], sd: float) -> Floats:
    """Gauss-Newton steps on ``rho/2 z'Qz + 1/2 sum |(Lab(z) - Lab)/sd|^2``."""
    level = float(np.clip(xyz_of_lab(labs[0], lights[0].white_xyz)[1] / 100, 0.002, 0.98))
    z = np.full(N_BANDS, np.log(level / (1 - level)))
    smooth = SMOOTHNESS * _roughness()
    for _ in range(MOST_STEPS):
        r = 1 / (1 + np.exp(-z))
        rows, gaps = [], []
        for lab, one in zip(labs, lights, strict=True):
            rows.append((lab_slopes(r, one) * (r * (1 - r))) / sd)
            gaps.append((lab - lab_of_reflectance(r, one)) / sd)
        jacobian, gap = np.concatenate(rows), np.concatenate(gaps)
        move = np.linalg.solve(jacobian.T @ jacobian + smooth, jacobian.T @ gap - smooth @ z)
        z = z + move * min(1.0, LONGEST_STEP / max(float(np.abs(move).max()), LONGEST_STEP))
        if np.abs(move).max() < STATIONARY:
            break
    return np.asarray(1 / (1 + np.exp(-z)))


def lab_slopes(reflectance: Floats, seen_in: Light) -> Floats:
    """Change of L*, a*, b* with the reflectance of every band, shape (3, 31)."""
    ratio = (reflectance @ seen_in.weights) / seen_in.white_xyz
    f_slope = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio) ** -2 / 3, (29 / 6) ** 2 / 3)
    f = (f_slope / seen_in.white_xyz)[:, None] * seen_in.weights.T
    return np.stack([116 * f[1], 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _roughness() -> Floats:
    """Quadratic form of the roughness of z: squared first differences, and a touch of size."""
    differences = np.diff(np.eye(N_BANDS), axis=0)
    return np.asarray(differences.T @ differences + RIDGE * np.eye(N_BANDS))


def _check_lab(lab: Floats) -> None:
    if lab.shape[-1] != 3 or not np.all(np.isfinite(lab)):
        raise InputError("Lab", "a gap", "three numbers: L, a and b")
    if lab[..., 0].min() < 0 or lab[..., 0].max() > 100:
        raise InputError("lightness L", float(lab[..., 0].max()), "from 0 to 100")
