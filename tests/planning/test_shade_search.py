"""Recipes found: against trying everything, within their limits, few lots before many."""

from __future__ import annotations

import dataclasses
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.shades import (
    D65,
    FERN,
    GREEN_DRY_G,
    GREEN_LABS,
    GREENS,
    LIGHTS,
    OURS,
    TABLES,
    WAYS,
    YELLOW_DRY_G,
    YELLOW_LAB,
    spectra,
    spectrum_target,
    stock_of,
)

from doffer.errors import InfeasibleError, InputError, NotFoundError
from doffer.fibre.colour.blend import BlendModel, blend, default_mixing
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.linear import best_of_all
from doffer.planning.shade.search import grow, search_recipes, stock_field
from doffer.planning.shade.simplex import onto_simplex
from doffer.planning.shade.solve import gap_of, in_single, labs_of, solve_sets
from doffer.planning.shade.target import Rules, Stock, score_of, target_from_lab
from doffer.planning.shade.tell import surest_first

RULES = Rules(batch_dry_mass_g=2000, owners=OURS)


def hidden_blend(rng: np.random.Generator, stock: Stock, lots: list[int], shares: list[float]):
    return spectrum_target(blend(stock.reflectance[lots], np.array(shares), WAYS.mixing))


@pytest.mark.parametrize("seed", range(4))
def test_the_best_of_up_to_three_lots_is_as_good_as_trying_every_set(seed):
    rng = np.random.default_rng(seed)
    stock = stock_of(spectra(rng, 24))
    target = spectrum_target(blend(spectra(rng, 3), rng.dirichlet(np.ones(3)), WAYS.mixing))
    field = stock_field(target, stock, RULES, WAYS)
    found = grow(field, range(24), [], target=target, most_lots=3, beam=20, n_results=5)
    every = []
    for size in (1, 2, 3):
        sets = np.array(list(combinations(range(24), size)))
        shares, _ = solve_sets(sets, np.full(sets.shape, 1 / size), field, n_steps=12)
        every.append(score_of(labs_of(shares, sets, field, target), target).min())
    assert found[0].score <= min(every) + 0.02


def test_no_other_shares_of_the_found_lots_are_nearer():
    rng = np.random.default_rng(11)
    stock = stock_of(spectra(rng, 20))
    target = spectrum_target(spectra(rng, 1)[0])
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    places = [stock.names.index(name) for name in recipe.lots]
    tried = rng.dirichlet(np.full(len(places), 2.0), 20000)
    tried = np.concatenate(
        [tried, np.clip(recipe.shares + rng.normal(0, 0.01, (5000, len(places))), 0.03, 1)]
    )
    tried = tried[tried.min(axis=1) >= RULES.least_share]
    tried /= tried.sum(axis=1, keepdims=True)
    mixed = blend(stock.reflectance[places], tried, WAYS.mixing)
    labs = np.stack([lab_of_reflectance(mixed, one) for one in LIGHTS], axis=1)
    assert score_of(labs, target).min() >= recipe.score - 0.02


def test_a_blend_of_the_stock_is_found_again():
    rng = np.random.default_rng(5)
    stock = stock_of(spectra(rng, 30))
    target = hidden_blend(rng, stock, [3, 11, 20], [0.5, 0.3, 0.2])
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    assert recipe.lots == ("L003", "L011", "L020")
    assert recipe.shares == pytest.approx((0.5, 0.3, 0.2), abs=2e-3)
    assert recipe.score < 0.02
    assert max(recipe.metamerism.values()) < 0.02


def test_a_lot_that_is_the_target_is_the_whole_recipe():
    stock = stock_of(spectra(np.random.default_rng(6), 30))
    recipe = search_recipes(spectrum_target(stock.reflectance[7]), stock, RULES, WAYS)[0]
    assert (recipe.lots, recipe.shares) == (("L007",), (1.0,))


