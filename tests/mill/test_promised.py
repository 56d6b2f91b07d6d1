"""Fibre of a released recipe is no longer free, until it went into the mix."""

import pytest
from tests.mill.conftest import FERN, seen

from doffer.errors import ConflictError, RefusedError
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.trial_card import measure_trial, release_recipe, withdraw_release
from doffer.mill.models import Lot, Run, RunInput
from doffer.mill.promised import promised
from doffer.mill.queries.bench import bench
from doffer.mill.queries.recipes import one_recipe

pytestmark = pytest.mark.django_db


def carded(house, dry_g):
    """A recipe of G1 and G3 with its card on shade."""
    parts = tuple(PartFacts(house.lots[name], 0.5) for name in ("G1", "G3"))
    code = propose_recipe(house.owner, RecipeFacts(parts=parts, dry_mass_g=dry_g, shade=house.shade)).code
    measure_trial(house.floor, code, seen=seen(*[FERN] * 4))
    return code


def free_g(house, name):
    return bench(shade=house.shade).lot(house.lots[name]).free_dry_g


def go_into_a_run(house, name, dry_mg, at):
    run = Run.objects.create(code=f"N{name}", stage="pick", started_at=at, recorded_at=at, person=house.floor)
    lot = Lot.objects.get(code=house.lots[name])
    RunInput.objects.create(run=run, lot=lot, mass_mg=round(dry_mg * 1.15), dry_mg=dry_mg)


def test_what_a_released_recipe_takes_is_not_free_on_the_bench(dye_house):
    before = free_g(dye_house, "G1")
    first = carded(dye_house, 1000)
    assert free_g(dye_house, "G1") == before
    release_recipe(dye_house.owner, first)
    assert free_g(dye_house, "G1") == pytest.approx(before - 500)
    assert bench(shade=dye_house.shade).lot(dye_house.lots["G1"]).orders == (first,)
    assert bench(shade=dye_house.shade).stock([dye_house.lots["G1"]]).dry_mass_g == pytest.approx(
        [before - 500]
    )


def test_a_second_recipe_over_the_same_fibre_is_released_only_with_a_reason(dye_house):
    first, second = carded(dye_house, 1200), carded(dye_house, 1000)
    release_recipe(dye_house.owner, first)
    with pytest.raises(RefusedError, match=rf"of which {first} waits for 600 g, and this mix takes 500 g"):
        release_recipe(dye_house.owner, second)
    assert release_recipe(dye_house.owner, second, note="more is dyed tomorrow") == "released"


def test_fibre_that_went_into_the_mix_is_waited_for_no_longer(dye_house):
    from doffer.mill.models import RecipeStep

    first = carded(dye_house, 1000)
    release_recipe(dye_house.owner, first)
    at = RecipeStep.objects.get(recipe__code=first, state="released").at
    lot = Lot.objects.get(code=dye_house.lots["G1"])
    assert promised([lot.pk])[lot.pk][0].dry_mg == 500_000
    go_into_a_run(dye_house, "G1", 200_000, at)
    assert promised([lot.pk])[lot.pk][0].dry_mg == 300_000
    RunInput.objects.filter(lot=lot).update(dry_mg=490_000)
    assert promised([lot.pk]) == {}


def test_a_release_that_is_taken_back_frees_the_fibre_and_can_be_given_again(dye_house):
    before = free_g(dye_house, "G1")
    code = carded(dye_house, 1000)
    with pytest.raises(ConflictError, match="is not released"):
        withdraw_release(dye_house.owner, code, reason="none")
    release_recipe(dye_house.owner, code)
    assert withdraw_release(dye_house.owner, code, reason="the kits wait until May") == "measured"
    assert free_g(dye_house, "G1") == pytest.approx(before)
    last = one_recipe(code).steps[-1]
    assert (last.state, last.note, last.person) == (
        "withdrawn",
        "the kits wait until May",
        dye_house.owner.name,
    )
    assert release_recipe(dye_house.owner, code) == "released"
    assert free_g(dye_house, "G1") == pytest.approx(before - 500)  # once, although released twice
    assert one_recipe(code).steps[-1].state == "released"


def test_a_mix_that_was_weighed_out_is_not_taken_back(dye_house):
    from doffer.mill.models import RecipeStep

    code = carded(dye_house, 1000)
    release_recipe(dye_house.owner, code)
    at = RecipeStep.objects.get(recipe__code=code, state="released").at
    for name in ("G1", "G3"):
        go_into_a_run(dye_house, name, 500_000, at)
    with pytest.raises(ConflictError, match="weighed out already"):
        withdraw_release(dye_house.owner, code, reason="too late")
