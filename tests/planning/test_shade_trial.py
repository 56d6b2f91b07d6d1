"""The trial card: nothing is released without it, it corrects the recipe, and it teaches the constant."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.planning.shades import D65, LIGHTS, OURS, WAYS, spectra, spectrum_target, stock_of

from doffer.errors import InputError, RefusedError
from doffer.fibre.colour.blend import BlendModel, Mixing, blend
from doffer.fibre.colour.calibrate import fit_m
from doffer.fibre.colour.chart import Sketch
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.search import search_recipes
from doffer.planning.shade.target import Recipe, Rules, Stock
from doffer.planning.shade.trial import (
    Trial,
    observation_of,
    read_trial,
    release_blend,
    target_after_trial,
)
from doffer.planning.shade.ways import fitted_ways

RULES = Rules(batch_dry_mass_g=2000, owners=OURS)
TRUTH = Mixing(BlendModel.FRIELE, 0.09)  # the mill's machines mix otherwise than the model believes


def carded(recipe: Recipe, stock: Stock, truth: Mixing) -> Trial:
    """The trial card as it comes out and is measured, if `truth` is how fibre mixes."""
    lots = stock.reflectance[[stock.names.index(name) for name in recipe.lots]]
    out = blend(lots, np.array(recipe.shares), truth)
    return Trial(
        lots, np.array(recipe.shares), np.stack([lab_of_reflectance(out, one) for one in LIGHTS]), out
    )


def shade(seed: int):
    rng = np.random.default_rng(seed)
    stock = stock_of(spectra(rng, 20))
    target = spectrum_target(blend(stock.reflectance[[1, 5, 9]], np.array([0.5, 0.3, 0.2]), TRUTH))
    return stock, target, search_recipes(target, stock, RULES, WAYS)[0]


def test_a_trial_says_how_far_and_in_what_way_it_is_off():
    stock, target, recipe = shade(1)
    trial = carded(recipe, stock, TRUTH)
    found = read_trial(trial, target, WAYS)
    assert found.de_to_target == pytest.approx(float(de2000(target.labs[0], trial.labs[0])))
    assert found.prediction_off_de > 0.3
    assert found.words


def test_a_trial_that_came_out_as_predicted_moves_nothing():
    stock, target, recipe = shade(1)
    trial = carded(recipe, stock, WAYS.mixing)
    assert read_trial(trial, target, WAYS).prediction_off_de == pytest.approx(0, abs=1e-9)
    assert target_after_trial(trial, target, WAYS).labs == pytest.approx(target.labs)


def test_the_corrected_recipe_is_nearer_although_the_model_stays_wrong():
    nearer = 0
    first_off, second_off = [], []
    for seed in range(8):
        stock, target, recipe = shade(seed)
        trial = carded(recipe, stock, TRUTH)
        rules = dataclasses.replace(RULES, required=frozenset(recipe.lots), most_lots=len(recipe.lots))
        aim = target_after_trial(trial, target, WAYS)
        again = search_recipes(aim, stock, rules, WAYS)[0]
        first_off.append(read_trial(trial, target, WAYS).de_to_target)
        second_off.append(read_trial(carded(again, stock, TRUTH), target, WAYS).de_to_target)
        nearer += second_off[-1] < first_off[-1]
    assert nearer >= 6
    assert np.mean(second_off) < 0.5 * np.mean(first_off)


def trial_cards(n_trials: int):
    for seed in range(n_trials):
        stock, _, recipe = shade(seed)
        yield observation_of(carded(recipe, stock, TRUTH))


def test_a_few_trials_that_disagree_move_the_constant_little():
    fit = fit_m(list(trial_cards(4)), D65)
    ways = fitted_ways(WAYS, m=fit.m, ln_m_sd=fit.ln_m_sd)
    assert WAYS.mixing.constant < ways.mixing.constant < 0.17 < fit.m
    assert 0.9 * WAYS.ln_m_sd < ways.ln_m_sd < WAYS.ln_m_sd


def test_a_dozen_trials_teach_the_constant_and_predictions_get_better():
    fit = fit_m(list(trial_cards(12)), D65)
    ways = fitted_ways(WAYS, m=fit.m, ln_m_sd=fit.ln_m_sd)
    assert ways.is_fitted
    assert ways.mixing.constant > WAYS.mixing.constant  # Friele is like a larger M
    assert ways.ln_m_sd < 0.6 * WAYS.ln_m_sd
    off = []
    for seed in range(20, 30):
        stock, target, recipe = shade(seed)
        trial = carded(recipe, stock, TRUTH)
        off.append([read_trial(trial, target, one).prediction_off_de for one in (WAYS, ways)])
    before, after = np.mean(off, axis=0)
    assert after < 0.75 * before


def test_a_trial_measured_as_lab_only_teaches_no_constant():
    stock, _, recipe = shade(1)
    trial = dataclasses.replace(carded(recipe, stock, TRUTH), reflectance=None)
    with pytest.raises(InputError, match="measured to teach the mixing constant"):
        observation_of(trial)


def test_no_blend_is_released_without_a_measured_trial_card():
    _, target, _ = shade(1)
    with pytest.raises(RefusedError, match="no trial card was measured"):
        release_blend(None, target, WAYS, tolerance_de=1.2)
    with pytest.raises(RefusedError, match="only photographed"):
        release_blend(Sketch((46, -20, 19), 3, 8), target, WAYS, tolerance_de=1.2)


def test_a_trial_that_is_off_holds_the_blend_and_says_which_way():
    stock, target, recipe = shade(1)
    trial = carded(recipe, stock, Mixing(BlendModel.PLAIN_AVERAGE))
    with pytest.raises(RefusedError, match=r"off, more than 1\.2: lighter"):
        release_blend(trial, target, WAYS, tolerance_de=1.2)


def test_a_trial_within_the_tolerance_releases_the_blend():
    stock, target, recipe = shade(1)
    trial = carded(recipe, stock, TRUTH)
    off = read_trial(trial, target, WAYS).de_to_target
    assert release_blend(trial, target, WAYS, tolerance_de=off + 0.01).de_to_target == off


def test_a_trial_is_measured_under_every_light_of_the_target():
    stock, target, recipe = shade(1)
    trial = carded(recipe, stock, TRUTH)
    for labs in (trial.labs[:1], np.full_like(trial.labs, np.nan)):
        with pytest.raises(InputError, match="one Lab under each light"):
            read_trial(dataclasses.replace(trial, labs=labs), target, WAYS)
