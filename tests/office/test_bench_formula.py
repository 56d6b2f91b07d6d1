"""A tolerance carries its formula: bench, trial card and terminal reckon a CMC shade in CMC."""

import json
import re

import numpy as np
import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words

from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.shades import TargetFacts, add_shade
from doffer.mill.commands.trial_card import measure_trial
from doffer.mill.queries.bench import bench, spectra
from doffer.mill.queries.recipes import one_recipe
from doffer.planning.shade.missing import what_is_missing
from doffer.planning.shade.search import search_recipes
from doffer.planning.shade.target import Rules
from doffer.planning.shade.tell import labs_under

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house
FROND = (49.0, -20.0, 20.0)


@pytest.fixture
def cmc_shade(dye_house):
    """A shade whose tolerance is CMC(2:1) 1.0, the colour of Fern but lighter."""
    return add_shade(
        dye_house.owner,
        name="Frond",
        use="felting roving",
        target=TargetFacts(labs={"D65": FROND}, geometry="45/0"),
        tolerance=Tolerance(Formula.CMC, 1.0, 1.5),
    )


def told_by_terminal(monkeypatch, capsys, *typed):
    monkeypatch.setattr("doffer.cli.mills.open_records", lambda _: None)
    from doffer.cli.main import main

    capsys.readouterr()
    assert main(["shade", *typed, "--mill", "demo", "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def blend_of_two(house, shade):
    """G1 with 9 % of yellow: its colour, and how far that is from the shade by either formula."""
    facts = RecipeFacts(
        parts=(PartFacts(house.lots["G1"], 0.91), PartFacts(house.lots["yellow"], 0.09)),
        dry_mass_g=500,
        shade=shade,
    )
    recipe = one_recipe(propose_recipe(house.office, facts).code)
    lab, wanted = np.array(recipe.predicted_labs["D65"]), np.array(FROND)
    return recipe, lab, float(de_cmc(wanted, lab)), float(de2000(wanted, lab))


def test_bench_recipe_card_and_terminal_say_the_same_number_of_a_cmc_shade(
    client_of, dye_house, cmc_shade, monkeypatch, capsys
):
    recipe, lab, by_cmc, by_2000 = blend_of_two(dye_house, cmc_shade)
    assert abs(by_cmc - by_2000) > 0.3  # else this tests nothing
    lots = {dye_house.lots["G1"]: 91, dye_house.lots["yellow"]: 9}
    shares = {f"share_{code}": share for code, share in lots.items()}
    desk = client_of(dye_house.office)
    asked = {"lot": list(lots), "shade": cmc_shade, "mass": "500 g", **shares}
    page = words(desk.get("/bench/answer/", asked))
    found = float(re.search(r"(\d\.\d) away: .* Your tolerance is 1\.0", page)[1])
    assert found == pytest.approx(by_cmc, abs=0.06)
    assert recipe.row.predicted_de == pytest.approx(by_cmc, abs=0.01)
    read = tuple(round(float(x), 2) for x in lab)
    card = measure_trial(dye_house.floor, recipe.row.code, seen=dyed.seen(read))
    assert card.de == pytest.approx(by_cmc, abs=0.02)
    recipe_page = words(desk.get(f"/bench/recipes/{recipe.row.code}/"))
    assert f"{card.de:.1f} away" in recipe_page
    told = told_by_terminal(
        monkeypatch,
        capsys,
        "predict",
        "--shade",
        cmc_shade,
        *(word for code, share in lots.items() for word in ("--lot", f"{code}:{share * 10}g")),
    )
    assert told["de_to_target"] == pytest.approx(by_cmc, abs=0.02)


def test_the_range_of_an_addition_ends_where_the_shades_own_formula_says(
    dye_house, cmc_shade, monkeypatch, capsys
):
    words_typed = ("--shade", cmc_shade, "--lot", dye_house.lots["G1"], "--stock", dye_house.lots["yellow"])
    told = told_by_terminal(monkeypatch, capsys, "correct", *words_typed)
    best, wanted = told["corrections"][0], np.array(FROND)
    assert (told["formula"], told["tolerance_de"]) == ("CMC(2:1)", 1.0)
    here = bench(shade=cmc_shade)
    spectra_here = spectra([here.lot(dye_house.lots[name]) for name in ("G1", "yellow")])
    for factor in (best["low_factor"], best["high_factor"]):
        masses = np.array([here.lot(dye_house.lots["G1"]).free_dry_g, best["added_dry_mass_g"][0] * factor])
        target = here.target(cmc_shade, here.tables)
        lab = labs_under(spectra_here, masses / masses.sum(), target, here.ways)[0]
        step = 0.06  # the factors are tried in steps of half a hundredth
        assert float(de_cmc(wanted, lab)) == pytest.approx(1.0, abs=step)
        assert abs(float(de2000(wanted, lab)) - 1.0) > step


def test_a_search_within_by_ciede2000_and_not_by_cmc_says_what_is_missing(dye_house, cmc_shade):
    here = bench(shade=cmc_shade)
    target = here.target(cmc_shade, here.tables)
    rules = Rules(
        batch_dry_mass_g=300, owners=frozenset({next(lot.owner for lot in here.lots if lot.is_own)})
    )
    recipes = search_recipes(target, here.stock({dye_house.lots["G1"]}), rules, here.ways)
    apart = dict.fromkeys(Formula, recipes[0].lab)
    by = {
        Formula.CMC: float(de_cmc(np.array(FROND), np.array(apart[Formula.CMC]))),
        Formula.DE2000: float(de2000(np.array(FROND), np.array(apart[Formula.DE2000]))),
    }
    between = sum(by.values()) / 2
    stock = here.stock({dye_house.lots["G1"]})
    for formula in Formula:
        own = target.counted_in(formula)
        again = search_recipes(own, stock, rules, here.ways)
        assert again[0].lots == recipes[0].lots
        assert again[0].de["D65"] == pytest.approx(by[formula])
        missing = what_is_missing(own, stock, rules, here.ways, again, tolerance_de=between)
        assert (missing is None) == (by[formula] < between)
