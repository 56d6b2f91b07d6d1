"""Colour of an intimate blend of pre-dyed fibre, wavelength by wavelength.

Every model here is an average of a transform, ``f(R_b) = sum w_i f(R_i)`` with shares w by oven-dry
mass; `Mixing` says which. Default is the Stearns-Noechel form with one fitted constant; Friele, one-constant
Kubelka-Munk and the plain average are kept beside it to be chosen and compared. Two-constant Kubelka-Munk
needs a tint of every lot: what averages is its absorption and its scattering.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables

SN_B = 0.01  # fixes the scale on which M is told; only the offset c = b (1 - M) / M can be measured
LEAST_M, MOST_M = 0.02, 0.98  # M of published fibre lies between 0.05 and 0.4; at 1 the model breaks down
SHARE_SUM_TOLERANCE = 1e-6
LEAST_ABSORPTION = 1e-6
LEAST_REFLECTANCE = 1e-4  # darker than any fibre; keeps black from infinity


class BlendModel(StrEnum):
    """How reflectances mix."""

    STEARNS_NOECHEL = "stearns_noechel"
    FRIELE = "friele"
    KUBELKA_MUNK = "kubelka_munk"
    PLAIN_AVERAGE = "plain_average"
    TWO_CONSTANT = "two_constant"


OF_SPECTRA = tuple(model for model in BlendModel if model is not BlendModel.TWO_CONSTANT)


@dataclass(frozen=True, slots=True)
class Mixing:
    """A blend model and its one constant: M of Stearns and Noechel, sigma of Friele; the others have none."""

    model: BlendModel
    constant: float = 0.0

    def __post_init__(self) -> None:
        if self.model is BlendModel.STEARNS_NOECHEL:
            offset_of_m(self.constant)
        if self.model is BlendModel.FRIELE and not 0 < self.constant <= 1:
            raise InputError("Friele's constant", self.constant, "above 0 and at most 1; wool is about 0.09")


def stearns_noechel(m: float) -> Mixing:
    """Stearns and Noechel's mixing with the constant M."""
    return Mixing(BlendModel.STEARNS_NOECHEL, m)


def default_mixing(tables: Tables, model: BlendModel = BlendModel.STEARNS_NOECHEL) -> Mixing:
    """A model with its published constant for wool (table colour_models; from memory, unverified)."""
    if model is BlendModel.STEARNS_NOECHEL:
        return Mixing(model, tables.colour_models["stearns_noechel/m/wool"].value)
    if model is BlendModel.FRIELE:
        return Mixing(model, tables.colour_models["friele/sigma/wool"].value)
    return Mixing(model)


def offset_of_m(m: float) -> float:
    """Offset c of the harmonic form from Stearns and Noechel's M: ``c = b (1 - M) / M``, 0 < M < 1.

    >>> round(offset_of_m(0.15), 5)
    0.05667
    """
    if not 0 < m < 1:
        raise InputError("mixing constant M", m, "between 0 and 1; wool is about 0.15")
    return SN_B * (1 - m) / m


