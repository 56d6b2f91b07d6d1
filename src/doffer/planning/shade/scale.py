"""A recipe as a scale can weigh it: rounded to the scale's division, then predicted again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import apart
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.planning.shade.target import Recipe, Stock, Target
from doffer.planning.shade.tell import labs_under
from doffer.planning.shade.ways import ShadeWays
from doffer.process.portions import apportion

MG_PER_G = 1000


@dataclass(frozen=True, slots=True)
class Weighed:
    """Masses to weigh [g], oven-dry mass in them, and the colour of the recipe as weighed.

    `moved_de` is how far rounding moved the colour (CIEDE2000).
    """

    weighed_mass_g: tuple[float, ...]
    dry_mass_g: tuple[float, ...]
    lab: Lab
    de: float
    moved_de: float


def weigh_recipe(
    recipe: Recipe,
    stock: Stock,
    target: Target,
    ways: ShadeWays,
    *,
    batch_dry_mass_g: float,
    actual_regain_fracs: Floats,
    division_g: float,
) -> Weighed:
    """Masses of a recipe on a scale, summing exactly to a whole number of its divisions.

    ``weighed = dry x (1 + regain)``, rounded by largest remainder.

    Parameters
    ----------
    batch_dry_mass_g : float
        Oven-dry mass of the blend [g].
    actual_regain_fracs : ndarray, shape (k,)
        Water of each lot of the recipe now, over its oven-dry fibre [frac].
    division_g : float
        What one step of the scale is [g], 0.001 or more.

    Raises
    ------
    InputError
        A division too coarse for the smallest part, or a regain below zero.
    """
    regain = np.asarray(actual_regain_fracs, dtype=np.float64)
    if regain.shape != (len(recipe.lots),) or np.any(regain < 0):
        raise InputError("regain of the lots", regain.tolist(), f"zero or more, {len(recipe.lots)} of them")
    if batch_dry_mass_g <= 0 or division_g * MG_PER_G < 1:
        raise InputError("division of the scale", division_g, "0.001 g or more, with a batch above zero")
    wanted_g = np.array(recipe.shares) * batch_dry_mass_g * (1 + regain)
    steps = apportion(round(float(wanted_g.sum()) / division_g), [float(mass_g) for mass_g in wanted_g])
    if min(steps) == 0:
        allowed = "fine enough for the smallest part; take a finer scale or a larger batch"
        raise InputError("division of the scale", f"{division_g:g} g", allowed)
    weighed_g = np.array(steps) * division_g
    dry_g = weighed_g / (1 + regain)
    place_of = {name: place for place, name in enumerate(stock.names)}
    spectra = stock.reflectance[[place_of[name] for name in recipe.lots]]
    lab = labs_under(spectra, dry_g / dry_g.sum(), target, ways)[0]
    return Weighed(
        weighed_mass_g=tuple(round(float(x), 3) for x in weighed_g),
        dry_mass_g=tuple(float(x) for x in dry_g),
        lab=as_lab(lab),
        de=float(target.apart(lab)),
        moved_de=float(apart(np.array(recipe.lab), lab, target.formula)),
    )
