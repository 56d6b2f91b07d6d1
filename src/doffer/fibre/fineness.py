"""Fineness of fibre: mixtures by mass and by length, coarse ends, spinning fineness, histogram.

A laboratory that measures a blend counts pieces of fibre, so it sees shares by LENGTH; the trade joins
lots by MASS. For lots of like fineness both agree; for a fine and a coarse lot they differ by
micrometres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.distribution import lognormal_cdf, normal_cdf
from doffer.fibre.material import Material
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working, percent


class Curve(StrEnum):
    """Shape taken for the diameters inside one lot."""

    NORMAL = "normal"
    LOGNORMAL = "lognormal"


@dataclass(frozen=True, slots=True)
class Fineness:
    """Mean fibre diameter and its standard deviation [um]."""

    diameter_um: float
    diameter_sd_um: float

    @property
    def diameter_cv_frac(self) -> float:
        """Coefficient of variation: SD / mean [frac]."""
        return self.diameter_sd_um / self.diameter_um


def length_shares(
    *, mass_shares: Floats, diameter_um: Floats, diameter_sd_um: Floats, density_g_cm3: Floats
) -> Floats:
    """Shares by fibre length from shares by oven-dry mass, shape (k,), summing to 1.

    ``l_i ~ w_i / (rho_i (M_i^2 + SD_i^2))``: a metre of fine fibre weighs less. Computed from round
    sections.

    Parameters
    ----------
    mass_shares : ndarray, shape (k,)
        w_i >= 0, not all zero.
    diameter_um, diameter_sd_um : ndarray, shape (k,)
        Mean > 0 and SD >= 0 per unit length [um].
    density_g_cm3 : ndarray, shape (k,)
        rho_i [g/cm3], > 0; hollow fibre is lighter.
    """
    _check_lots(mass_shares, diameter_um, diameter_sd_um)
    if np.any(density_g_cm3 <= 0):
        raise InputError("density", density_g_cm3.tolist(), "above zero")
    raw = mass_shares / (density_g_cm3 * (diameter_um**2 + diameter_sd_um**2))
    return np.asarray(raw / raw.sum())


def number_shares(*, length_shares: Floats, fibre_length_mm: Floats) -> Floats:
    """Shares by number of fibres: ``n_i ~ l_i / L_i``, shape (k,), summing to 1; L mean fibre length [mm]."""
    if np.any(fibre_length_mm <= 0):
        raise InputError("fibre length", fibre_length_mm.tolist(), "above zero")
    raw = length_shares / fibre_length_mm
    return np.asarray(raw / raw.sum())


def mixture(*, shares: Floats, diameter_um: Floats, diameter_sd_um: Floats) -> Fineness:
    """Mean and SD of a mixture: ``M = sum p mu``, ``SD^2 = sum p (s^2 + mu^2) - M^2``.

    Shares by mass give the trade's figure, shares by length the laboratory's. Exact for any shape of curve.
    """
    _check_lots(shares, diameter_um, diameter_sd_um)
    p = shares / shares.sum()
    mean = float(p @ diameter_um)
    variance = float(p @ (diameter_sd_um**2 + (diameter_um - mean) ** 2))
    return Fineness(mean, math.sqrt(variance))


def coarse_frac(
    *, diameter_um: Floats, diameter_sd_um: Floats, limit_um: float, curve: Curve = Curve.LOGNORMAL
) -> Floats:
    """Share of fibre coarser than a limit, lot by lot [frac], same shape as the diameters.

    Normal ``1 - Phi((x - M)/SD)``; lognormal with the same mean and SD. An estimate: use a measured
    histogram when there is one; with 1000 fibres measured a share of 5 % is known to about 0.7 points.
    """
    _check_lots(np.ones_like(diameter_um), diameter_um, diameter_sd_um)
    if limit_um <= 0:
        raise InputError("limit", limit_um, "above zero")
    return np.asarray(1 - _cdf(limit_um, diameter_um, diameter_sd_um, curve))


def blend_coarse_frac(
    *,
    length_shares: Floats,
    diameter_um: Floats,
    diameter_sd_um: Floats,
    limit_um: float,
    curve: Curve = Curve.LOGNORMAL,
) -> float:
    """Share of a blend coarser than a limit [frac]: ``sum l_i tail_i``; never one curve for a blend."""
    tails = coarse_frac(
        diameter_um=diameter_um, diameter_sd_um=diameter_sd_um, limit_um=limit_um, curve=curve
    )
    return float(length_shares @ tails / length_shares.sum())


def spinning_fineness_um(tables: Tables, *, diameter_um: float, diameter_cv_frac: float) -> float:
    """Diameter of an even fibre that spins alike [um]: ``SF = d sqrt((1 + 5 CV^2)/(1 + 5 CV0^2))``.

    CV0 is 24 %. Constants: table constants (Butler and Dolling, from memory, unverified).
    """
    if diameter_um <= 0 or not 0 <= diameter_cv_frac < 1:
        raise InputError(
            "diameter and its CV", (diameter_um, diameter_cv_frac), "above zero; CV from 0 to below 1"
        )
    weight = tables.constants["spinning_fineness_cv_weight"].value
    reference = tables.constants["spinning_fineness_cv_reference"].value / 100
    return diameter_um * math.sqrt((1 + weight * diameter_cv_frac**2) / (1 + weight * reference**2))


@dataclass(frozen=True, slots=True)
class Histogram:
    """Diameter histogram: edges [um], shape (b + 1,), and share of all fibre by lot and bin, shape (k, b)."""

    edges_um: Floats
    part_fracs: Floats

    @property
    def total_fracs(self) -> Floats:
        """Share of all fibre in each bin, shape (b,)."""
        return np.asarray(self.part_fracs.sum(axis=0))


def histogram(
    *,
    length_shares: Floats,
    diameter_um: Floats,
    diameter_sd_um: Floats,
    edges_um: Floats,
    curve: Curve = Curve.LOGNORMAL,
) -> Histogram:
    """Expected histogram of a blend by length: each lot's curve between the edges, times its share.

    Sums to 1 less what lies outside the edges. Edges rising, shape (b + 1,), b >= 1.
    """
    if edges_um.ndim != 1 or len(edges_um) < 2 or np.any(np.diff(edges_um) <= 0):
        raise InputError("edges", edges_um.tolist(), "at least two rising diameters")
    _check_lots(length_shares, diameter_um, diameter_sd_um)
    below = _cdf(edges_um[None, :], diameter_um[:, None], diameter_sd_um[:, None], curve)
    shares = length_shares / length_shares.sum()
    return Histogram(edges_um, np.asarray(shares[:, None] * np.diff(below, axis=1)))


@dataclass(frozen=True, slots=True)
class BlendFineness:
    """Fineness of a blend both ways, its coarse ends [frac by length], and the working."""

    by_mass: Fineness
    by_length: Fineness
    length_shares: Floats
    coarse_frac: float
    working: Working


def material_fineness(material: Material, tables: Tables) -> BlendFineness:
    """Fineness of a material from its constituents and their mean oven-dry masses.

    Length basis is what a laboratory will measure, mass basis what the trade quotes for joined lots.
    """
    masses = material.dry_mass_g.mean(axis=1)
    mean = np.array([c.diameter_um for c in material.constituents])
    sd = np.array([c.diameter_um * c.diameter_cv_frac for c in material.constituents])
    density = np.array([tables.fibres[c.fibre].density_g_cm3 for c in material.constituents])
    by_length = length_shares(mass_shares=masses, diameter_um=mean, diameter_sd_um=sd, density_g_cm3=density)
    limit = tables.constants["prickle_limit"].value
    length_basis = mixture(shares=by_length, diameter_um=mean, diameter_sd_um=sd)
    mass_basis = mixture(shares=masses, diameter_um=mean, diameter_sd_um=sd)
    inputs = tuple(
        Term(f"{c.lot} {tables.fibres[c.fibre].name}", c.diameter_um, "um", f"{percent(share)} of the length")
        for c, share in zip(material.constituents, by_length, strict=True)
    )
    return BlendFineness(
        by_mass=mass_basis,
        by_length=length_basis,
        length_shares=by_length,
        coarse_frac=blend_coarse_frac(
            length_shares=by_length, diameter_um=mean, diameter_sd_um=sd, limit_um=limit
        ),
        working=Working(
            title="Mean fineness as a laboratory would measure it",
            formula="M = Σ l·μ, l = share by length ∝ mass ÷ (density × (μ² + SD²))",
            inputs=inputs,
            result=Term(
                "mean diameter", length_basis.diameter_um, "um", f"SD {length_basis.diameter_sd_um:.1f}"
            ),
            source="arithmetic of mixtures with round fibres",
            status=Status.COMPUTED,
            note=f"joined by mass, as the trade does: {mass_basis.diameter_um:.1f} µm",
        ),
    )


def _cdf(x_um: Floats | float, mean_um: Floats, sd_um: Floats, curve: Curve) -> Floats:
    """Share below x; a lot without spread is a step at its mean."""
    if curve is Curve.LOGNORMAL:
        return lognormal_cdf(x_um, mean_um=mean_um, sd_um=sd_um)
    step = np.where(np.asarray(x_um) >= mean_um, 1.0, 0.0)
    z = (x_um - mean_um) / np.where(sd_um > 0, sd_um, 1.0)
    return np.asarray(np.where(sd_um > 0, normal_cdf(z), step))


def _check_lots(shares: Floats, diameter_um: Floats, diameter_sd_um: Floats) -> None:
    if np.any(shares < 0) or float(shares.sum()) <= 0:
        raise InputError("shares", shares.tolist(), "zero or more each, more than zero together")
    if np.any(diameter_um <= 0) or np.any(diameter_sd_um < 0):
        raise InputError(
            "diameter", diameter_um.tolist(), "above zero, with a standard deviation of zero or more"
        )