def test_a_fifth_lot_must_earn_its_place():
    rng = np.random.default_rng(7)
    stock = stock_of(spectra(rng, 40))
    target = spectrum_target(blend(spectra(rng, 3), rng.dirichlet(np.ones(3)), WAYS.mixing))
    found = search_recipes(target, stock, dataclasses.replace(RULES, most_lots=5), WAYS)
    sizes = [(len(one.lots), one.score) for one in found]
    for one in found:
        for other in found:
            if set(other.lots) < set(one.lots):
                fewer = len(one.lots) - len(other.lots)
                assert other.score - one.score > WAYS.lot_worth_de * fewer
    assert sizes == sorted(sizes, key=lambda x: round((x[1] + WAYS.lot_worth_de * x[0]) / 0.02))
    assert len({frozenset(one.lots) for one in found}) == len(found)


def test_of_two_twins_the_cheaper_is_taken():
    r = spectra(np.random.default_rng(8), 10)
    stock = stock_of(np.concatenate([r, r[:1]]), cost_cents_per_kg=np.r_[3000, np.full(9, 2000), 1000])
    target = hidden_blend(np.random.default_rng(0), stock, [0, 4], [0.6, 0.4])
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    assert set(recipe.lots) == {"L010", "L004"}
    assert recipe.cost_cents_per_kg == pytest.approx(0.6 * 1000 + 0.4 * 2000, abs=5)


def test_somebody_elses_fibre_is_never_used():
    stock = stock_of(spectra(np.random.default_rng(9), 12))
    owner = ("farm",) + ("mill",) * 11
    stock = dataclasses.replace(stock, owner=owner)
    target = spectrum_target(stock.reflectance[0])
    assert all("L000" not in one.lots for one in search_recipes(target, stock, RULES, WAYS))
    with pytest.raises(InfeasibleError, match="L000 is somebody else's fibre or used up"):
        search_recipes(target, stock, dataclasses.replace(RULES, required=frozenset({"L000"})), WAYS)


def test_no_recipe_takes_more_than_there_is():
    stock = stock_of(spectra(np.random.default_rng(10), 12), dry_mass_g=np.r_[300, np.full(11, 5000.0)])
    for one in search_recipes(spectrum_target(stock.reflectance[0]), stock, RULES, WAYS):
        shares = dict(zip(one.lots, one.shares, strict=True))
        assert shares.get("L000", 0) <= 300 / 2000 + 1e-6
        assert min(one.shares) >= RULES.least_share - 1e-6
        assert sum(one.shares) == pytest.approx(1)


def test_required_and_forbidden_lots_are_kept_to():
    stock = stock_of(spectra(np.random.default_rng(12), 15))
    target = spectrum_target(stock.reflectance[3])
    rules = dataclasses.replace(RULES, required=frozenset({"L009"}), forbidden=frozenset({"L003"}))
    for one in search_recipes(target, stock, rules, WAYS):
        assert "L009" in one.lots
        assert "L003" not in one.lots


def test_a_target_known_as_lab_only_has_no_metamerism():
    stock = stock_of(spectra(np.random.default_rng(13), 15))
    target = target_from_lab(lab_of_reflectance(stock.reflectance[2], D65), D65)
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    assert recipe.metamerism is None
    assert set(recipe.de) == {"D65"}


def test_a_recipe_says_what_a_point_too_much_of_a_lot_does():
    dark_light = np.stack([np.full(31, 0.05), np.full(31, 0.60)])
    stock = stock_of(dark_light)
    target = spectrum_target(blend(dark_light, np.array([0.5, 0.5]), WAYS.mixing))
    recipe = search_recipes(target, stock, RULES, WAYS)[0]
    assert recipe.shares == pytest.approx((0.5, 0.5), abs=1e-3)
    # 1 point of share moves L* by about 0.4 between R = 0.05 and 0.60; towards e_i it moves half a point
    off = np.array([0.505, 0.495])
    labs = [lab_of_reflectance(blend(dark_light, w, WAYS.mixing), D65) for w in (np.array([0.5, 0.5]), off)]
    assert recipe.de_per_point[0] == pytest.approx(float(de2000(*labs)), rel=0.02)


