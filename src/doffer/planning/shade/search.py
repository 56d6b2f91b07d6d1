"""Find recipes: small sets of lots are all tried, then the best grow by one lot at a time (a beam).

The beam runs in single precision; what it finds is solved again in double. See `planning.shade.solve`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np

from doffer.errors import InfeasibleError, NotFoundError
from doffer.fibre.arrays import Floats, Ints, single
from doffer.planning.shade.linear import Linear, best_of_all, linear_about, screen_sets
from doffer.planning.shade.solve import Field, field_of, in_single, labs_of, solve_sets
from doffer.planning.shade.target import Recipe, Rules, Stock, Target, score_of
from doffer.planning.shade.tell import recipe_of
from doffer.planning.shade.ways import ShadeWays

BEAM = 200
N_SCREEN_STEPS, N_STEPS, N_LAST_STEPS = 3, 4, 10
N_WHOLE_PER_BEAM = 400  # sets of a size for each place in the beam up to which all are looked at
N_SOLVED_PER_BEAM = 10
ALWAYS_WHOLE = 2  # pairs are always all looked at
N_LOOKED_AT = 3  # times the beam: that many of the best by the local metric get their true difference
NEWCOMER_SHARE = 0.2
IDLE_SHARE = 1e-4  # a lot below this is not in the recipe
SAME_SCORE = 0.02  # of two sets that differ by less than the models can tell, the cheaper


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """A solved set: score, places of its lots, their shares (k,), and its Lab under each light (m, 3)."""

    score: float
    lots: tuple[int, ...]
    shares: Floats
    labs: Floats


def search_recipes(
    target: Target, stock: Stock, rules: Rules, ways: ShadeWays, *, beam: int = BEAM, n_results: int = 10
) -> tuple[Recipe, ...]:
    """Best recipes, best first: a further lot must earn its place, cost breaks ties.

    Recipes are ordered by ``score + lot_worth x lots``, where the score is the weighted root of squared
    differences over the lights by the formula of the target; a recipe is left out when one with a
    part of its lots is as good.

    Parameters
    ----------
    target, stock, rules, ways
        See `planning.shade.target` and `planning.shade.ways`.
    beam : int
        Sets kept at each size: 200 answers at once, 800 looks harder.
    n_results : int
        At most this many.

    Raises
    ------
    InfeasibleError
        No lot may be used, or the stock is too small for the batch.
    NotFoundError
        A required or forbidden lot that is not in the stock.
    """
    allowed = allowed_lots(stock, rules)
    must = [lot for lot in allowed if stock.names[lot] in rules.required]
    field = stock_field(target, stock, rules, ways)
    usable = [lot for lot in allowed if field.high[lot] >= rules.least_share or lot in must]
    found = grow(
        field, usable, must, target=target, most_lots=rules.most_lots, beam=beam, n_results=n_results
    )
    if not found:
        raise InfeasibleError(
            "This shade in this weight",
            "the lots that may be used do not add up to the batch",
            "Make a smaller batch, allow more lots, or dye more",
        )
    kept = _worth_their_lots(found, stock, ways)[:n_results]
    return tuple(recipe_of(one.lots, one.shares, stock, target, ways) for one in kept)


def stock_field(target: Target, stock: Stock, rules: Rules, ways: ShadeWays) -> Field:
    """The stock as a field: no lot gives more than there is, and at least the least share when it is used."""
    high = np.minimum(1.0, stock.dry_mass_g / rules.batch_dry_mass_g)
    low = np.minimum(rules.least_share, high)
    return field_of(stock.reflectance, low, high, mixing=ways.mixing, target=target)


def allowed_lots(stock: Stock, rules: Rules) -> list[int]:
    """Places of lots that are ours to use and not forbidden; required ones must be among them."""
    unknown = (rules.required | rules.forbidden) - set(stock.names)
    if unknown:
        raise NotFoundError("lot in the stock", ", ".join(sorted(unknown)))
    allowed = [
        place
        for place, (name, owner) in enumerate(zip(stock.names, stock.owner, strict=True))
        if owner in rules.owners and name not in rules.forbidden and stock.dry_mass_g[place] > 0
    ]
    missing = rules.required - {stock.names[place] for place in allowed}
    if missing:
        raise InfeasibleError(
            "This recipe",
            f"{', '.join(sorted(missing))} is somebody else's fibre or used up",
            "Leave it out, or record the owner's agreement first",
        )
    return allowed


def grow(
    field: Field,
    usable: Sequence[int],
    must: Sequence[int],
    *,
    target: Target,
    most_lots: int,
    beam: int,
    n_results: int,
) -> list[Found]:
    """Solve sets of lots of growing size and keep the best of each size, nearest first; `must` is in all.

    A size is tried whole where that is not too much work. Sets are first looked at in a picture that is
    linear about the best blend of all lots together; only the best of them are solved.
    """
    quick = in_single(field)
    rest = [lot for lot in usable if lot not in must]
    if not rest and not must:
        return []
    linear = linear_about(best_of_all(np.array([*must, *rest], dtype=np.intp), field), field)
    picture = Linear(single(linear.gram), single(linear.pull), linear.rest)
    found: list[Found] = []
    best = _Level(np.zeros((0, 0), dtype=np.intp), np.zeros((0, 0)))
    for size in range(max(1, len(must)), min(most_lots, len(rest) + len(must)) + 1):
        n_all = comb(len(rest), size - len(must))
        is_whole = size - len(must) <= ALWAYS_WHOLE or n_all <= N_WHOLE_PER_BEAM * beam
        level = _every_set(rest, must, size) if is_whole else _grown(best, rest)
        level = _screened(level, picture, quick, n_kept=N_SOLVED_PER_BEAM * beam)
        shares, apart = solve_sets(level.sets, level.shares, quick, n_steps=N_STEPS)
        best = _best(level.sets, shares, apart, quick, target, beam=beam)
        found += _solved(_Level(best.sets[:n_results], best.shares[:n_results]), field, target)
    return sorted(found, key=lambda one: one.score)


@dataclass(frozen=True, eq=False, slots=True)
class _Level:
    """Sets of one size with shares to begin with, shapes (B, k)."""

    sets: Ints
    shares: Floats


def _every_set(rest: Sequence[int], must: Sequence[int], size: int) -> _Level:
    """All sets of a size that hold the required lots, equal shares to begin with."""
    n_more = size - len(must)
    if n_more == ALWAYS_WHOLE:  # of a large stock these are very many
        more = np.array(rest, dtype=np.intp)[np.stack(np.triu_indices(len(rest), 1), axis=1)]
    else:
        chosen = list(combinations(rest, n_more))
        more = np.array(chosen, dtype=np.intp).reshape(len(chosen), n_more)
    needed = np.tile(np.array(must, dtype=np.intp), (len(more), 1))
    sets = np.sort(np.concatenate([needed, more], axis=1), axis=1)
    return _Level(sets, np.full(sets.shape, 1 / size))


def _screened(level: _Level, picture: Linear, field: Field, *, n_kept: int) -> _Level:
    """The sets of a level that are nearest in the linear picture, with its shares to begin from."""
    if len(level.sets) <= n_kept:
        return level
    shares, apart = screen_sets(level.sets, level.shares, picture, field, n_steps=N_SCREEN_STEPS)
    kept = np.argpartition(apart, n_kept)[:n_kept]
    return _Level(level.sets[kept], shares[kept])


def _grown(best: _Level, rest: Sequence[int]) -> _Level:
    """Every kept set with one more lot, each result once, beginning from the shares it was kept with."""
    lots = np.array(rest, dtype=np.intp)
    wide = np.repeat(best.sets, len(lots), axis=0)
    more = np.tile(lots, len(best.sets))
    fresh = ~(wide == more[:, None]).any(axis=1)
    shares = np.repeat(best.shares, len(lots), axis=0)[fresh] * (1 - NEWCOMER_SHARE)
    sets = np.concatenate([wide[fresh], more[fresh, None]], axis=1)
    shares = np.concatenate([shares, np.full((len(sets), 1), NEWCOMER_SHARE)], axis=1)
    order = np.argsort(sets, axis=1)
    sets, shares = np.take_along_axis(sets, order, axis=1), np.take_along_axis(shares, order, axis=1)
    keys = sets @ (int(sets.max()) + 1) ** np.arange(sets.shape[1], dtype=np.int64)
    _, once = np.unique(keys, return_index=True)
    return _Level(sets[once], shares[once])


def _best(sets: Ints, shares: Floats, apart: Floats, field: Field, target: Target, *, beam: int) -> _Level:
    """The best sets of a level by their true difference; the local metric chooses which to look at."""
    order = np.argsort(apart)[: N_LOOKED_AT * beam]
    order = order[np.isfinite(apart[order])]
    scores = score_of(labs_of(shares[order], sets[order], field, target), target)
    kept = order[np.argsort(scores)[:beam]]
    return _Level(sets[kept], shares[kept])


def _solved(level: _Level, field: Field, target: Target) -> list[Found]:
    """Sets solved to the end in double precision."""
    if not level.sets.size:
        return []
    shares, apart = solve_sets(level.sets, level.shares, field, n_steps=N_LAST_STEPS)
    labs = labs_of(shares, level.sets, field, target)
    scores = score_of(labs, target)
    return [
        Found(float(scores[place]), tuple(int(lot) for lot in level.sets[place]), shares[place], labs[place])
        for place in range(len(scores))
        if np.isfinite(apart[place])
    ]


def _worth_their_lots(found: list[Found], stock: Stock, ways: ShadeWays) -> list[Found]:
    """Recipes in order of preference; those left out that a smaller one matches."""

    def rank(one: Found) -> tuple[int, float]:
        price = float(one.shares @ stock.cost_cents_per_kg[list(one.lots)])
        return round((one.score + ways.lot_worth_de * len(one.lots)) / SAME_SCORE), price

    kept: list[Found] = []
    for one in sorted((without_idle(one) for one in found), key=rank):
        smaller = [other for other in kept if set(other.lots) <= set(one.lots)]
        if all(other.score - one.score > ways.lot_worth_de * _fewer(other, one) for other in smaller):
            kept.append(one)
    return kept


def _fewer(other: Found, one: Found) -> float:
    """How many lots fewer; the same set again counts as very many, so that it is told once."""
    return len(one.lots) - len(other.lots) or float("inf")


def without_idle(one: Found) -> Found:
    """The set without lots that give nothing."""
    used = one.shares > IDLE_SHARE
    if used.all():
        return one
    lots = tuple(lot for lot, is_used in zip(one.lots, used, strict=True) if is_used)
    shares = one.shares[used]
    return Found(one.score, lots, shares / shares.sum(), one.labs)
