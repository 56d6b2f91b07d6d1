"""Use up leftovers: a recipe that takes as much of named lots as the tolerance allows."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InfeasibleError, InputError
from doffer.fibre.arrays import Bools, Floats, Ints
from doffer.planning.shade.search import BEAM, Found, allowed_lots, grow, stock_field
from doffer.planning.shade.solve import Field, labs_of, solve_sets
from doffer.planning.shade.target import Recipe, Rules, Stock, Target
from doffer.planning.shade.tell import recipe_of
from doffer.planning.shade.ways import ShadeWays

N_WORTHS = 24
LEAST_WORTH, MOST_WORTH = 0.3, 3e4  # of a whole share of leftovers, in squared difference
N_STEPS = 12
N_SETS = 20
N_ROUNDS = 5
N_BETWEEN = 65  # blends looked at between the last that is near enough and the next
MOST_TOGETHER = 3
WHOLE = 1e-6
NO_MORE = 1e-4  # of the blend: a round that wins less is the last


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

    Sets that hold one to three leftovers are searched as usual; in each, colour is traded for leftovers at
    many prices, ``least of dE^2 - price x leftovers``, so that their shares find their own proportion. Then
    sets are searched again that come near with that much of them in, until no more of them goes in.

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
    # the tolerance is of the first light, and what other lights ask for would stand in the way
    first = dataclasses.replace(target, labs=target.labs[:1], lights=target.lights[:1], light_weights=ONE)
    field = stock_field(first, stock, rules, ways)
    names = stock.names
    hunt = _Hunt(
        field,
        first,
        tolerance_de,
        tuple(allowed),
        frozenset(lot for lot in allowed if names[lot] in leftovers),
        rules.most_lots,
    )
    need = [lot for lot in allowed if names[lot] in rules.required]
    best: _Taken | None = None
    for n_left in range(1, min(MOST_TOGETHER, len(hunt.left), rules.most_lots) + 1):
        for chosen in combinations(sorted(hunt.left), n_left):
            must = sorted({*chosen, *need})
            taken = _raised(must, hunt) if len(must) <= rules.most_lots else None
            if taken is not None and (best is None or taken.share > best.share):
                best = taken
    if best is None:
        raise InfeasibleError(
            f"Using up {', '.join(sorted(leftovers))}",
            f"no recipe with any of it comes within {tolerance_de:g} of the shade",
            "Allow a wider tolerance or more lots, or keep it for another shade",
        )
    recipe = recipe_of(best.lots, best.shares, stock, target, ways)
    return UseUp(recipe, best.share * rules.batch_dry_mass_g)


ONE = np.ones(1)


@dataclass(frozen=True, eq=False, slots=True)
class _Hunt:
    """What is searched in: the field of the first light, lots that may be used, places of the leftovers."""

    field: Field
    target: Target
    tolerance_de: float
    allowed: tuple[int, ...]
    left: frozenset[int]
    most_lots: int


@dataclass(frozen=True, eq=False, slots=True)
class _Taken:
    """A set with shares, shape (k,), and the share of all leftovers in it."""

    share: float
    lots: tuple[int, ...]
    shares: Floats


def _raised(must: Sequence[int], hunt: _Hunt) -> _Taken | None:
    """The blend with all of `must` that takes most of the leftovers; None where none is near enough."""
    best: _Taken | None = None
    field = hunt.field
    for _ in range(N_ROUNDS):
        found = grow(
            field,
            hunt.allowed,
            must,
            target=hunt.target,
            most_lots=hunt.most_lots,
            beam=BEAM,
            n_results=N_SETS,
        )
        taken = _most_taken(found, hunt)
        if taken is None or (best is not None and taken.share < best.share + NO_MORE):
            break
        best = taken
        low = hunt.field.low.copy()
        for lot, share in zip(best.lots, best.shares, strict=True):
            if lot in hunt.left and lot in must:
                low[lot] = share
        field = dataclasses.replace(hunt.field, low=low)
    return best


def _most_taken(found: Sequence[Found], hunt: _Hunt) -> _Taken | None:
    """Of sets that were found, the one that takes most of the leftovers within the tolerance."""
    best: _Taken | None = None
    for size in sorted({len(one.lots) for one in found}):
        same = [one for one in found if len(one.lots) == size]
        sets = np.array([one.lots for one in same], dtype=np.intp)
        shares = _traded(sets, np.stack([one.shares for one in same]), hunt)
        for lots, priced in zip(sets, shares, strict=True):
            taken = _last_within(lots, priced, hunt)
            if taken is not None and (best is None or taken.share > best.share):
                best = taken
    return best


def _traded(sets: Ints, start: Floats, hunt: _Hunt) -> Floats:
    """Best shares of sets (B, k) at no price and at rising ones of leftovers, shape (B, 1 + n_worths, k)."""
    worths = np.concatenate([[0.0], np.geomspace(LEAST_WORTH, MOST_WORTH, N_WORTHS)])
    n_sets, k = sets.shape
    is_left = np.isin(sets, list(hunt.left))
    favour = (worths[None, :, None] * is_left[:, None, :]).reshape(-1, k)
    shares, _ = solve_sets(
        np.repeat(sets, len(worths), axis=0),
        np.repeat(start, len(worths), axis=0),
        hunt.field,
        n_steps=N_STEPS,
        favour=favour,
    )
    return shares.reshape(n_sets, len(worths), k)


def _last_within(lots: Ints, priced: Floats, hunt: _Hunt) -> _Taken | None:
    """The blend of one set with most leftovers within the tolerance, between two prices where it must be."""
    is_left = np.isin(lots, list(hunt.left))
    near = np.flatnonzero(_are_near(priced, lots, hunt))
    if not near.size:
        return None
    last = near[int(np.argmax(priced[near][:, is_left].sum(axis=1)))]
    # from the last that is near enough towards every other: what averages is linear in the shares
    ways = priced[last] + np.linspace(0, 1, N_BETWEEN)[:, None, None] * (priced - priced[last])
    between = ways.reshape(-1, len(lots))
    good = between[_are_near(between, lots, hunt)]
    taken = good[:, is_left].sum(axis=1)
    best = int(np.argmax(taken))
    return _Taken(float(taken[best]), tuple(int(lot) for lot in lots), good[best])


def _are_near(shares: Floats, lots: Ints, hunt: _Hunt) -> Bools:
    """Which blends of one set, shares (B, k), are whole and within the tolerance."""
    apart = hunt.target.apart(labs_of(shares, lots, hunt.field, hunt.target)[:, 0])
    return np.asarray((apart <= hunt.tolerance_de) & (np.abs(shares.sum(axis=1) - 1) < WHOLE))
