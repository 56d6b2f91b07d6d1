"""Use up leftovers: a recipe that takes as much of named lots as the tolerance allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InfeasibleError, InputError
from doffer.fibre.arrays import Floats, Ints
from doffer.planning.shade.search import BEAM, allowed_lots, grow, stock_field
from doffer.planning.shade.simplex import onto_simplex
from doffer.planning.shade.solve import Field, labs_of, solve_sets
from doffer.planning.shade.target import Recipe, Rules, Stock, Target
from doffer.planning.shade.tell import recipe_of
from doffer.planning.shade.ways import ShadeWays

N_LEVELS = 41  # how finely the share of the leftovers is raised
N_STEPS = 8
N_SETS = 20
MOST_TOGETHER = 3


@dataclass(frozen=True, slots=True)
class UseUp:
    """A recipe that uses up leftovers, and how much of them it takes, oven-dry [g]."""

    recipe: Recipe
    leftover_dry_mass_g: float


def use_up(
    target: Target,
    stock: Stock,
    rules: Rules,
    ways: ShadeWays,
    *,
    leftovers: frozenset[str],
    tolerance_de: float,
) -> UseUp:
    """The recipe within the tolerance (first light) that takes most of the named lots.

    Sets that hold one to three leftovers are searched as usual; in the best of each, the leftovers' shares
    are raised step by step towards what there is of them while the other lots make up for it.

    Raises
    ------
    InputError
        No leftover named, or a tolerance not above zero.
    InfeasibleError
        No recipe with any of them is within the tolerance.
    """
    if not leftovers or tolerance_de <= 0:
        raise InputError("leftovers", len(leftovers), "one or more lots, with a tolerance above zero")
    allowed = allowed_lots(stock, rules)
    field = stock_field(target, stock, rules, ways)
    names = stock.names
    left = [lot for lot in allowed if names[lot] in leftovers]
    need = [lot for lot in allowed if names[lot] in rules.required]
    best: tuple[float, tuple[int, ...], Floats] | None = None
    for n_left in range(1, min(MOST_TOGETHER, len(left), rules.most_lots) + 1):
        for chosen in combinations(left, n_left):
            must = sorted({*chosen, *need})
            if len(must) > rules.most_lots:
                continue
            found = grow(
                field, allowed, must, target=target, most_lots=rules.most_lots, beam=BEAM, n_results=N_SETS
            )
            for lots in {one.lots for one in found}:
                taken = _most_taken(lots, left, field, target, tolerance_de)
                if taken is not None and (best is None or taken[0] > best[0]):
                    best = (taken[0], lots, taken[1])
    if best is None:
        raise InfeasibleError(
            f"Using up {', '.join(sorted(leftovers))}",
            f"no recipe with any of it comes within {tolerance_de:g} of the shade",
            "Allow a wider tolerance or more lots, or keep it for another shade",
        )
    share, lots, shares = best
    return UseUp(recipe_of(lots, shares, stock, target, ways), share * rules.batch_dry_mass_g)


def _most_taken(
    lots: Sequence[int], left: Sequence[int], field: Field, target: Target, tolerance_de: float
) -> tuple[float, Floats] | None:
    """Most of the leftovers a set can take within the tolerance, as a share of the blend, and its shares."""
    places = np.array(lots, dtype=np.intp)
    is_left = np.isin(places, left)
    low, high = field.low[places], field.high[places]
    most = np.where(is_left, high, 0.0)
    most = most * min(1.0, (1 - low[~is_left].sum()) / max(most.sum(), 1e-12))
    raised = low + np.linspace(0, 1, N_LEVELS)[:, None] * np.where(is_left, np.maximum(most - low, 0), 0)
    shares = _solved_at(places, raised, high, field)
    apart = target.apart(labs_of(shares, places, field, target)[:, 0])
    good = np.flatnonzero((apart <= tolerance_de) & (np.abs(shares.sum(axis=1) - 1) < WHOLE))
    if not good.size:
        return None
    taken = shares[good][:, is_left].sum(axis=1)
    best = good[int(np.argmax(taken))]
    return float(taken.max()), shares[best]


WHOLE = 1e-6


def _solved_at(places: Ints, low: Floats, high: Floats, field: Field) -> Floats:
    """Best shares of one set with each row of lower bounds, shape (n_levels, k)."""
    n_levels, k = low.shape
    lots = np.arange(n_levels * k).reshape(n_levels, k)
    tiled = Field(
        f=np.tile(field.f[:, places], n_levels),
        ratio_weights=field.ratio_weights,
        wanted=field.wanted,
        pull=field.pull,
        low=low.ravel(),
        high=np.tile(high, n_levels),
        mixing=field.mixing,
    )
    start = onto_simplex(np.full((k, n_levels), 1 / k), low.T, np.repeat(high[:, None], n_levels, axis=1)).T
    shares, _ = solve_sets(lots, start, tiled, n_steps=N_STEPS)
    return shares
