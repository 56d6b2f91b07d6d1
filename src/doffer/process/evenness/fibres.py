"""What no mixing cures: fibres are counted, so a section holds more or fewer of them, and of each part.

Masses of fibres are given as linear density a [tex]; a section is counted by the mass-weighted mean
``a* = E[a^2] / E[a]``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.fineness import TEX_PER_UM2_G_CM3
from doffer.fibre.variation import Signals, Variation, unmixed_variance
from doffer.process.evenness.passage import Part


class Limit(StrEnum):
    """How the limit of evenness is worked out from the spread of diameters."""

    EXACT = "exact"  # normal diameters
    USUAL = "usual"  # 1 + 4 CV^2
    LOGNORMAL = "lognormal"


def fibre_tex(*, diameter_um: float, density_g_cm3: float, diameter_cv_frac: float = 0.0) -> float:
    """Linear density of a fibre [tex], the mean over its diameters.

    ``a = pi / 4 rho d^2 (1 + CV^2) / 1000``. Geometry of round sections.

    >>> round(fibre_tex(diameter_um=25, density_g_cm3=1.31), 3)
    0.643
    """
    if not (diameter_um > 0 and density_g_cm3 > 0 and diameter_cv_frac >= 0):
        raise InputError(
            "fibre",
            (diameter_um, density_g_cm3, diameter_cv_frac),
            "a diameter and a density above zero, a spread of zero or more",
        )
    return float(np.pi / 4 * density_g_cm3 * diameter_um**2 * (1 + diameter_cv_frac**2) * TEX_PER_UM2_G_CM3)


def section_spread(diameter_cv_frac: float) -> float:
    """``1 + CV_A^2`` of the sections of fibres whose diameters are normal.

    ``(1 + 6 c^2 + 3 c^4) / (1 + c^2)^2``. Computed from the moments of the normal curve.

    >>> round(section_spread(0.25), 4)
    1.2284
    """
    square = diameter_cv_frac**2
    return float((1 + 6 * square + 3 * square**2) / (1 + square) ** 2)


def _spread(diameter_cv_frac: float, form: Limit) -> float:
    """``1 + CV_A^2`` of the sections by the shape taken for the diameters."""
    if form is Limit.EXACT:
        return section_spread(diameter_cv_frac)
    square = diameter_cv_frac**2
    return float(1 + 4 * square if form is Limit.USUAL else (1 + square) ** 4)


def _counted_tex(parts: Sequence[Part], form: Limit = Limit.EXACT) -> Floats:
    """``a*`` of each part [tex], shape (k,)."""
    return np.array([_tex_of(part) * _spread(part.diameter_cv_frac, form) for part in parts])


def _tex_of(part: Part) -> float:
    return fibre_tex(
        diameter_um=part.diameter_um,
        density_g_cm3=part.density_g_cm3,
        diameter_cv_frac=part.diameter_cv_frac,
    )


def _shares(parts: Sequence[Part]) -> Floats:
    return np.array([part.share_frac for part in parts])


def _check_strand(strand_tex: float) -> None:
    if not strand_tex > 0:
        raise InputError("count", strand_tex, "above zero tex")


def fibres_in_section(parts: Sequence[Part], *, strand_tex: float) -> float:
    """Mean number of fibres across a strand: ``T sum_k p_k / a_k``. Geometry."""
    _check_strand(strand_tex)
    return float(sum(strand_tex * part.share_frac / _tex_of(part) for part in parts))


def limit_cv_frac(*, fibres: float, diameter_cv_frac: float, form: Limit = Limit.EXACT) -> float:
    """Coefficient of variation of mass that a strand cannot fall below [frac].

    ``sqrt((1 + CV_A^2) / n)``; EXACT takes CV_A of normal diameters, USUAL ``1 + 4 CV_d^2``, of which comes
    the "112" of wool at a CV of 25 %, LOGNORMAL ``(1 + CV_d^2)^4``.

    Parameters
    ----------
    fibres : float
        Mean number of fibres in the section n, > 0.
    diameter_cv_frac : float
        Spread of the diameters [frac], >= 0.
    form : Limit
        Which spread of sections is taken.

    References
    ----------
    Martindale, J. Text. Inst. 1945, from memory; the exact form is computed.

    Examples
    --------
    >>> round(100 * limit_cv_frac(fibres=1, diameter_cv_frac=0.25, form=Limit.USUAL), 1)
    111.8
    >>> round(100 * limit_cv_frac(fibres=1, diameter_cv_frac=0.25), 1)
    110.8
    """
    if not fibres > 0 or diameter_cv_frac < 0:
        raise InputError(
            "fibres in the section", (fibres, diameter_cv_frac), "above zero, with a spread of zero or more"
        )
    return float(np.sqrt(_spread(diameter_cv_frac, form) / fibres))


def blend_limit_cv_frac(parts: Sequence[Part], *, strand_tex: float, form: Limit = Limit.EXACT) -> float:
    """The same limit for a blend: ``sqrt(sum_k p_k a*_k / T)`` [frac]. Computed from counts of fibres."""
    _check_strand(strand_tex)
    return float(np.sqrt(_shares(parts) @ _counted_tex(parts, form) / strand_tex))


def irregularity_index(*, cv_frac: float, limit_cv_frac: float) -> float:
    """How many times the limit a strand varies: ``CV / CV_lim``; 1 is as even as fibre can be."""
    if cv_frac < 0 or not limit_cv_frac > 0:
        raise InputError("irregularity", (cv_frac, limit_cv_frac), "zero or more, over a limit above zero")
    return cv_frac / limit_cv_frac


def added_cv_frac(*, before_cv_frac: float, after_cv_frac: float) -> float:
    """Unevenness a machine adds [frac]: ``sqrt(CV_out^2 - CV_in^2)``, zero where it evened out.

    Source: rieter.com, deterioration in evenness, read in extract.
    """
    return float(np.sqrt(max(after_cv_frac**2 - before_cv_frac**2, 0.0)))


def share_sampling_variance(parts: Sequence[Part], *, strand_tex: float) -> Floats:
    """Variance of each part's share in a section from counting fibres [share^2], shape (k,).

    ``f (1 - f) ((1 - f) a*_A + f a*_B) / T``, B being the rest by mass; ``p q / n`` for equal fibres. To
    first order in Poisson counts, computed.
    """
    return _sampling_variance(np.eye(len(parts)), parts, strand_tex=strand_tex)


def signal_sampling_variance(
    parts: Sequence[Part], signals: Signals, *, strand_tex: float, length_mm: float = 0.0
) -> Floats:
    """Variance of each signal from counting fibres, in a section or a piece of strand, shape (q,).

    ``sum_k p_k (w_k - mean)^2 a*_k g_k(L) / T``. To first order in Poisson counts, computed.

    Parameters
    ----------
    parts, signals
        k parts, q signals over them.
    strand_tex : float
        T [tex], > 0.
    length_mm : float
        Length of the piece L [mm]; 0: a section.
    """
    return _sampling_variance(signals.weights, parts, strand_tex=strand_tex, length_mm=length_mm)


def _sampling_variance(
    weights: Floats, parts: Sequence[Part], *, strand_tex: float, length_mm: float = 0.0
) -> Floats:
    _check_strand(strand_tex)
    shares = _shares(parts)
    if weights.shape[1] != len(shares):
        raise InputError("signals", weights.shape, f"{len(shares)} weights each, one for each part")
    longer = np.array(
        [
            length_factor(length_mm, fibre_mm=part.staple_mm, fibre_cv_frac=part.staple_cv_frac)
            if length_mm > 0
            else 1.0
            for part in parts
        ]
    )
    away = (weights - (weights @ shares)[:, None]) ** 2
    return np.asarray(away @ (shares * _counted_tex(parts) * longer) / strand_tex)


LENGTH_STEPS = 41  # quantiles of fibre length that are averaged over
_NORMAL_STEPS = np.array([NormalDist().inv_cdf((step + 0.5) / LENGTH_STEPS) for step in range(LENGTH_STEPS)])
SHORTEST_FIBRE_FRAC = 0.05  # of the mean: below it there is no fibre worth counting


def length_factor(length_mm: float, *, fibre_mm: float, fibre_cv_frac: float = 0.0) -> float:
    """How far a longer piece evens out the counting of fibres, 0 to 1: B(L) / B(0).

    ``g = 1 - L / (3 l)`` for L <= l, else ``(l / L) (1 - l / (3 L))``: straight fibres of length l with ends
    anywhere; with a spread of lengths by mass, the mean over it (normal, cut off near zero).

    References
    ----------
    Computed; the named theory is Spencer-Smith and Todd 1941, from memory.

    Examples
    --------
    >>> [round(length_factor(length, fibre_mm=70), 3) for length in (10, 70, 140, 700)]
    [0.952, 0.667, 0.417, 0.097]
    """
    if length_mm < 0 or not fibre_mm > 0 or fibre_cv_frac < 0:
        raise InputError(
            "lengths", (length_mm, fibre_mm, fibre_cv_frac), "zero or more, of fibres longer than zero"
        )
    if length_mm == 0:
        return 1.0
    steps = _NORMAL_STEPS if fibre_cv_frac > 0 else np.zeros(1)
    lengths = fibre_mm * np.maximum(1 + fibre_cv_frac * steps, SHORTEST_FIBRE_FRAC)
    short = 1 - length_mm / (3 * lengths)
    long = lengths / length_mm * (1 - lengths / (3 * length_mm))
    return float(np.where(length_mm <= lengths, short, long).mean())


def blend_irregularity_index(*, fibres: Floats, fibres_of_part: Floats) -> float:
    """Index of blend irregularity of counted sections; 0 exactly even, 1 random.

    ``sqrt(mean((W_i - T_i p)^2 / (T_i p q)))``, ``p = sum W / sum T``. Depends on the number of fibres, so
    that number is told with it.

    Parameters
    ----------
    fibres, fibres_of_part : ndarray, shape (s,)
        T_i fibres in section i, W_i of them of the part.

    References
    ----------
    Coplan and Klein, Text. Res. J. 1955, from memory.
    """
    if fibres.shape != fibres_of_part.shape or not len(fibres):
        raise InputError(
            "counted sections", (fibres.shape, fibres_of_part.shape), "two counts of each section"
        )
    if np.any(fibres <= 0) or np.any(fibres_of_part < 0) or np.any(fibres_of_part > fibres):
        raise InputError("counted fibres", fibres_of_part.tolist(), "from zero to all fibres of the section")
    share = float(fibres_of_part.sum() / fibres.sum())
    if not 0 < share < 1:
        raise InputError("counted fibres", share, "some of the part and some of the rest")
    return float(np.sqrt(np.mean((fibres_of_part - fibres * share) ** 2 / (fibres * share * (1 - share)))))


def expected_blend_irregularity(*, fibres: float, macro_variance: float, share_frac: float) -> float:
    """The index to expect in sections of n fibres of a strand that varies: ``sqrt(1 + (n - 1) V / (p q))``.

    V is the variance of the share along the strand, without counting of fibres. Computed.
    """
    if not fibres >= 1 or macro_variance < 0 or not 0 < share_frac < 1:
        raise InputError(
            "blend", (fibres, macro_variance, share_frac), "one fibre or more, and a share between 0 and 1"
        )
    return float(np.sqrt(1 + (fibres - 1) * macro_variance / (share_frac * (1 - share_frac))))


def lacey_index(*, variance: float, unmixed_variance: float, random_variance: float) -> float:
    """Lacey's index ``(s0^2 - s^2) / (s0^2 - sR^2)``: 0 unmixed, 1 random. Too blunt to show.

    Source: lecture on the statistics of powder mixing (federica.unina.it), read in extract.
    """
    if not unmixed_variance > random_variance:
        raise InputError(
            "variances", (unmixed_variance, random_variance), "more in unmixed parts than in a random mixture"
        )
    return (unmixed_variance - variance) / (unmixed_variance - random_variance)


@dataclass(frozen=True, eq=False, slots=True)
class IntensityAndScale:
    """How far unmixed (0 to 1), and over how many grams alike, each signal is; shape (q,) each."""

    intensity: Floats
    scale_g: Floats


def intensity_and_scale(variation: Variation) -> IntensityAndScale:
    """Intensity ``s^2 / s0^2`` and linear scale ``S(0) / (4 s^2)`` [g] of each signal.

    In the spectrum of a lot S(0) is read off its longest wave. Source: Danckwerts 1952, from memory.
    """
    variance = variation.variance
    lowest = variation.density_g[:, 0]
    if len(variation.line_cycles_per_g) and variation.cycles_per_g[0] > variation.line_cycles_per_g.min():
        longest = int(variation.line_cycles_per_g.argmin())
        lowest = variation.line_variance[:, longest] / variation.line_cycles_per_g[longest]
    unmixed = unmixed_variance(variation.weights, variation.shares)
    return IntensityAndScale(
        np.divide(variance, unmixed, out=np.zeros_like(variance), where=unmixed > 0),
        np.divide(lowest, 4 * variance, out=np.zeros_like(variance), where=variance > 0),
    )
