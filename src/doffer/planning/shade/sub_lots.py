"""Dyed sub-lots: what they make together, which one spoils it, which of them together make the standard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import Mixing, blend, transform, untransform
from doffer.fibre.colour.difference import apart
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.target import Target

MOST_SUB_LOTS = 16  # every choice of them is tried: 65,535


@dataclass(frozen=True, slots=True)
class SubLots:
    """All sub-lots together: Lab, distance to the target, each alone, each to the mean, and without each.

    `without_de[i]` is the distance to the target of the blend without sub-lot i (NaN when it is the only
    one).
    """

    lab: Lab
    de_to_target: float
    alone_de: tuple[float, ...]
    to_mean_de: tuple[float, ...]
    without_de: tuple[float, ...]

    @property
    def best_left_out(self) -> int | None:
        """The sub-lot whose absence helps most; None when all together are best."""
        better = [(de, place) for place, de in enumerate(self.without_de) if de < self.de_to_target]
        return min(better)[1] if better else None


@dataclass(frozen=True, slots=True)
class Choice:
    """Sub-lots that go together: their places, oven-dry mass [g], Lab and distance to the target."""

    places: tuple[int, ...]
    dry_mass_g: float
    lab: Lab
    de_to_target: float


def sub_lots_together(reflectance: Floats, dry_mass_g: Floats, *, target: Target, mixing: Mixing) -> SubLots:
    """What sub-lots make when all are blended by what there is of each.

    Parameters
    ----------
    reflectance : ndarray, shape (k, n)
        Spectra of the sub-lots.
    dry_mass_g : ndarray, shape (k,)
        Their oven-dry mass [g].

    Raises
    ------
    InputError
        A mass below zero, or nothing at all.
    """
    _check(reflectance, dry_mass_g)
    seen = target.lights[0]
    labs = lab_of_reflectance(reflectance, seen)
    mean = lab_of_reflectance(blend(reflectance, dry_mass_g / dry_mass_g.sum(), mixing), seen)
    without = []
    for place in range(len(dry_mass_g)):
        rest_g = np.delete(dry_mass_g, place)
        if rest_g.size == 0 or rest_g.sum() <= 0:
            without.append(float("nan"))
            continue
        left = blend(np.delete(reflectance, place, axis=0), rest_g / rest_g.sum(), mixing)
        without.append(float(target.apart(lab_of_reflectance(left, seen))))
    return SubLots(
        lab=as_lab(mean),
        de_to_target=float(target.apart(mean)),
        alone_de=tuple(float(x) for x in target.apart(labs)),
        to_mean_de=tuple(float(x) for x in apart(np.broadcast_to(mean, labs.shape), labs, target.formula)),
        without_de=tuple(without),
    )


def choose_sub_lots(
    reflectance: Floats, dry_mass_g: Floats, *, target: Target, mixing: Mixing, tolerance_de: float
) -> Choice:
    """Whole sub-lots that make the standard together: as much fibre as the tolerance allows.

    Every choice is tried. Where none is within the tolerance, the nearest comes back; look at its distance.

    Raises
    ------
    InputError
        A mass below zero, nothing at all, or more than 16 sub-lots.
    """
    _check(reflectance, dry_mass_g)
    n_lots = len(dry_mass_g)
    if n_lots > MOST_SUB_LOTS:
        raise InputError("sub-lots to choose from", n_lots, f"at most {MOST_SUB_LOTS}")
    chosen = (np.arange(1, 2**n_lots)[:, None] >> np.arange(n_lots)) & 1
    masses_g = chosen * dry_mass_g
    total_g = masses_g.sum(axis=1)
    masses_g, total_g, chosen = masses_g[total_g > 0], total_g[total_g > 0], chosen[total_g > 0]
    mixed = (masses_g / total_g[:, None]) @ transform(reflectance, mixing)
    labs = lab_of_reflectance(untransform(mixed, mixing), target.lights[0])
    off = target.apart(labs)
    within = off <= tolerance_de
    best = int(np.argmax(np.where(within, total_g, -1.0)) if within.any() else np.argmin(off))
    places = tuple(int(place) for place in np.flatnonzero(chosen[best]))
    return Choice(places, float(total_g[best]), as_lab(labs[best]), float(off[best]))


def _check(reflectance: Floats, dry_mass_g: Floats) -> None:
    if len(dry_mass_g) != len(reflectance):
        raise InputError("weights of the sub-lots", len(dry_mass_g), f"{len(reflectance)}, one for each")
    if np.any(dry_mass_g < 0) or not np.all(np.isfinite(dry_mass_g)) or dry_mass_g.sum() <= 0:
        raise InputError("weights of the sub-lots", dry_mass_g.tolist(), "zero or more, together above zero")
