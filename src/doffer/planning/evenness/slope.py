"""How far the colour moves when the shares of a blend move: the slope of Lab by share.

Two forms of one thing. *Weights* are what a signal of the variation is made of: ``dLab = sum_k G_k d_k`` for
deviations d that sum to zero. *Per share* is what a person asks for, the move when one share rises by 1 and
all others shrink in proportion: ``J_k = G_k / (1 - w_k)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import Mixing, blend, blend_gradient
from doffer.fibre.colour.predict import mixing_ends
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import Light, lab_of_xyz, xyz_of_reflectance

HALF_STEP = 1e-5  # in share; the cube root is smooth enough for the central difference to be exact to 1e-8


@dataclass(frozen=True, eq=False, slots=True)
class SlopeBand:
    """Weights (3, k) of the likely model, and with its constant at either end of its range."""

    weights: Floats
    low_m: Floats
    high_m: Floats


def spectra_of_labs(labs: Floats, seen_in: Light) -> Floats:
    """Plausible spectra of lots that are known by Lab alone, shape (k, n) from (k, 3)."""
    return recover_reflectance(np.asarray(labs, dtype=np.float64), seen_in).reflectance


def slope_lab(lots: Floats, shares: Floats, seen_in: Light, *, mixing: Mixing) -> Floats:
    """Weights of the three colour signals, shape (3, k): ``G_k = d Lab(w + h (e_k - w)) / dh`` at h = 0.

    Parameters
    ----------
    lots : ndarray, shape (k, n)
        Reflectance of the lots.
    shares : ndarray, shape (k,)
        Mean oven-dry shares w [frac], summing to 1.
    seen_in : Light
        Light and observer.
    mixing : Mixing
        Blend model.

    Returns
    -------
    ndarray, shape (3, k)
        Lab per unit of deviation in share; ``sum_k w_k G_k = 0`` (computed).

    Raises
    ------
    InputError
        Shares that are negative or do not sum to 1, or fewer lots than shares.
    """
    if len(lots) != len(shares):
        raise InputError("lots of the blend", len(lots), f"as many as shares, {len(shares)}")
    xyz = xyz_of_reflectance(blend(lots, shares, mixing), seen_in)
    moved = xyz_of_reflectance(blend_gradient(lots, shares, mixing), seen_in)
    ahead = lab_of_xyz(xyz + HALF_STEP * moved, seen_in.white_xyz)
    behind = lab_of_xyz(xyz - HALF_STEP * moved, seen_in.white_xyz)
    return np.asarray((ahead - behind).T / (2 * HALF_STEP))


def slope_per_share(weights: Floats, shares: Floats) -> Floats:
    """Length of the move in Lab as each share rises by 1 and the rest shrink in proportion, shape (k,).

    ``|J_k| = |G_k| / (1 - w_k)``, CIELAB per unit of share; divide by 100 for one point. A lot that is alone
    in the blend moves nothing.
    """
    rest = 1 - np.asarray(shares)
    length = np.linalg.norm(weights, axis=0)
    return np.asarray(np.divide(length, rest, out=np.zeros_like(length), where=rest > 0))


def strongest_part(weights: Floats, shares: Floats) -> int:
    """Place of the lot whose straying colours the blend most: the largest ``|J_k|^2 w_k (1 - w_k)``.

    Each share strays as pure layers of it would, with variance ``w_k (1 - w_k)`` (computed).
    """
    shares = np.asarray(shares)
    return int(np.argmax(slope_per_share(weights, shares) ** 2 * shares * (1 - shares)))


def slope_band(lots: Floats, shares: Floats, seen_in: Light, *, mixing: Mixing, ln_m_sd: float) -> SlopeBand:
    """The slope and how far it moves with the constant of the Stearns-Noechel form (two errors of ln M)."""
    low, high = mixing_ends(mixing, ln_m_sd=ln_m_sd)
    return SlopeBand(*(slope_lab(lots, shares, seen_in, mixing=one) for one in (mixing, low, high)))


def measured_slope(lab_before: Floats, lab_after: Floats, *, moved_share_frac: float) -> float:
    """Slope of two hand cards, one with a share raised: ``|Lab_2 - Lab_1| / moved share`` [per unit share].

    Card 10 g at the wanted shares and 10 g with one share 0.05 higher, the rest shrunk in proportion.

    Raises
    ------
    InputError
        Cards that do not differ in share.
    """
    if moved_share_frac == 0:
        raise InputError("change of share between the two cards", moved_share_frac, "about 0.05")
    return float(np.linalg.norm(np.asarray(lab_after) - lab_before) / abs(moved_share_frac))
