"""The chance that a specimen of the finished goods is outside the tolerance of its label."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.distribution import normal_cdf
from doffer.fibre.variation import Signals
from doffer.process.evenness.fibres import fibre_tex, section_spread
from doffer.process.evenness.passage import Part
from doffer.tables.loader import Tables

UG_FROM_TEX_MM = 1.0  # a fibre of 1 tex and 1 mm weighs 1 ug
G_PER_UG = 1e-6
SPECIMENS = 2  # of at least 1 g each in ISO 1833-1 and Regulation (EU) 1007/2011: from memory, unverified


@dataclass(frozen=True, slots=True)
class LabelRisk:
    """Chance of missing the label.

    Parameters
    ----------
    name : str
        The fibre whose share is tested.
    sd_frac : float
        Standard deviation of the mean of the specimens [frac].
    floor_frac : float
        The share of it that the number of fibres alone makes: nothing cures it [frac].
    chance : float
        Chance that the mean of the specimens is out of tolerance, 0..1.
    """

    name: str
    sd_frac: float
    floor_frac: float
    chance: float


def fibre_mass_ug(part: Part) -> float:
    """Mass of a fibre as a gram of the part is made of them, ``E[m^2] / E[m]`` [ug].

    Linear density goes by diameter squared, so ``a* = a (1 + CV_a^2)`` with, for a normal diameter,
    ``1 + CV_a^2 = (1 + 6c^2 + 3c^4) / (1 + c^2)^2`` (computed); lengths likewise ``l* = l (1 + CV_l^2)``.
    """
    mean_tex = fibre_tex(
        diameter_um=part.diameter_um,
        density_g_cm3=part.density_g_cm3,
        diameter_cv_frac=part.diameter_cv_frac,
    )
    by_mass = section_spread(part.diameter_cv_frac) * (1 + part.staple_cv_frac**2)
    return UG_FROM_TEX_MM * mean_tex * by_mass * part.staple_mm


def specimen_sampling_variance(parts: Sequence[Part], *, specimen_g: float) -> Floats:
    """Variance of each share in a specimen of perfectly mixed fibre, shape (k,) [frac^2].

    ``Var(f_k) = f_k ((1 - f_k)^2 m_k + f_k sum_(j != k) f_j m_j) / w`` with fibre masses m and specimen w
    (delta method on Poisson counts, computed; ``pq/n`` for equal fibres).

    Raises
    ------
    InputError
        A specimen without mass.
    """
    if not specimen_g > 0:
        raise InputError("specimen", specimen_g, "above zero grams; a label test takes about 1 g")
    share = np.array([part.share_frac for part in parts])
    mass_g = np.array([fibre_mass_ug(part) for part in parts]) * G_PER_UG
    others = (share * mass_g).sum() - share * mass_g
    return np.asarray(share * ((1 - share) ** 2 * mass_g + share * others) / specimen_g)


def label_signals(parts: Sequence[Part], tables: Tables) -> Signals:
    """The share of every fibre that a label names, lots of one together; a part of no fibre by itself."""
    names = [label_name(part, tables) for part in parts]
    unique = tuple(dict.fromkeys(names))
    return Signals(unique, np.array([[float(name == one) for name in names] for one in unique]))


def label_name(part: Part, tables: Tables) -> str:
    """What a part counts as on a label: the fibre's name, or its own."""
    row = tables.fibres.get(part.fibre)
    return part.name if row is None else tables.fibres[row.label_as].name


def signals_sampling_variance(parts: Sequence[Part], signals: Signals, *, specimen_g: float) -> Floats:
    """Variance of each signal in a specimen of perfectly mixed fibre, shape (q,) [signal^2].

    ``sum_k f_k m_k (w_k - mean)^2 / specimen`` with fibre masses m: for the share of one part that of
    `specimen_sampling_variance`; nothing for what is the same of every part. Computed.
    """
    share = np.array([part.share_frac for part in parts])
    mass_g = np.array([fibre_mass_ug(part) for part in parts]) * G_PER_UG
    away = signals.weights - (signals.weights @ share)[:, None]
    return np.asarray(away**2 @ (share * mass_g) / specimen_g)


def miss_chance(*, sd_frac: float, tolerance_frac: float, bias_frac: float = 0.0) -> float:
    """Chance of a deviation beyond the tolerance: ``Phi(-(t - b)/s) + Phi(-(t + b)/s)``, normal.

    >>> round(miss_chance(sd_frac=0.015, tolerance_frac=0.03), 3)
    0.046
    """
    if sd_frac < 0 or tolerance_frac <= 0:
        raise InputError("spread and tolerance", (sd_frac, tolerance_frac), "zero or more, and above zero")
    if sd_frac == 0:
        return float(abs(bias_frac) > tolerance_frac)
    ends = np.array([-(tolerance_frac - bias_frac), -(tolerance_frac + bias_frac)]) / sd_frac
    return float(normal_cdf(ends).sum())


def specimens_variance(
    specimen: Floats, shared: Floats, sampling: Floats, *, specimens: int = SPECIMENS
) -> Floats:
    """Variance of the mean of specimens of one skein, shape (k,) [frac^2].

    What varies from skein to skein is shared by all: ``B_skein + (B_specimen - B_skein + floor) / n``.

    Parameters
    ----------
    specimen, shared : ndarray, shape (k,)
        Variance between specimens anywhere in the lot, and between whole skeins.
    sampling : ndarray, shape (k,)
        Of the number of fibres in one specimen.
    specimens : int
        How many are tested, >= 1.
    """
    if specimens < 1:
        raise InputError("specimens", specimens, "one or more")
    common = np.minimum(shared, specimen)
    return np.asarray(common + (specimen - common + sampling) / specimens)


def label_risks(
    names: Sequence[str],
    variance: Floats,
    sampling: Floats,
    *,
    specimens: int = SPECIMENS,
    tolerance_frac: float,
    bias_frac: float = 0.0,
) -> tuple[LabelRisk, ...]:
    """Chance of missing the label for every name on it.

    Parameters
    ----------
    names : sequence of str
        Fibres the label names, see `label_signals`.
    variance : ndarray, shape (k,)
        Of the mean of the specimens, from `specimens_variance`.
    sampling : ndarray, shape (k,)
        Of the number of fibres in one specimen.
    bias_frac : float
        What weighing out and the regains may be wrong by [frac].
    """
    return tuple(
        LabelRisk(
            name,
            math.sqrt(spread),
            math.sqrt(floor / specimens),
            miss_chance(sd_frac=math.sqrt(spread), tolerance_frac=tolerance_frac, bias_frac=bias_frac),
        )
        for name, spread, floor in zip(names, variance, sampling, strict=True)
    )
