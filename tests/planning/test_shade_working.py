"""A recipe's working says the model, the constant, whose it is, and how wrong it may be."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.planning.shades import OURS, TABLES, WAYS, spectra, spectrum_target, stock_of

from doffer.fibre.colour.blend import BlendModel, blend, default_mixing
from doffer.planning.shade.search import search_recipes
from doffer.planning.shade.target import Rules
from doffer.planning.shade.working import recipe_working
from doffer.working import Status

RULES = Rules(batch_dry_mass_g=2000, owners=OURS)


def recipe(ways):
    stock = stock_of(spectra(np.random.default_rng(1), 12))
    target = spectrum_target(blend(stock.reflectance[[1, 5]], np.array([0.6, 0.4]), WAYS.mixing))
    return search_recipes(target, stock, RULES, ways)[0]


def test_shares_and_constant_are_the_inputs_and_the_difference_is_the_result():
    found = recipe(WAYS)
    working = recipe_working(found, WAYS, TABLES)
    terms = {term.name: term.value for term in working.inputs}
    assert terms["share of L001"] == pytest.approx(0.6, abs=1e-3)
    assert (terms["M"], terms["c"]) == (0.15, pytest.approx(0.05667, abs=1e-5))
    assert working.result.value == found.de["D65"]
    assert working.status is Status.MEMORY
    assert "Stearns and Noechel" in working.source


def test_the_note_says_how_wrong_and_asks_for_the_trial_card():
    working = recipe_working(recipe(WAYS), WAYS, TABLES)
    assert "off by 1.0 to 1.2 on average, at worst 4.1" in working.note
    assert working.note.endswith("Card and measure the trial card before the blend is made.")


def test_a_fitted_constant_is_the_mills_own():
    ways = dataclasses.replace(WAYS, is_fitted=True)
    assert recipe_working(recipe(ways), ways, TABLES).status is Status.OWN


@pytest.mark.parametrize("model", list(BlendModel))
def test_every_model_has_its_formula(model):
    ways = dataclasses.replace(WAYS, mixing=default_mixing(TABLES, model))
    working = recipe_working(recipe(WAYS), ways, TABLES)
    assert "Σ share" in working.formula
    assert ("M" in [term.name for term in working.inputs]) == (model is BlendModel.STEARNS_NOECHEL)