def test_every_recipe_carries_its_trial_card_and_its_band():
    stock = stock_of(spectra(np.random.default_rng(14), 15))
    for one in search_recipes(spectrum_target(spectra(np.random.default_rng(15), 1)[0]), stock, RULES, WAYS):
        assert sum(one.trial_card_cg) == 2000
        assert one.trial_card_cg == pytest.approx([2000 * share for share in one.shares], abs=1)
        assert one.band.de == pytest.approx(one.de["D65"])
        assert one.band.de_high >= one.band.de >= one.band.de_low


@pytest.mark.parametrize("model", [BlendModel.FRIELE, BlendModel.PLAIN_AVERAGE, BlendModel.KUBELKA_MUNK])
def test_recipes_can_be_searched_by_another_model(model):
    ways = dataclasses.replace(WAYS, mixing=default_mixing(TABLES, model))
    rng = np.random.default_rng(16)
    stock = stock_of(spectra(rng, 20))
    target = spectrum_target(blend(stock.reflectance[[2, 9]], np.array([0.7, 0.3]), ways.mixing))
    recipe = search_recipes(target, stock, RULES, ways)[0]
    assert recipe.lots == ("L002", "L009")
    assert recipe.shares == pytest.approx((0.7, 0.3), abs=2e-3)
    assert recipe.band is None


def test_too_little_stock_is_said():
    stock = stock_of(spectra(np.random.default_rng(17), 5), dry_mass_g=np.full(5, 100.0))
    with pytest.raises(InfeasibleError, match="do not add up to the batch"):
        search_recipes(spectrum_target(stock.reflectance[0]), stock, RULES, WAYS)


def test_no_lot_at_all_is_said():
    stock = stock_of(spectra(np.random.default_rng(17), 5), owner=("farm",) * 5)
    with pytest.raises(InfeasibleError, match="do not add up to the batch"):
        search_recipes(spectrum_target(stock.reflectance[0]), stock, RULES, WAYS)


def test_a_lot_that_does_not_exist_is_named():
    stock = stock_of(spectra(np.random.default_rng(17), 5))
    rules = dataclasses.replace(RULES, forbidden=frozenset({"L777"}))
    with pytest.raises(NotFoundError, match="L777"):
        search_recipes(spectrum_target(stock.reflectance[0]), stock, rules, WAYS)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"most_lots": 6}, "from 1 to 5"),
        ({"most_lots": 0}, "from 1 to 5"),
        ({"least_share": 0}, "above 0"),
        ({"least_share": 0.5}, "at most 0.25"),
        ({"batch_dry_mass_g": 0}, "above zero"),
        ({"required": frozenset("a"), "forbidden": frozenset("a")}, "either required or forbidden"),
        ({"required": frozenset("abcde")}, "at most 4"),
    ],
)
def test_rules_that_cannot_be_kept_are_refused(changed, sentence):
    with pytest.raises(InputError, match=sentence):
        dataclasses.replace(RULES, **changed)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"owner": ("mill",)}, "lot by lot"),
        ({"reflectance": np.ones((3, 31))}, "one a lot"),
        ({"dry_mass_g": np.array([1.0, -1])}, "zero or more"),
        ({"dry_mass_g": np.array([1.0, np.nan])}, "zero or more"),
    ],
)
def test_stock_that_is_not_told_whole_is_refused(changed, sentence):
    with pytest.raises(InputError, match=sentence):
        dataclasses.replace(stock_of(np.full((2, 31), 0.5)), **changed)


@settings(max_examples=60)
@given(st.integers(2, 5), st.integers(0, 10_000))
def test_the_projection_is_the_nearest_point_within_the_bounds(k, seed):
    rng = np.random.default_rng(seed)
    low, high = rng.uniform(0, 0.9 / k, (k, 50)), rng.uniform(1.1 / k, 1, (k, 50))
    shares = rng.normal(0.3, 1.0, (k, 50))
    found = onto_simplex(shares, low, high)
    assert found.sum(axis=0) == pytest.approx(np.ones(50), abs=1e-5)
    assert np.all(found >= low - 1e-9)
    assert np.all(found <= high + 1e-9)
    other = onto_simplex(rng.uniform(0, 1, (k, 50)), low, high)  # any other allowed point is not nearer
    assert np.all(((found - shares) ** 2).sum(axis=0) <= ((other - shares) ** 2).sum(axis=0) + 1e-4)


