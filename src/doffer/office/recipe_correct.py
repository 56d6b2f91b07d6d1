"""A recipe corrected by its trial card: its own lots in other shares, or with an addition from stock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.words import difference_words
from doffer.mill.queries.bench import Bench, BenchLot
from doffer.mill.queries.bench import bench as bench_now
from doffer.mill.queries.free_fibre import free_for
from doffer.mill.queries.recipes import OneRecipe, RecipePart
from doffer.office.bench_asked import OWN_COLOUR
from doffer.office.bench_blend import TELLABLE_DE, stock_of
from doffer.office.recipe_view import FIRST_LIGHT, shares_of, spectra_of, target_at, ways_of
from doffer.planning.shade.correct import Batch, Correction, correct_batch
from doffer.planning.shade.mend import Mended, in_weight, mend_recipe
from doffer.planning.shade.target import Target
from doffer.planning.shade.trial import Trial, target_after_trial
from doffer.planning.shade.ways import ShadeWays

LEAST_FREE_G = 1e-3  # a lot of which nothing is free has no part in the mix
SAME_G = 1.0  # below a gram a weight counts as the same
MOST_PARTS = 5
LEAST_SHARE = 0.005  # what is less than half a hundredth of the mix is left out


@dataclass(frozen=True, slots=True)
class Grams:
    """A lot of the corrected recipe, its new and its old oven-dry weight [g]."""

    lot: str
    colour_name: str
    dry_g: float
    was_g: float

    @property
    def change_g(self) -> float:
        """More (above zero) or less than before."""
        return self.dry_g - self.was_g


@dataclass(frozen=True, slots=True)
class Way:
    """One way to correct: new oven-dry grams, the difference to be expected, whether it is then on shade.

    `less_g` is by how much the mix is lighter than it was, because of the `scarce` lots; 0 where it is not.
    """

    grams: tuple[Grams, ...]
    de: float
    words: tuple[str, ...]
    is_on_shade: bool
    less_g: float
    scarce: tuple[str, ...]

    @property
    def total_g(self) -> float:
        """All lots, oven-dry [g]."""
        return sum(one.dry_g for one in self.grams)


@dataclass(frozen=True, slots=True)
class Corrected:
    """More or less of the lots by what the card said; with an addition from stock where that is nearer.

    `own` is None where the recipe has one lot alone. `address` looks for other lots altogether.
    """

    own: Way | None
    added: Way | None
    address: str


def corrected_of(recipe: OneRecipe) -> Corrected | None:
    """The recipe corrected by its trial card: the aim is moved by what the prediction was off.

    The mix keeps its weight. Only where neither its lots nor an addition bring so much of it on shade, and
    its lots do bring less of it, is it lighter. None where there is nothing to correct by.
    """
    sitting = next((one for one in recipe.trials if FIRST_LIGHT in one.labs), None)
    if sitting is None:
        return None
    ways, spectra = ways_of(recipe), spectra_of(recipe.parts)
    free_g = _free_g(recipe)
    target = target_at(recipe, list(sitting.labs))
    measured = np.array([sitting.labs[one.illuminant] for one in target.lights])
    aim = target_after_trial(Trial(spectra, shares_of(recipe.parts), measured), target, ways)
    own = _of_its_lots(recipe, aim, ways, free_g) if len(recipe.parts) > 1 else None
    added = None if own and own.is_on_shade else _with_stock(recipe, aim, ways, own)
    if own and not own.is_on_shade and not (added and added.is_on_shade):
        own = _lighter(recipe, aim, ways, free_g) or own
    words = [("want", "find"), ("shade", OWN_COLOUR), ("lab", ", ".join(f"{x:.2f}" for x in aim.labs[0]))]
    words += [("held", recipe.row.shade)] if recipe.row.shade else []
    return Corrected(
        own=own,
        added=added,
        address=f"/bench/?{urlencode(words)}",
    )


def _of_its_lots(recipe: OneRecipe, aim: Target, ways: ShadeWays, there_g: Floats) -> Way:
    """Other shares of the same lots, in the weight of the mix."""
    dry_g = _dry_g(recipe)
    total_g = float(dry_g.sum())
    spectra = spectra_of(recipe.parts)
    found = mend_recipe(spectra, dry_g, there_g, target=aim, ways=ways, least_total_g=total_g)
    return _way(recipe, aim, found, there_g, total_g)


def _lighter(recipe: OneRecipe, aim: Target, ways: ShadeWays, there_g: Floats) -> Way | None:
    """Other shares of the same lots in less than the weight of the mix; None where that is off shade too."""
    dry_g = _dry_g(recipe)
    found = mend_recipe(spectra_of(recipe.parts), dry_g, there_g, target=aim, ways=ways)
    way = _way(recipe, aim, found, there_g, float(dry_g.sum()))
    return way if way.is_on_shade else None


def _dry_g(recipe: OneRecipe) -> Floats:
    """What the recipe takes of its lots, oven-dry [g]."""
    return np.array([part.dry_mass_g for part in recipe.parts])


def _free_g(recipe: OneRecipe) -> Floats:
    """What it may take of them, oven-dry [g]: not what another mix waits for."""
    free = free_for(recipe.row.code, [part.lot for part in recipe.parts])
    return np.array([max(free.get(part.lot, 0.0), LEAST_FREE_G) for part in recipe.parts])


def _way(recipe: OneRecipe, aim: Target, found: Mended, there_g: Floats, total_g: float) -> Way:
    grams_g = in_weight(found.dry_mass_g, there_g, total_g=total_g)
    less_g = max(0.0, total_g - sum(grams_g))
    scarce = tuple(
        part.lot
        for part, g, most_g in zip(recipe.parts, grams_g, there_g, strict=True)
        if g > most_g - SAME_G
    )
    return Way(
        grams=_grams(recipe.parts, grams_g),
        de=found.de,
        words=difference_words(aim.labs[0], np.array(found.lab), least_de=TELLABLE_DE),
        is_on_shade=found.de <= recipe.tolerance.pass_de,
        less_g=less_g if less_g >= SAME_G else 0.0,
        scarce=scarce if less_g >= SAME_G else (),
    )


def _grams(parts: Sequence[RecipePart], grams_g: Sequence[float]) -> tuple[Grams, ...]:
    return tuple(
        Grams(part.lot, part.colour_name, g, part.dry_mass_g) for part, g in zip(parts, grams_g, strict=True)
    )


def _with_stock(recipe: OneRecipe, aim: Target, ways: ShadeWays, own: Way | None) -> Way | None:
    """The recipe with a lot or two more from stock, in its weight; None where that is no nearer."""
    fibre = recipe.parts[0].fibre
    bench = bench_now(shade=recipe.row.shade, fibre=fibre, first=recipe.parts[0].lot)
    lots = _may_be_added(recipe, bench)
    if not lots:
        return None
    dry_g = np.array([part.dry_mass_g for part in recipe.parts])
    plans = correct_batch(
        Batch(spectra_of(recipe.parts), dry_g),
        target=aim,
        stock=stock_of(lots),
        owners=frozenset(lot.owner for lot in lots),
        ways=ways,
        tolerance_de=recipe.tolerance.pass_de,
    )
    fit = [plan for plan in plans if len(plan.lots) + len(recipe.parts) <= MOST_PARTS]
    best = min(fit, key=lambda plan: plan.de_after, default=None)
    if best is None or (own and best.de_after > own.de - ways.lot_worth_de):
        return None
    return _added(recipe, aim, best, bench)


def _may_be_added(recipe: OneRecipe, bench: Bench) -> list[BenchLot]:
    """Lots of the recipe's owner, or of the owners' agreement that it rests on."""
    inside = {part.lot for part in recipe.parts}
    owners = {part.owner for part in recipe.parts}
    agreed = next((one.lots for one in bench.agreements if one.id == recipe.join_decision), ())
    return [
        lot
        for lot in bench.lots
        if lot.is_usable
        and lot.free_dry_g > 0
        and lot.code not in inside
        and lot.fibre in {part.fibre for part in recipe.parts}
        and (lot.code in agreed or owners == {lot.owner})
    ]


def _added(recipe: OneRecipe, aim: Target, plan: Correction, bench: Bench) -> Way | None:
    """A plan in the weight of the recipe."""
    old_g = [part.dry_mass_g for part in recipe.parts]
    total_g = sum(old_g)
    scale = total_g / (total_g + plan.total_added_dry_mass_g)
    new = [
        Grams(code, bench.lot(code).colour_name, g * scale, 0.0)
        for code, g in zip(plan.lots, plan.added_dry_mass_g, strict=True)
    ]
    if any(one.dry_g < LEAST_SHARE * total_g for one in new):
        return None
    return Way(
        grams=(*_grams(recipe.parts, [g * scale for g in old_g]), *new),
        de=plan.de_after,
        words=difference_words(aim.labs[0], np.array(plan.lab_after), least_de=TELLABLE_DE),
        is_on_shade=plan.de_after <= recipe.tolerance.pass_de,
        less_g=0.0,
        scarce=(),
    )
