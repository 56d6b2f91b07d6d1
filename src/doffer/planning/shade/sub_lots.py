"""Dyed sub-lots: what they make together, which one spoils it, and what each model would say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import blend_reflectance
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.target import Target
from doffer.process.portions import apportion


@dataclass(frozen=True, slots=True)
class SubLots:
    """All sub-lots together: Lab, distance to the target, each alone, each to the mean, and without each.

    `without_de[i]` is the distance to the target of the blend without sub-lot i (NaN when it is the only
    one).
    """

    lab: tuple[float, float, float]
    de_to_target: float
    alone_de: tuple[float, ...]
    to_mean_de: tuple[float, ...]
    without_de: tuple[float, ...]

    @property
    def best_left_out(self) -> int | None:
        """The sub-lot whose absence helps most; None when all together are best."""
        better = [(de, place) for place, de in enumerate(self.without_de) if de < self.de_to_target]
        return min(better)[1] if better else None


def sub_lots_together(reflectance: Floats, dry_mass_g: Floats, *, target: Target, offset: float) -> SubLots:
    """What sub-lots make when all are blended by what there is of each, shapes (n, 31) and (n,)."""
    if np.any(dry_mass_g < 0) or dry_mass_g.sum() <= 0:
        raise InputError("weights of the sub-lots", dry_mass_g.tolist(), "zero or more, together above zero")
    seen, wanted = target.lights[0], target.labs[0]
    labs = lab_of_reflectance(reflectance, seen)
    mean = lab_of_reflectance(
        blend_reflectance(reflectance, dry_mass_g / dry_mass_g.sum(), offset=offset), seen
    )
    without = []
    for place in range(len(dry_mass_g)):
        rest = np.delete(dry_mass_g, place)
        if rest.size == 0 or rest.sum() <= 0:
            without.append(float("nan"))
            continue
        left = blend_reflectance(np.delete(reflectance, place, axis=0), rest / rest.sum(), offset=offset)
        without.append(float(de2000(wanted, lab_of_reflectance(left, seen))))
    lightness, a, b = (float(x) for x in mean)
    return SubLots(
        lab=(lightness, a, b),
        de_to_target=float(de2000(wanted, mean)),
        alone_de=tuple(float(x) for x in de2000(wanted, labs)),
        to_mean_de=tuple(float(x) for x in de2000(mean, labs)),
        without_de=tuple(without),
    )


def trial_card_cg(shares: tuple[float, ...], *, card_g: float = 20.0) -> tuple[int, ...]:
    """Hundredths of a gram of each lot for a trial card, summing exactly: hand-card it, measure, then decide."""
    return apportion(round(card_g * 100), shares)