def test_single_precision_finds_the_same_as_double():
    rng = np.random.default_rng(18)
    stock = stock_of(spectra(rng, 12))
    target = spectrum_target(spectra(rng, 1)[0])
    field = stock_field(target, stock, RULES, WAYS)
    sets = np.array(list(combinations(range(12), 3)))
    start = np.full(sets.shape, 1 / 3)
    coarse, fine = (solve_sets(sets, start, one, n_steps=6)[1] for one in (in_single(field), field))
    near = fine < np.quantile(fine, 0.5)
    assert coarse[near] == pytest.approx(fine[near], abs=0.05)


def test_impossible_bounds_are_infinitely_far():
    stock = stock_of(spectra(np.random.default_rng(19), 4), dry_mass_g=np.array([100.0, 100, 5000, 5000]))
    field = stock_field(spectrum_target(stock.reflectance[0]), stock, RULES, WAYS)
    _, apart = solve_sets(np.array([[0, 1], [2, 3]]), np.full((2, 2), 0.5), field, n_steps=4)
    assert np.isinf(apart[0])
    assert np.isfinite(apart[1])


def test_of_recipes_the_model_cannot_tell_apart_the_surest_comes_first():
    rng = np.random.default_rng(6)
    stock = stock_of(spectra(rng, 20))
    target = hidden_blend(rng, stock, [2, 7, 11], [0.5, 0.3, 0.2])
    found = search_recipes(target, stock, RULES, WAYS)
    ordered = surest_first(found[::-1], TABLES)
    alike = [one for one in ordered if one.score <= min(x.score for x in found) + 0.5]
    worst = [round(one.band.de_high, 1) for one in alike]
    assert ordered[: len(alike)] == tuple(alike)
    assert worst == sorted(worst)
    assert len(set(worst)) > 1
    assert {one.lots for one in ordered} == {one.lots for one in found}


def test_among_the_equally_sure_the_cheaper_comes_first_and_a_worse_one_never_does():
    rng = np.random.default_rng(5)
    stock = stock_of(spectra(rng, 20))
    best = search_recipes(hidden_blend(rng, stock, [2, 7], [0.5, 0.5]), stock, RULES, WAYS)[0]
    dear = dataclasses.replace(best, cost_cents_per_kg=best.cost_cents_per_kg + 100)
    worse = dataclasses.replace(best, score=best.score + 1, cost_cents_per_kg=0)
    assert surest_first([worse, dear, best], TABLES) == (best, dear, worse)
    assert surest_first([], TABLES) == ()


def allowed_near(rng, centre, low, high, n):
    """Shares within their bounds about a centre: moved at random, and brought back by trading between two."""
    tried = np.concatenate(
        [centre + rng.normal(0, sd, (n, len(centre))) for sd in (0.2, 0.05, 0.01)]
        + [rng.dirichlet(np.ones(len(centre)), n)]
    )
    bounds = [np.repeat(bound[:, None], len(tried), axis=1) for bound in (low, high)]
    return onto_simplex(tried.T, *bounds).T


