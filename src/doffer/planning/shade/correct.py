"""Bring a batch (or sub-lots that must all go in) to the standard by adding stock, as little as will do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.search import BEAM, Field, Found, grow
from doffer.planning.shade.target import Stock, Target

MOST_ADDED_LOTS = 2
BASE = "batch"


@dataclass(frozen=True, slots=True)
class Correction:
    """Additions [g oven-dry] by lot, the difference before and after, and the band of the addition that keeps it.

    `low_factor` and `high_factor` scale all additions together: between them the difference stays within the
    tolerance; both are None where even the best addition does not reach it.
    """

    lots: tuple[str, ...]
    added_dry_mass_g: tuple[float, ...]
    de_before: float
    de_after: float
    lab_after: tuple[float, float, float]
    low_factor: float | None
    high_factor: float | None


def correct_batch(
    base_reflectance: Floats,
    *,
    base_dry_mass_g: float,
    target: Target,
    stock: Stock,
    owners: frozenset[str],
    offset: float,
    tolerance_de: float,
    most_added_frac: float = 0.5,
    n_results: int = 5,
) -> tuple[Correction, ...]:
    """Best additions of one or two stock lots to a batch, nearest first.

    Parameters
    ----------
    base_reflectance : ndarray, shape (31,)
        Of the batch as it is, measured where possible (the model's error then drops out), else predicted.
    base_dry_mass_g : float
        Oven-dry mass of the batch [g].
    most_added_frac : float
        Most that may be added, over the batch [frac]: about 10 % repairs a difference of 3, one of 6 takes
        half.
    tolerance_de : float
        CIEDE2000 that counts as on shade.
    """
    if base_dry_mass_g <= 0 or not 0 < most_added_frac <= 2:
        raise InputError(
            "most that may be added", most_added_frac, "above 0 and at most 2 (200 % of the batch)"
        )
    if tolerance_de <= 0:
        raise InputError("tolerance", tolerance_de, "above zero")
    inverse = np.concatenate([1 / (base_reflectance + offset)[None, :], 1 / (stock.reflectance + offset)])
    ours = [
        place + 1
        for place, owner in enumerate(stock.owner)
        if owner in owners and stock.dry_mass_g[place] > 0
    ]
    total = base_dry_mass_g * (1 + most_added_frac)
    high = np.concatenate([[1.0], np.minimum(most_added_frac, stock.dry_mass_g / base_dry_mass_g)])
    low = np.zeros(len(high))
    low[0] = base_dry_mass_g / total
    field = Field(inverse=inverse, low=low, high=high, offset=offset, target=target)
    found = grow(field, [0, *ours], [0], most_lots=1 + MOST_ADDED_LOTS, beam=BEAM, n_results=n_results + 1)
    before = float(de2000(target.labs[0], lab_of_reflectance(base_reflectance, target.lights[0])))
    made = [_correction(one, field, stock, base_dry_mass_g, before, tolerance_de) for one in found]
    return tuple(one for one in made if one.lots)[:n_results]


def _correction(
    found: Found, field: Field, stock: Stock, base_g: float, before: float, tolerance_de: float
) -> Correction:
    base_place = found.lots.index(0)
    ratio = found.shares / found.shares[base_place]
    added = {
        found.lots[i] - 1: float(ratio[i] * base_g)
        for i in range(len(found.lots))
        if i != base_place and ratio[i] * base_g > LEAST_ADDED_G
    }
    factors = np.linspace(0, MOST_FACTOR, N_FACTORS)
    places = np.array(found.lots)
    shares = factors[:, None] * ratio[None, :]
    shares[:, base_place] = 1.0
    shares /= shares.sum(axis=1, keepdims=True)
    reflectance = 1 / (shares @ field.inverse[places]) - field.offset
    apart = de2000(field.target.labs[0], lab_of_reflectance(reflectance, field.target.lights[0]))
    good = factors[apart <= tolerance_de]
    after = float(de2000(field.target.labs[0], found.labs[0]))
    lightness, a, b = (float(x) for x in found.labs[0])
    return Correction(
        lots=tuple(stock.names[place] for place in added),
        added_dry_mass_g=tuple(added.values()),
        de_before=before,
        de_after=after,
        lab_after=(lightness, a, b),
        low_factor=float(good.min()) if good.size else None,
        high_factor=float(good.max()) if good.size else None,
    )


LEAST_ADDED_G = 0.5  # less cannot be weighed on the bench
MOST_FACTOR, N_FACTORS = 3.0, 601