def m_of_offset(offset: float) -> float:
    """Stearns and Noechel's M from the offset c: ``M = b / (b + c)``, c > 0."""
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
    CIEDE2000 when the constant is fitted (table colour_models, docs/science/colour.md): do not show
    differences below 0.5 as real.

    References
    ----------
    Stearns and Noechel (1944) for the model (from memory, unverified); harmonic form derived in
    docs/science/colour.md.

    Examples
    --------
    Equal parts of a 5 % and a 60 % grey are far darker than their mean:

    >>> import numpy as np
    >>> grey = blend_reflectance(np.array([[0.05], [0.60]]), np.array([0.5, 0.5]), offset=offset_of_m(0.15))
    >>> round(float(grey[0]), 5)
    0.12686

    """
    return blend(lots, shares, stearns_noechel(m_of_offset(offset)))


def blend(lots: Floats, shares: Floats, mixing: Mixing) -> Floats:
    """Reflectance of a blend by any averaging model: ``f(R_b) = sum w_i f(R_i)``.

    Parameters
    ----------
    lots : ndarray, shape (k, n) or (..., k, n)
        Reflectance of the lots, 0..1; for two-constant Kubelka-Munk `with_scattering`, shape (k, 2n).
    shares : ndarray, shape (..., k)
        Shares by oven-dry mass; each row sums to 1.

    Raises
    ------
    InputError
        A share is negative or a row does not sum to 1.
    """
    check_shares(shares)
    f = transform(lots, mixing)
    mixed = shares @ f if f.ndim == 2 else np.einsum("...k,...kn->...n", shares, f)
    return untransform(mixed, mixing)


def transform(reflectance: Floats, mixing: Mixing) -> Floats:
    """What averages in a model, same shape: ``1/(R + c)``, ``exp(-sigma K/S)``, ``K/S`` or R itself.

    K/S is ``(1 - R)^2 / 2R``. Friele (1952) and Stearns-Noechel (1944) from memory, unverified.
    """
    if mixing.model is BlendModel.STEARNS_NOECHEL:
        return np.asarray(1 / (reflectance + offset_of_m(mixing.constant)))
    if mixing.model is BlendModel.PLAIN_AVERAGE:
        return np.asarray(reflectance)
    if mixing.model is BlendModel.TWO_CONSTANT:
        alone, scattering = np.split(reflectance, 2, axis=-1)
        return np.concatenate([absorption_of(alone) * scattering, scattering], axis=-1)
    k_over_s = absorption_of(reflectance)
    return k_over_s if mixing.model is BlendModel.KUBELKA_MUNK else np.exp(-mixing.constant * k_over_s)


def untransform(f: Floats, mixing: Mixing) -> Floats:
    """Reflectance from what averages; the inverse of `transform`."""
    if mixing.model is BlendModel.STEARNS_NOECHEL:
        return np.asarray(1 / f - offset_of_m(mixing.constant))
    if mixing.model is BlendModel.PLAIN_AVERAGE:
        return np.asarray(f)
    if mixing.model is BlendModel.TWO_CONSTANT:
        absorption, scattering = np.split(f, 2, axis=-1)
        return reflectance_of(absorption / scattering)
    return reflectance_of(f if mixing.model is BlendModel.KUBELKA_MUNK else -np.log(f) / mixing.constant)


def untransform_slope(f: Floats, mixing: Mixing) -> Floats:
    """Change of reflectance with what averages, dR/df, same shape.

    Raises
    ------
    InputError
        Two-constant Kubelka-Munk: it foretells blends and is not searched by.
    """
    if mixing.model is BlendModel.TWO_CONSTANT:
        raise InputError("blend model", str(mixing.model), "one that needs no tints, to search by")
    if mixing.model is BlendModel.STEARNS_NOECHEL:
        return np.asarray(-1 / (f * f))
    if mixing.model is BlendModel.PLAIN_AVERAGE:
        return np.ones_like(f)
    by_k = f if mixing.model is BlendModel.KUBELKA_MUNK else -np.log(f) / mixing.constant
    by_k = np.maximum(by_k, LEAST_ABSORPTION)
    slope = 1 - (by_k + 1) / np.sqrt(by_k * (by_k + 2))
    return np.asarray(slope if mixing.model is BlendModel.KUBELKA_MUNK else -slope / (mixing.constant * f))


def blend_gradient(lots: Floats, shares: Floats, mixing: Mixing) -> Floats:
    """Change of the blend's reflectance as each share rises and all shrink in proportion, shape (..., k, n).

    ``dR_b/dw_i = (f_i - f_b) dR/df``; for the harmonic form that is ``-(g_i - q) / q^2``.
    """
    f = transform(lots, mixing)
    mixed = (shares @ f)[..., None, :]
    return np.asarray((f - mixed) * untransform_slope(mixed, mixing))


def two_constant_reflectance(absorption: Floats, scattering: Floats, shares: Floats) -> Floats:
    """Two-constant Kubelka-Munk: ``K/S = sum w K / sum w S``; K, S of shape (k, n) from `two_constants`."""
    check_shares(shares)
    return reflectance_of((shares @ absorption) / (shares @ scattering))


def with_scattering(absorption: Floats, scattering: Floats) -> Floats:
    """Lots as `blend` wants them for two constants: reflectance alone, then scattering, shape (k, 2n)."""
    return np.concatenate([reflectance_of(absorption / scattering), scattering], axis=-1)


def two_constants(
    masstone: Floats, tint: Floats, white: Floats, *, tint_share: float
) -> tuple[Floats, Floats]:
    """Absorption K and scattering S of a dyed fibre from itself and one tint of it in white fibre (derived).

    White counts as S = 1. Where fibre and white absorb alike, or the tint does not lie between them, S cannot
    be told and is set to 1.

    Parameters
    ----------
    masstone, tint, white : ndarray, shape (n,)
        Reflectance of the fibre alone, of the tint, of the white fibre.
    tint_share : float
        Share of the fibre in the tint by oven-dry mass, between 0 and 1.
    """
    if not 0 < tint_share < 1:
        raise InputError("share of the fibre in its tint", tint_share, "between 0 and 1; about 0.4 is good")
    by_mass, by_tint, by_white = (absorption_of(r) for r in (masstone, tint, white))
    gained, left = (1 - tint_share) * (by_tint - by_white), tint_share * (by_mass - by_tint)
    told = (gained * left > 0) & (np.abs(left) > LEAST_ABSORPTION)
    scattering = np.where(told, gained / np.where(told, left, 1.0), 1.0)
    return by_mass * scattering, scattering


def check_shares(shares: Floats) -> None:
    """Shares are zero or more and each row sums to 1."""
    given = np.asarray(shares)
    if np.any(given < 0) or np.any(np.abs(given.sum(axis=-1) - 1) > SHARE_SUM_TOLERANCE):
        raise InputError("shares of the blend", given.tolist(), "zero or more each, 1 (100 %) together")


def absorption_of(reflectance: Floats) -> Floats:
    """Kubelka-Munk ``K/S = (1 - R)^2 / 2R``, same shape."""
    r = np.maximum(reflectance, LEAST_REFLECTANCE)
    return np.asarray((1 - r) ** 2 / (2 * r))


def reflectance_of(absorption: Floats) -> Floats:
    """R from K/S: ``1 + t - sqrt(t^2 + 2 t)``, in the form that does not cancel when dark."""
    return np.asarray(1 / (1 + absorption + np.sqrt(absorption * (absorption + 2))))
