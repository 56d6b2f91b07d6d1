"""Which direction a stock lacks when no recipe reaches a shade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doffer.errors import InfeasibleError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.predict import Lab, as_lab
from doffer.fibre.colour.words import difference_words
from doffer.planning.shade.linear import best_of_all
from doffer.planning.shade.search import allowed_lots, stock_field
from doffer.planning.shade.solve import labs_of
from doffer.planning.shade.target import Recipe, Rules, Stock, Target
from doffer.planning.shade.ways import ShadeWays


@dataclass(frozen=True, slots=True)
class Missing:
    """What even the best blend of everything lacks: how far off it stays, how it would have to differ.

    `words` say what the target is beside that blend ("lighter", "stronger", "redder"): a lot to buy or dye
    lies in that direction. Empty words: the stock can make the shade, with more lots or other amounts than
    allowed.
    """

    de: float
    lab: Lab
    words: tuple[str, ...]


def what_is_missing(
    target: Target,
    stock: Stock,
    rules: Rules,
    ways: ShadeWays,
    recipes: tuple[Recipe, ...],
    *,
    tolerance_de: float,
) -> Missing | None:
    """What the stock lacks for a target; None when a recipe is within the tolerance (first light).

    The best blend of any number of lots in any amount is sought from equal shares and from every recipe
    found.
    """
    first = target.lights[0].illuminant
    if any(recipe.de[first] <= tolerance_de for recipe in recipes):
        return None
    usable = np.array(allowed_lots(stock, rules), dtype=np.intp)
    if not usable.size:
        raise InfeasibleError("This shade", "no lot may be used", "Allow a lot, or take in fibre")
    field = stock_field(target, stock, rules, ways)
    place_of = {name: place for place, name in enumerate(stock.names)}
    starts: list[Floats | None] = [None]
    for recipe in recipes:
        start = np.zeros(len(stock.names))
        start[[place_of[name] for name in recipe.lots]] = recipe.shares
        starts.append(start)
    ends = np.stack([best_of_all(usable, field, start) for start in starts])
    labs = labs_of(ends, np.arange(len(stock.names)), field, target)[:, 0]
    apart = target.apart(labs)
    best = int(np.argmin(apart))
    de, lab = float(apart[best]), labs[best]
    return Missing(de, as_lab(lab), difference_words(lab, target.labs[0]) if de > tolerance_de else ())
