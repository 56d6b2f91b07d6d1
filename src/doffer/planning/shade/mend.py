"""A recipe mended after its trial card: more or less of one lot, or of two, and the rest as it was."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import transform, untransform
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.target import Target
from doffer.planning.shade.ways import ShadeWays

MOST_FACTOR, N_FACTORS = 2.0, 81  # a lot is at most doubled; steps of a fortieth of what it was


@dataclass(frozen=True, slots=True)
class Mended:
    """New oven-dry masses [g], in the order of the lots, with their colour and distance to the aim."""

    dry_mass_g: tuple[float, ...]
    lab: Lab
    de: float


def mend_recipe(
    reflectance: Floats, dry_mass_g: Floats, available_g: Floats, *, target: Target, ways: ShadeWays
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
    best = _nearest(np.ones((1, n_lots)), reflectance, dry_mass_g, target, ways)
    for n_changed in (1, 2):
        tried = [
            _nearest(_factors(chosen, steps, n_lots), reflectance, dry_mass_g, target, ways)
            for chosen in combinations(range(n_lots), n_changed)
        ]
        reach = min((one.de for one in tried), default=best.de) + ways.lot_worth_de
        within = [one for one in tried if one.de <= reach]
        nearest = min(within, key=lambda one: _moved_g(one, dry_mass_g), default=best)
        if nearest.de < best.de - ways.lot_worth_de:
            best = nearest
    return best


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
    factors: Floats, reflectance: Floats, dry_mass_g: Floats, target: Target, ways: ShadeWays
) -> Mended:
    """The nearest of many changes."""
    masses_g = factors * dry_mass_g
    masses_g = masses_g[masses_g.sum(axis=1) > 0]
    shares = masses_g / masses_g.sum(axis=1, keepdims=True)
    made = untransform(shares @ transform(reflectance, ways.mixing), ways.mixing)
    labs = lab_of_reflectance(made, target.lights[0])
    apart = de2000(target.labs[0], labs)
    best = int(np.argmin(apart))
    return Mended(tuple(float(x) for x in masses_g[best]), as_lab(labs[best]), float(apart[best]))
