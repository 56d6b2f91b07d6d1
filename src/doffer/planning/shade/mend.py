"""A recipe mended after its trial card: more or less of one lot, or of two, and the rest as it was."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import transform, untransform
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.target import Target
from doffer.planning.shade.ways import ShadeWays

ROUNDING_DUST_G = 0.01
MOST_FACTOR, N_FACTORS = 2.0, 81  # a lot is at most doubled; steps of a fortieth of what it was


@dataclass(frozen=True, slots=True)
class Mended:
    """New oven-dry masses [g], in the order of the lots, with their colour and distance to the aim."""

    dry_mass_g: tuple[float, ...]
    lab: Lab
    de: float


def mend_recipe(
    reflectance: Floats,
    dry_mass_g: Floats,
    available_g: Floats,
    *,
    target: Target,
    ways: ShadeWays,
    least_total_g: float = 0.0,
) -> Mended:
    """Change as few lots as bring the blend nearest to the target under its first light.

    Every lot alone, then every two lots, are tried at up to twice their mass and down to none, as far as
    there is fibre; two must beat one by a lot's worth (`ShadeWays.lot_worth_de`), one must beat none by
    it. Of changes that are as good within a lot's worth, the one that moves the least fibre is taken.

    Parameters
    ----------
    reflectance : ndarray, shape (k, n)
        Spectra of the lots.
    dry_mass_g, available_g : ndarray, shape (k,)
        What the recipe takes of each now, oven-dry, and what there is [g].
    target : Target
        Where to aim: see `target_after_trial`.
    least_total_g : float
        Only blends are tried of which there is fibre for so much in the same shares [g]: see `in_weight`.

    Raises
    ------
    InputError
        A mass that is not above zero, or not one of each for every lot.
    """
    n_lots = len(reflectance)
    if dry_mass_g.shape != (n_lots,) or available_g.shape != (n_lots,) or np.any(dry_mass_g <= 0):
        raise InputError("weights of the recipe", dry_mass_g.tolist(), "above zero, one for each lot")
    most = np.clip(available_g / dry_mass_g, 1.0, MOST_FACTOR)
    steps = [np.append(np.linspace(0, high, N_FACTORS), 1.0) for high in most]
    enough = functools.partial(_nearest, limits=(available_g, least_total_g))
    best = _nearest(np.ones((1, n_lots)), reflectance, dry_mass_g, target, ways)
    for n_changed in (1, 2):
        tried = [
            enough(_factors(chosen, steps, n_lots), reflectance, dry_mass_g, target, ways)
            for chosen in combinations(range(n_lots), n_changed)
        ]
        reach = min((one.de for one in tried), default=best.de) + ways.lot_worth_de
        within = [one for one in tried if one.de <= reach]
        nearest = min(within, key=lambda one: _moved_g(one, dry_mass_g), default=best)
        if nearest.de < best.de - ways.lot_worth_de:
            best = nearest
    return best


def in_weight(dry_mass_g: Sequence[float], available_g: Floats, *, total_g: float) -> tuple[float, ...]:
    """Masses in the same shares, `total_g` together, or as much of it as there is of the scarcest lot [g]."""
    masses_g = np.asarray(dry_mass_g, dtype=np.float64)
    most_g = min(total_g, float(_most_total_g(masses_g[None], available_g)[0]))
    return tuple(float(x) for x in masses_g * (most_g / masses_g.sum()))


def _most_total_g(masses_g: Floats, available_g: Floats) -> Floats:
    """How much could be made of blends, shape (B,), in the shares of their masses (B, k) [g]."""
    shares = masses_g / masses_g.sum(axis=1, keepdims=True)
    most_g = np.where(shares > 0, available_g / np.where(shares > 0, shares, 1.0), np.inf)
    return np.asarray(most_g.min(axis=1))


def _moved_g(mended: Mended, dry_mass_g: Floats) -> float:
    """How much fibre a change moves [g]."""
    return float(np.abs(np.array(mended.dry_mass_g) - dry_mass_g).sum())


def _factors(chosen: tuple[int, ...], steps: list[Floats], n_lots: int) -> Floats:
    """Factors on the masses, shape (B, k): every step of the chosen lots, the others as they were."""
    grid = np.stack(np.meshgrid(*(steps[lot] for lot in chosen), indexing="ij"), axis=-1)
    rows = grid.reshape(-1, len(chosen))
    factors = np.ones((len(rows), n_lots))
    factors[:, chosen] = rows
    return factors


def _nearest(
    factors: Floats,
    reflectance: Floats,
    dry_mass_g: Floats,
    target: Target,
    ways: ShadeWays,
    *,
    limits: tuple[Floats, float] | None = None,
) -> Mended:
    """The nearest of many changes, of those for which there is fibre."""
    masses_g = factors * dry_mass_g
    masses_g = masses_g[masses_g.sum(axis=1) > 0]
    if limits is not None:
        masses_g = masses_g[_most_total_g(masses_g, limits[0]) >= limits[1] - ROUNDING_DUST_G]
        if not len(masses_g):  # fibre was used since: the recipe as it is
            masses_g = dry_mass_g[None]
    shares = masses_g / masses_g.sum(axis=1, keepdims=True)
    made = untransform(shares @ transform(reflectance, ways.mixing), ways.mixing)
    labs = lab_of_reflectance(made, target.lights[0])
    apart = target.apart(labs)
    best = int(np.argmin(apart))
    return Mended(tuple(float(x) for x in masses_g[best]), as_lab(labs[best]), float(apart[best]))
