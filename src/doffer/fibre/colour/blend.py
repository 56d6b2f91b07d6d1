"""Colour of an intimate blend of pre-dyed fibre, wavelength by wavelength.

Default is the Stearns-Noechel form with one fitted constant; Friele and one-constant Kubelka-Munk are kept
beside it to be compared. All three are an average of a transform: ``f(R_b) = sum w_i f(R_i)``.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats

SN_B = 0.01  # Stearns and Noechel's b; it enters only together with M, as the offset c
SHARE_SUM_TOLERANCE = 1e-6


class BlendModel(StrEnum):
    """How reflectances mix."""

    STEARNS_NOECHEL = "stearns_noechel"
    FRIELE = "friele"
    KUBELKA_MUNK = "kubelka_munk"


def offset_of_m(m: float) -> float:
    """Offset c of the harmonic form from Stearns and Noechel's M: ``c = b (1 - M) / M``, 0 < M < 1."""
    if not 0 < m < 1:
        raise InputError("mixing constant M", m, "between 0 and 1; wool is about 0.15")
    return SN_B * (1 - m) / m


def m_of_offset(offset: float) -> float:
    """Stearns and Noechel's M from the offset c: ``M = b / (b + c)``."""
    if offset <= 0:
        raise InputError("offset", offset, "above zero")
    return SN_B / (SN_B + offset)


def blend_reflectance(lots: Floats, shares: Floats, *, offset: float) -> Floats:
    """Reflectance of a blend from the reflectance of its lots.

    Stearns-Noechel mixing written as a weighted harmonic mean::

        1 / (R_b + c) = sum_i w_i / (R_i + c)

    It is linear in ``g = 1 / (R + c)``, so recipe search stays linear algebra.

    Parameters
    ----------
    lots : ndarray, shape (k, n) or (..., k, n)
        R_i, reflectance of each lot as an opaque pad, 0..1, at n wavelengths.
    shares : ndarray, shape (..., k)
        w_i, shares by OVEN-DRY mass, >= 0; each row sums to 1.
    offset : float
        c > 0, the one fitted constant; see `offset_of_m`.

    Returns
    -------
    ndarray, shape (..., n)
        R_b, never outside the darkest and lightest lot, never lighter than the plain mean.

    Raises
    ------
    InputError
        A share is negative or a row does not sum to 1.

    Notes
    -----
    Valid for dyed fibre of like fineness mixed to single fibres. Published mean error about 1.0 to 1.2
    CIEDE2000 when the constant is fitted (docs/science/colour.md): do not show differences below 0.5 as
    real.

    References
    ----------
    Stearns and Noechel (1944) for the model (from memory, unverified); harmonic form derived in
    docs/science/colour.md.

    Examples
    --------
    Equal parts of a 5 % and a 60 % grey are far darker than their mean:

    >>> grey = blend_reflectance(np.array([[0.05], [0.60]]), np.array([0.5, 0.5]), offset=offset_of_m(0.15))
    >>> round(float(grey[0]), 6)
    0.126857

    """
    check_shares(shares)
    return mix(shares, 1 / (lots + offset), offset)


def mix(shares: Floats, inverse: Floats, offset: float) -> Floats:
    """The blend from ``g = 1 / (R + c)`` of the lots, unchecked: for searches that try very many."""
    mixed = shares @ inverse if inverse.ndim == 2 else np.einsum("...k,...kn->...n", shares, inverse)
    return np.asarray(1 / mixed - offset)


def friele_reflectance(lots: Floats, shares: Floats, *, sigma: float = 0.09) -> Floats:
    """Friele's mixing: ``f = exp(-sigma (1 - R)^2 / 2R)`` (Friele 1952, from memory, unverified)."""
    check_shares(shares)
    mixed = shares @ np.exp(-sigma * _absorption(lots))
    return _reflectance(-np.log(mixed) / sigma)


def kubelka_munk_reflectance(lots: Floats, shares: Floats) -> Floats:
    """One-constant Kubelka-Munk mixing: ``theta = (1 - R)^2 / 2R`` averages. Far off for fibre unless fitted."""
    check_shares(shares)
    return _reflectance(shares @ _absorption(lots))


def two_constant_reflectance(k: Floats, s: Floats, shares: Floats) -> Floats:
    """Two-constant Kubelka-Munk: ``theta = sum w k / sum w s``; k and s of shape (lots, n) from `two_constants`."""
    check_shares(shares)
    return _reflectance((shares @ k) / (shares @ s))


def two_constants(
    masstone: Floats, tint: Floats, white: Floats, *, tint_share: float
) -> tuple[Floats, Floats]:
    """Absorption k and scattering s of a dyed fibre from itself and one tint in white fibre (derived).

    White counts as s = 1. Where fibre and white absorb alike, s cannot be told and is set to 1.
    """
    theta_m, theta_t, theta_w = (_absorption(r) for r in (masstone, tint, white))
    away = tint_share * (theta_m - theta_t)
    told = np.abs(away) > LEAST_ABSORPTION
    s = np.where(told, (1 - tint_share) * (theta_t - theta_w) / np.where(told, away, 1.0), 1.0)
    return theta_m * s, s


LEAST_ABSORPTION = 1e-6


def blend_gradient(lots: Floats, shares: Floats, *, offset: float) -> Floats:
    """Change of the blend's reflectance with each share, shape (..., k, n): ``dR_b/dw_i = -g_i / q^2``.

    Along the simplex (a share rises, all shrink in proportion) it is ``-(g_i - q) / q^2``, which is what is
    returned.
    """
    g = 1 / (lots + offset)
    q = (shares @ g)[..., None, :]
    return np.asarray(-(g - q) / q**2)


def check_shares(shares: Floats) -> None:
    """Shares are zero or more and each row sums to 1."""
    given = np.asarray(shares)
    if np.any(given < 0) or np.any(np.abs(given.sum(axis=-1) - 1) > SHARE_SUM_TOLERANCE):
        raise InputError("shares of the blend", given.tolist(), "zero or more each, 1 (100 %) together")


def _absorption(reflectance: Floats) -> Floats:
    """Kubelka-Munk ``K/S = (1 - R)^2 / 2R``; black is kept from infinity."""
    r = np.maximum(reflectance, LEAST_REFLECTANCE)
    return np.asarray((1 - r) ** 2 / (2 * r))


def _reflectance(absorption: Floats) -> Floats:
    """R from K/S: ``1 + t - sqrt(t^2 + 2 t)``."""
    return np.asarray(1 + absorption - np.sqrt(absorption**2 + 2 * absorption))


LEAST_REFLECTANCE = 1e-4  # darker than any fibre
