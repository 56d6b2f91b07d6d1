"""What a mix may take of its lots: not what lies dyed apart, nor what other mixes wait for."""

from __future__ import annotations

from collections.abc import Collection

from doffer.mill import bridge
from doffer.mill.dyed import dyed_apart, dyeings_of
from doffer.mill.models import Lot
from doffer.mill.promised import promised


def free_for(recipe: str, codes: Collection[str]) -> dict[str, float]:
    """By lot, oven-dry fibre that a recipe may take [g]; five queries at most.

    What another released recipe waits for is not in it; what this one itself waits for is.
    """
    lots = list(Lot.objects.filter(code__in=codes))
    keys = [lot.pk for lot in lots]
    waiting, apart = promised(keys), dyed_apart(lots, dyeings_of(keys))
    free = {}
    for lot in lots:
        dry_frac = (lot.now_dry_mg or 0) / lot.now_mass_mg if lot.now_mass_mg else 0.0
        theirs_mg = sum(one.dry_mg for one in waiting.get(lot.pk, ()) if one.recipe != recipe)
        left_mg = (lot.now_dry_mg or 0) - theirs_mg - round(apart.get(lot.pk, 0) * dry_frac)
        free[lot.code] = bridge.grams(max(0, left_mg))
    return free
