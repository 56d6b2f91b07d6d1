"""Leftovers used up, what a stock lacks, and recipes as a scale can weigh them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.planning.shades import D65, OURS, WAYS, spectra, spectrum_target, stock_of

from doffer.errors import InfeasibleError, InputError
from doffer.fibre.colour.blend import blend
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.leftovers import use_up
from doffer.planning.shade.missing import what_is_missing
from doffer.planning.shade.scale import weigh_recipe
from doffer.planning.shade.search import search_recipes
from doffer.planning.shade.target import Rules, target_from_lab

RULES = Rules(batch_dry_mass_g=2000, owners=OURS)


def test_leftovers_are_taken_as_far_as_the_tolerance_allows():
    rng = np.random.default_rng(1)
    stock = stock_of(spectra(rng, 15))
    target = spectrum_target(blend(stock.reflectance[[2, 6]], np.array([0.8, 0.2]), WAYS.mixing))
    taken = {}
    for tolerance in (0.5, 2.0, 5.0):
        found = use_up(target, stock, RULES, WAYS, leftovers=frozenset({"L006"}), tolerance_de=tolerance)
        assert found.recipe.de["D65"] <= tolerance + 1e-6
        share = dict(zip(found.recipe.lots, found.recipe.shares, strict=True))["L006"]
        assert found.leftover_dry_mass_g == pytest.approx(2000 * share)
        taken[tolerance] = found.leftover_dry_mass_g
    assert 390 < taken[0.5] < taken[2.0] < taken[5.0]
    usual = search_recipes(target, stock, RULES, WAYS)[0]
    assert taken[2.0] > 2000 * dict(zip(usual.lots, usual.shares, strict=True)).get("L006", 0)


def test_a_leftover_that_is_the_shade_is_used_whole_as_far_as_there_is_of_it():
    stock = stock_of(spectra(np.random.default_rng(2), 10), dry_mass_g=np.r_[700, np.full(9, 5000.0)])
    target = spectrum_target(stock.reflectance[0])
    found = use_up(target, stock, RULES, WAYS, leftovers=frozenset({"L000"}), tolerance_de=6)
    assert found.leftover_dry_mass_g == pytest.approx(700, rel=0.03)


def test_several_leftovers_count_together():
    rng = np.random.default_rng(3)
    stock = stock_of(spectra(rng, 12), dry_mass_g=np.r_[400, 400, np.full(10, 5000.0)])
    target = spectrum_target(blend(stock.reflectance[[0, 1, 5]], np.array([0.2, 0.2, 0.6]), WAYS.mixing))
    both = use_up(target, stock, RULES, WAYS, leftovers=frozenset({"L000", "L001"}), tolerance_de=1)
    one = use_up(target, stock, RULES, WAYS, leftovers=frozenset({"L000"}), tolerance_de=1)
    assert both.leftover_dry_mass_g >= one.leftover_dry_mass_g
    assert both.leftover_dry_mass_g == pytest.approx(800, rel=0.03)


def most_of_any(rng, stock, target, places, *, batch_g, tolerance_de, most_lots):
    """Most of the leftovers [g] in blends drawn at random, closer about the best from round to round.

    Knows nothing of the search: draws shares, predicts, and throws away what is too far off or too much.
    """
    n_lots = len(stock.names)
    most = np.minimum(1.0, stock.dry_mass_g / batch_g)
    best_share, best = 0.0, None
    for turn in range(10):
        if best is None or turn < 4:
            shares = np.zeros((20_000, n_lots))
            for begin in range(0, len(shares), 20):
                chosen = rng.choice(n_lots, rng.integers(2, most_lots + 1), replace=False)
                shares[begin : begin + 20, chosen] = rng.dirichlet(np.ones(len(chosen)), 20)
        else:
            shares = np.clip(
                best + (best > 0) * rng.normal(0, 0.2 / 2 ** (turn - 2), (20_000, n_lots)), 0, most
            )
            shares /= shares.sum(axis=1, keepdims=True)
        least = RULES.least_share
        can_be = (shares <= most + 1e-9).all(axis=1) & ((shares == 0) | (shares >= least)).all(axis=1)
        shares = shares[can_be]
        labs = lab_of_reflectance(blend(stock.reflectance, shares, WAYS.mixing), D65)
        shares = shares[target.apart(labs) <= tolerance_de]
        taken = shares[:, places].sum(axis=1)
        if taken.size and taken.max() > best_share:
            best_share, best = float(taken.max()), shares[int(np.argmax(taken))]
    return best_share * batch_g


@pytest.mark.parametrize(
    ("seed", "left"), [(1, ("L002", "L011")), (3, ("L002", "L011")), (0, ("L006",)), (5, ("L002", "L011"))]
)
def test_no_blend_drawn_at_random_takes_more_of_the_leftovers(seed, left):
    rng = np.random.default_rng(seed)
    stock = stock_of(spectra(rng, 14), dry_mass_g=rng.uniform(60, 900, 14))
    target = spectrum_target(blend(stock.reflectance[[2, 6, 9]], np.array([0.5, 0.3, 0.2]), WAYS.mixing))
    rules = dataclasses.replace(RULES, batch_dry_mass_g=1000, most_lots=4)
    found = use_up(target, stock, rules, WAYS, leftovers=frozenset(left), tolerance_de=2.0)
    assert found.recipe.de["D65"] <= 2.0 + 1e-6
    there = dict(zip(stock.names, stock.dry_mass_g, strict=True))
    for lot, share in zip(found.recipe.lots, found.recipe.shares, strict=True):
        assert 1000 * share <= there[lot] + 0.01
    places = [stock.names.index(name) for name in left]
    drawn_g = most_of_any(rng, stock, target, places, batch_g=1000, tolerance_de=2.0, most_lots=4)
    assert drawn_g > 100
    assert found.leftover_dry_mass_g >= drawn_g - 0.5


def test_a_leftover_of_quite_another_colour_cannot_be_used_up():
    dark = np.full((1, 31), 0.03)
    stock = stock_of(np.concatenate([dark, np.full((1, 31), 0.7)]))
    with pytest.raises(InfeasibleError, match="Allow a wider tolerance or more lots"):
        use_up(
            spectrum_target(np.full(31, 0.7)),
            stock,
            RULES,
            WAYS,
            leftovers=frozenset({"L000"}),
            tolerance_de=1,
        )


def test_leftovers_are_named():
    stock = stock_of(spectra(np.random.default_rng(3), 4))
    with pytest.raises(InputError, match="one or more lots"):
        use_up(
            spectrum_target(stock.reflectance[0]), stock, RULES, WAYS, leftovers=frozenset(), tolerance_de=1
        )


def lab_stock(*labs: tuple[float, float, float]):
    return stock_of(recover_reflectance(np.array(labs, dtype=float), D65).reflectance)


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ((85, 0, 0), {"lighter"}),
        ((25, 0, 0), {"darker"}),
        ((55, 22, 0), {"redder"}),
        ((55, -22, 0), {"greener"}),
        ((50, 0, -22), {"bluer"}),
    ],
)
def test_a_stock_of_greys_lacks_what_the_target_has(wanted, words):
    stock = lab_stock((70, 0, 0), (40, 0.5, 0), (55, -0.5, 1))
    target = target_from_lab(np.array(wanted, dtype=float), D65)
    recipes = search_recipes(target, stock, RULES, WAYS)
    found = what_is_missing(target, stock, RULES, WAYS, recipes, tolerance_de=1)
    assert words <= set(found.words)
    assert found.de <= recipes[0].de["D65"] + 1e-6
    assert found.de == pytest.approx(float(de2000(target.labs[0], np.array(found.lab))))


def test_a_stronger_red_than_any_red_is_missing_strength():
    stock = lab_stock((50, 30, 15), (50, 5, 3), (50, 15, 30), (50, 25, -10))
    target = target_from_lab(np.array([50.0, 50, 24]), D65)
    recipes = search_recipes(target, stock, RULES, WAYS)
    found = what_is_missing(target, stock, RULES, WAYS, recipes, tolerance_de=1)
    assert found.words[0] == "stronger"


def test_nothing_is_missing_when_a_recipe_is_within_the_tolerance():
    stock = stock_of(spectra(np.random.default_rng(4), 10))
    target = spectrum_target(stock.reflectance[1])
    recipes = search_recipes(target, stock, RULES, WAYS)
    assert what_is_missing(target, stock, RULES, WAYS, recipes, tolerance_de=1) is None


def test_when_only_the_number_of_lots_stands_in_the_way_no_direction_is_missing():
    rng = np.random.default_rng(5)
    stock = stock_of(spectra(rng, 8))
    target = spectrum_target(blend(stock.reflectance[:4], np.full(4, 0.25), WAYS.mixing))
    rules = dataclasses.replace(RULES, most_lots=1)
    recipes = search_recipes(target, stock, rules, WAYS)
    found = what_is_missing(target, stock, rules, WAYS, recipes, tolerance_de=1)
    assert found.words == ()
    assert found.de < 1


def weighed(division_g: float, regain: tuple[float, ...] = (0.16, 0.16, 0.12)):
    stock = stock_of(spectra(np.random.default_rng(6), 12))
    target = spectrum_target(blend(stock.reflectance[[1, 4, 8]], np.array([0.5, 0.3, 0.2]), WAYS.mixing))
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    found = weigh_recipe(
        recipe,
        stock,
        target,
        WAYS,
        batch_dry_mass_g=2000,
        actual_regain_fracs=np.array(regain),
        division_g=division_g,
    )
    return recipe, stock, target, found


def test_a_recipe_is_weighed_damp_in_whole_divisions_and_predicted_again():
    recipe, stock, target, found = weighed(1.0)
    assert recipe.lots == ("L001", "L004", "L008")
    assert found.weighed_mass_g == pytest.approx((1160, 696, 448), abs=8)
    assert all(mass == round(mass) for mass in found.weighed_mass_g)
    assert sum(found.weighed_mass_g) == round(sum(found.weighed_mass_g))
    assert found.dry_mass_g == pytest.approx(np.array(found.weighed_mass_g) / [1.16, 1.16, 1.12])
    shares = np.array(found.dry_mass_g) / sum(found.dry_mass_g)
    lab = lab_of_reflectance(blend(stock.reflectance[[1, 4, 8]], shares, WAYS.mixing), D65)
    assert found.lab == pytest.approx(lab)
    assert found.de == pytest.approx(float(de2000(target.labs[0], lab)))
    assert found.moved_de < 0.05


def test_a_coarse_scale_moves_the_colour_and_says_so():
    assert weighed(50.0)[3].moved_de > 10 * weighed(1.0)[3].moved_de


@pytest.mark.parametrize("division_g", [0, -1, 0.0001])
def test_a_scale_without_a_division_is_refused(division_g):
    with pytest.raises(InputError, match="division of the scale"):
        weighed(division_g)


def test_a_scale_too_coarse_for_the_smallest_part_is_refused():
    with pytest.raises(InputError, match="take a finer scale or a larger batch"):
        weighed(1500.0)


def test_every_lot_has_its_regain():
    with pytest.raises(InputError, match="regain of the lots"):
        weighed(1.0, regain=(0.16, 0.16))
