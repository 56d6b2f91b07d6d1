"""Find recipes: every pair, then the best sets grow by one lot at a time (a beam), all solved in batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from doffer.errors import InfeasibleError, NotFoundError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.difference import de2000
from doffer.planning.shade.solve import Ints, best_shares, labs_of
from doffer.planning.shade.target import Recipe, Rules, Stock, Target, score_of

BEAM = 100
POINT = 0.01  # one percentage point of a share


def search_recipes(
    target: Target, stock: Stock, rules: Rules, *, offset: float, beam: int = BEAM, n_results: int = 10
) -> tuple[Recipe, ...]:
    """Best recipes, nearest first; cost breaks ties within what the eye can tell.

    Parameters
    ----------
    target, stock, rules
        See `planning.shade.target`.
    offset : float
        The fitted constant c of the blend model.
    beam : int
        Sets kept at each size: 100 answers at once, 400 looks harder.
    n_results : int
        At most this many; sets that differ only by an idle lot are told once.

    Raises
    ------
    InfeasibleError
        No lot may be used, or the stock is too small for the batch.
    """
    allowed = _allowed(stock, rules)
    most = np.minimum(1.0, stock.dry_mass_g / rules.batch_dry_mass_g)
    must = [lot for lot in allowed if stock.names[lot] in rules.required]
    usable = [lot for lot in allowed if most[lot] >= rules.least_share or lot in must]
    found = grow(
        Field(
            inverse=1 / (stock.reflectance + offset),
            low=np.minimum(rules.least_share, most),
            high=most,
            offset=offset,
            target=target,
        ),
        usable,
        must,
        most_lots=rules.most_lots,
        beam=beam,
        n_results=n_results,
    )
    if not found:
        raise InfeasibleError(
            "This shade in this weight",
            "the lots that may be used do not add up to the batch",
            "Make a smaller batch, allow more lots, or dye more",
        )
    inverse = 1 / (stock.reflectance + offset)
    return tuple(_recipe(one, stock, target, inverse, offset) for one in found)


def _allowed(stock: Stock, rules: Rules) -> list[int]:
    """Lots that are ours to use and not forbidden; required ones must be among them."""
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


@dataclass(frozen=True, eq=False, slots=True)
class Field:
    """What sets of lots are solved in: g = 1 / (R + c), shape (N, 31); least and most share of each lot, (N,)."""

    inverse: Floats
    low: Floats
    high: Floats
    offset: float
    target: Target


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """A solved set: its score, the places of its lots, their shares (k,), and its Lab under each light (m, 3)."""

    score: float
    lots: tuple[int, ...]
    shares: Floats
    labs: Floats


def grow(
    field: Field, usable: Sequence[int], must: Sequence[int], *, most_lots: int, beam: int, n_results: int
) -> list[Found]:
    """Solve sets of lots of growing size and keep the best, nearest first; sets with `must` in all of them."""
    found: list[Found] = []
    level = _first_sets(usable, must, most_lots)
    while level.size:
        shares, scores, labs = _solve(level, field)
        order = np.argsort(scores)
        found += [
            Found(float(scores[place]), tuple(int(lot) for lot in level[place]), shares[place], labs[place])
            for place in order[:n_results]
            if np.isfinite(scores[place])
        ]
        if level.shape[1] >= most_lots:
            break
        level = _grown(level[order[:beam]], usable)
    return sorted(found, key=lambda one: one.score)[:n_results]


def _first_sets(usable: Sequence[int], must: Sequence[int], most_lots: int) -> Ints:
    """All pairs to begin with, or the required lots alone."""
    if must:
        return np.array([sorted(must)], dtype=np.intp)
    size = min(2, most_lots, len(usable))
    if size == 0:
        return np.zeros((0, 0), dtype=np.intp)
    return np.array(list(combinations(usable, size)), dtype=np.intp)


def _grown(sets: Ints, usable: Sequence[int]) -> Ints:
    """Every set with one more lot, each result once."""
    lots = np.array(usable, dtype=np.intp)
    wide = np.repeat(sets, len(lots), axis=0)
    more = np.tile(lots, len(sets))[:, None]
    grown = np.sort(np.concatenate([wide, more], axis=1), axis=1)
    fresh = grown[(np.diff(grown, axis=1) > 0).all(axis=1)]
    return np.unique(fresh, axis=0) if fresh.size else np.zeros((0, 0), dtype=np.intp)


def _solve(sets: Ints, field: Field) -> tuple[Floats, Floats, Floats]:
    """Best shares, scores (infinite where the stock is too small) and Labs of every set."""
    low, high = field.low[sets], field.high[sets]
    enough = (high.sum(axis=1) >= 1) & (low.sum(axis=1) <= 1)
    start = np.full(sets.shape, 1 / sets.shape[1])
    shares = best_shares(
        sets, start, field.inverse, offset=field.offset, target=field.target, low=low, high=high
    )
    labs = labs_of(shares, field.inverse, sets, field.offset, field.target)
    scores = np.where(enough, score_of(labs, field.target), np.inf)
    return shares, scores, labs


def _recipe(
    found: Found,
    stock: Stock,
    target: Target,
    inverse: Floats,
    offset: float,
) -> Recipe:
    """A found set as a recipe, largest share first."""
    order = np.argsort(-found.shares)
    chosen, w = np.array(found.lots, dtype=np.intp)[order], found.shares[order]
    lightness, a, b = (float(x) for x in found.labs[0])
    apart = de2000(target.labs, found.labs)
    return Recipe(
        lots=tuple(stock.names[lot] for lot in chosen),
        shares=tuple(float(x) for x in w),
        lab=(lightness, a, b),
        de={one.illuminant: float(x) for one, x in zip(target.lights, apart, strict=True)},
        score=found.score,
        cost_cents_per_kg=float(w @ stock.cost_cents_per_kg[chosen]),
        de_per_point=_per_point(chosen, w, found.labs[0], inverse, offset=offset, target=target),
    )


def _per_point(
    chosen: Ints, shares: Floats, lab: Floats, inverse: Floats, *, offset: float, target: Target
) -> tuple[float, ...]:
    """How far the blend moves when one lot is a percentage point too heavy, the others in proportion."""
    off = np.repeat(shares[None, :], len(shares), axis=0)
    off[range(len(shares)), range(len(shares))] += POINT
    off /= off.sum(axis=1, keepdims=True)
    sets = np.repeat(chosen[None, :], len(shares), axis=0)
    moved = labs_of(off, inverse, sets, offset, target)[:, 0]
    return tuple(float(x) for x in de2000(lab, moved))