@pytest.mark.parametrize("seed", range(6))
def test_where_the_stock_limits_shares_no_other_allowed_shares_are_nearer(seed):
    rng = np.random.default_rng(seed)
    stock = stock_of(spectra(rng, 10), dry_mass_g=rng.uniform(400, 750, 10))
    target = hidden_blend(rng, stock, [0, 3, 5, 8], [0.4, 0.3, 0.2, 0.1])  # more of lot 0 than there is
    n_bound = 0
    for recipe in search_recipes(target, stock, RULES, WAYS)[:4]:
        places = [stock.names.index(name) for name in recipe.lots]
        high = np.minimum(1, stock.dry_mass_g[places] / RULES.batch_dry_mass_g)
        low = np.full(len(places), RULES.least_share)
        shares = np.array(recipe.shares)
        n_bound += int(np.isclose(shares, high, atol=1e-4).sum())
        tried = allowed_near(rng, shares, low, high, 4000)
        mixed = blend(stock.reflectance[places], tried, WAYS.mixing)
        labs = np.stack([lab_of_reflectance(mixed, one) for one in LIGHTS], axis=1)
        # shares are found in the metric at the target, which holds less well the farther a blend stays away
        assert score_of(labs, target).min() >= recipe.score - max(0.02, 0.05 * recipe.score)
    assert n_bound  # limits hold somewhere, or this tests nothing


def test_three_kilograms_of_fern_are_found_in_the_four_greens_and_the_yellow():
    spectra_31 = recover_reflectance(np.vstack([GREEN_LABS, YELLOW_LAB]), D65).reflectance
    stock = stock_of(spectra_31, names=(*GREENS, "L031"), dry_mass_g=np.array([*GREEN_DRY_G, YELLOW_DRY_G]))
    rules = dataclasses.replace(RULES, batch_dry_mass_g=3000, most_lots=4)
    best = search_recipes(target_from_lab(FERN, D65), stock, rules, WAYS)[0]
    found = dict(zip(best.lots, best.shares, strict=True))
    assert best.score == pytest.approx(0.22, abs=0.02)
    assert found["L027"] == pytest.approx(0.306, abs=0.01)
    assert found["L028"] == pytest.approx(830 / 3000, abs=0.001)
    assert found["L030"] == pytest.approx(570 / 3000, abs=0.001)


@pytest.mark.parametrize("seed", range(6))
def test_the_best_blend_of_all_lots_is_at_least_as_near_as_any_other(seed):
    rng = np.random.default_rng(seed)
    stock = stock_of(spectra(rng, 12), dry_mass_g=rng.uniform(100, 900, 12))
    field = stock_field(spectrum_target(spectra(rng, 1)[0]), stock, RULES, WAYS)
    high = np.minimum(1, field.high)
    best = best_of_all(np.arange(12), field)
    assert best.sum() == pytest.approx(1)
    assert (best <= high + 1e-9).all()
    tried = allowed_near(rng, best, np.zeros(12), high, 4000)
    gap = gap_of(field.f @ np.vstack([best, tried]).T, field)[0]
    apart = np.sqrt((gap * gap).sum(axis=0))
    assert apart[1:].min() >= apart[0] - 0.02


def test_a_shade_counted_in_cmc_gets_the_recipe_that_is_nearest_by_cmc():
    rng = np.random.default_rng(5)
    worse = 0.0
    for _ in range(4):
        stock = stock_of(spectra(rng, 4))
        wanted = spectrum_target(spectra(rng, 1)[0])
        by_cmc = wanted.counted_in("cmc")
        rules = Rules(batch_dry_mass_g=2000, owners=OURS, most_lots=3)
        nearest = search_recipes(by_cmc, stock, rules, WAYS)[0]
        other = search_recipes(wanted, stock, rules, WAYS)[0]
        places = [stock.names.index(name) for name in other.lots]
        mixed = blend(stock.reflectance[places], np.array(other.shares), WAYS.mixing)
        labs = np.stack([lab_of_reflectance(mixed, one) for one in LIGHTS])
        told = float(score_of(labs[None], by_cmc)[0])
        fewer = WAYS.lot_worth_de * (len(nearest.lots) - len(other.lots))
        assert nearest.score + fewer <= told + 0.05
        worse = max(worse, told - nearest.score - fewer)
    assert worse > 0.1  # the two formulas do choose differently


def test_the_score_of_a_recipe_is_reckoned_as_its_tolerance_is():
    target = target_from_lab(np.array([50.0, -20, 20]), D65).counted_in("cmc")
    lab = np.array([[[46.0, -20, 20]]])
    assert score_of(lab, target)[0] == pytest.approx(float(target.apart(lab[0, 0])))
