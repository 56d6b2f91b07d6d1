"""A strand made of single fibres that begin anywhere: what counting alone leaves uneven.

The reference for the closed forms of sampling: no mixing is better than this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats, Ints
from doffer.process.evenness.fibres import fibre_tex, section_spread
from doffer.process.evenness.passage import Part

LONGEST = 8  # standard deviations above the mean length that a fibre may reach into the strand from before it


@dataclass(frozen=True, eq=False, slots=True)
class Sections:
    """Cuts across a strand at equal distances.

    Parameters
    ----------
    fibres : ndarray of int, shape (n, k)
        Fibres of each part in each cut.
    count_tex : ndarray, shape (n, k)
        Linear density of each part in each cut [tex].
    """

    fibres: Ints
    count_tex: Floats

    @property
    def shares(self) -> Floats:
        """Share of each part by mass in each cut [frac], shape (n, k)."""
        return np.asarray(self.count_tex / self.count_tex.sum(axis=1, keepdims=True))


def strand(
    parts: tuple[Part, ...], *, strand_tex: float, length_mm: float, step_mm: float, rng: np.random.Generator
) -> Sections:
    """Cuts every `step_mm` of a strand whose fibres begin at random.

    Starts are a Poisson process; ``T p / (a l)`` fibres of linear density a and length l begin per length.
    Linear density of fibres is log-normal with the mean and spread of round fibres of normal diameters
    (`fibres.fibre_tex`, `fibres.section_spread`); lengths are gamma.

    Parameters
    ----------
    parts : tuple of Part
        What the strand is of, by share of mass.
    strand_tex, length_mm, step_mm : float
        Linear density [tex], length and distance of the cuts [mm], above 0.
    rng : Generator
        Where fibres begin, their fineness and length.
    """
    if min(strand_tex, length_mm, step_mm) <= 0:
        raise InputError("strand", (strand_tex, length_mm, step_mm), "above zero tex and millimetres")
    n = max(1, int(length_mm / step_mm))
    fibres, count_tex = np.empty((n, len(parts)), dtype=np.intp), np.empty((n, len(parts)))
    for place, part in enumerate(parts):
        begin, end, tex = _fibres(part, strand_tex=strand_tex, length_mm=n * step_mm, rng=rng)
        first = np.clip(np.ceil(begin / step_mm), 0, n).astype(np.intp)
        last = np.clip(np.ceil(end / step_mm), 0, n).astype(np.intp)
        came, left = np.bincount(first, minlength=n + 1), np.bincount(last, minlength=n + 1)
        fibres[:, place] = np.cumsum(came - left)[:n]
        heavier = np.bincount(first, tex, minlength=n + 1) - np.bincount(last, tex, minlength=n + 1)
        count_tex[:, place] = np.where(fibres[:, place] > 0, np.cumsum(heavier)[:n], 0)
    return Sections(fibres, count_tex)


def _fibres(
    part: Part, *, strand_tex: float, length_mm: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats]:
    """Begin and end of every fibre along the strand [mm], and its linear density [tex]."""
    mean_tex = fibre_tex(
        diameter_um=part.diameter_um,
        density_g_cm3=part.density_g_cm3,
        diameter_cv_frac=part.diameter_cv_frac,
    )
    reach_mm = part.staple_mm * (1 + LONGEST * part.staple_cv_frac)
    per_mm = strand_tex * part.share_frac / (mean_tex * part.staple_mm)
    n = int(rng.poisson(per_mm * (length_mm + reach_mm)))
    begin = rng.uniform(-reach_mm, length_mm, n)
    lengths = np.full(n, part.staple_mm)
    if part.staple_cv_frac > 0:
        shape = part.staple_cv_frac**-2
        lengths = rng.gamma(shape, part.staple_mm / shape, n)
    sigma = math.sqrt(math.log(section_spread(part.diameter_cv_frac)))
    tex = mean_tex * np.exp(sigma * rng.standard_normal(n) - sigma**2 / 2)
    return begin, begin + lengths, tex
