"""Cumulative normal and lognormal curves, the two shapes used for fibre diameters."""

from __future__ import annotations

import math

import numpy as np

from doffer.fibre.arrays import Floats

_erf = np.frompyfunc(math.erf, 1, 1)


def normal_cdf(z: Floats | float) -> Floats:
    """Share of a standard normal below z: ``(1 + erf(z / sqrt 2)) / 2``; same shape as z.

    Correct to double precision in the middle; tails below 1e-16 come out as zero.

    Examples
    --------
    >>> round(float(normal_cdf(1.96)), 4)
    0.975

    """
    return 0.5 * (1 + np.asarray(_erf(np.asarray(z, dtype=float) / math.sqrt(2)), dtype=float))


def lognormal_cdf(x_um: Floats | float, *, mean_um: Floats | float, sd_um: Floats | float) -> Floats:
    """Share of a lognormal of given mean and standard deviation below x; arrays broadcast.

    ``s^2 = ln(1 + (SD/M)^2)``, ``F(x) = Phi((ln x - ln M + s^2/2) / s)``. A lot without spread is a step
    at its mean.

    Parameters
    ----------
    x_um : float or ndarray
        Diameter [um], >= 0.
    mean_um, sd_um : float or ndarray
        Mean > 0 and standard deviation >= 0 [um] of the diameters themselves, not of their logarithms.
    """
    x, mean, sd = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (x_um, mean_um, sd_um)))
    variance = np.log1p((sd / mean) ** 2)
    spread = np.sqrt(np.where(variance > 0, variance, 1.0))
    log_x = np.log(np.where(x > 0, x, 1.0))
    z = (log_x - np.log(mean) + variance / 2) / spread
    smooth = np.where(x > 0, normal_cdf(z), 0.0)
    return np.asarray(np.where(variance > 0, smooth, np.where(x >= mean, 1.0, 0.0)))
