"""Fibre is dyed once, in a kettle that is free, and a dyeing that was not done can be taken back."""

from __future__ import annotations

import uuid

import pytest
from django.db import IntegrityError, connection, transaction
from tests.mill.conftest import FERN, seen
from tests.mill.test_dyed import WHITE, dyed, read, white  # noqa: F401
from tests.mill.test_kitchen import PLAIN, inside, kitchen  # noqa: F401

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.mill import clock
from doffer.mill.commands.dyeing_undone import take_back_dyeing
from doffer.mill.commands.kitchen import begin_dyeing, write_dye_recipe
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.shades import TargetFacts, add_shade
from doffer.mill.commands.trial_card import measure_trial, release_recipe
from doffer.mill.commands.tubs import put_in, take_out
from doffer.mill.models import Lot, Run, RunInput
from doffer.mill.queries.bench import bench
from doffer.mill.queries.kitchen import dyeings, lot_to_dye, one_dyeing
from doffer.mill.to_dye import DyeingQuestionError

pytestmark = pytest.mark.django_db


def begin(house, grams=None, *, kettle="", **more):
    loads = ((kettle, float(grams)),) if kettle else ()
    shade = more.pop("shade", house.shade)
    fibre_g = None if kettle else grams
    return begin_dyeing(house.floor, lot="L005", shade=shade, loads=loads, fibre_g=fibre_g, **more)


def test_a_part_dyed_twice_over_is_asked_about_with_its_weight(kitchen):  # noqa: F811
    begin(kitchen, 1000, is_now=False)
    with pytest.raises(
        DyeingQuestionError, match=r"1000 g of L005 was dyed Fern .*1645 g of L005 is not dyed"
    ):
        begin(kitchen, 2600)
    assert len(dyeings().rows) == 1
    begin(kitchen, 2600, decision="Wrenna: it came out too pale")
    assert dyeings().rows[0].note == "decided: Wrenna: it came out too pale"


def test_the_rest_of_a_lot_is_dyed_without_a_question_and_is_what_is_offered(kitchen):  # noqa: F811
    begin(kitchen, 1000, is_now=False)
    begin(kitchen, is_now=False)
    assert dyeings().rows[0].fibre_g == pytest.approx(1600)
    with pytest.raises(DyeingQuestionError):
        begin(kitchen, 50)


def test_a_lot_that_was_dyed_whole_is_dyed_again_only_by_a_decision(kitchen):  # noqa: F811
    begin(kitchen, is_now=False)
    for again in (None, 100, 2600):
        with pytest.raises(DyeingQuestionError, match="0 g of L005 is not dyed yet"):
            begin(kitchen, again)
    assert begin(kitchen, decision="Wrenna: over it in madder").loads


def test_one_dyeing_is_in_a_kettle_until_it_is_taken_out(kitchen):  # noqa: F811
    madder = add_shade(
        kitchen.owner,
        name="Madder",
        target=TargetFacts(labs={"D65": (40, 44, 26)}, geometry="45/0"),
        tolerance=Tolerance(Formula.DE2000, 1.2, 1.8),
    )
    write_dye_recipe(kitchen.owner, madder, PLAIN)
    begin(kitchen, 1000, kettle="K120")
    with pytest.raises(RefusedError, match=r"1\.00 kg of it is dyed Fern in kettle 120 L now"):
        begin(kitchen, 1000, kettle="K120", shade=madder)
    assert len(dyeings().rows) == 1
    done = begin(kitchen, 1000, shade=madder)  # another kettle is found by itself
    assert [load.kettle for _, load in done.loads] == ["K60"]
    take_out(kitchen.floor, inside("K120")[0].use)
    take_out(kitchen.floor, inside("K60")[0].use)
    begin(kitchen, 600, kettle="K120", shade=madder)


def test_a_lot_wetted_out_in_the_kettle_is_dyed_there_once(kitchen):  # noqa: F811
    put_in(kitchen.floor, machine="K120", lot="L005", what="wetting out")
    begin(kitchen, 1000, kettle="K120")
    with pytest.raises(RefusedError, match="is dyed Fern in kettle 120 L now"):
        begin(kitchen, 1000, kettle="K120")


def test_a_dyeing_taken_back_counts_no_more_and_frees_its_kettle(white):  # noqa: F811
    done = begin(white, 1000, kettle="K120")
    assert bench(shade=white.shade).lot("L005").dyed_apart_dry_g > 0
    with pytest.raises(InputError, match="reason is missing"):
        take_back_dyeing(white.floor, done.id, reason=" ")
    take_back_dyeing(white.floor, done.id, reason="pressed twice")
    assert inside("K120") == ()
    assert bench(shade=white.shade).lot("L005").dyed_apart_dry_g == 0
    assert lot_to_dye("L005")[1].dyed == ()
    undone = one_dyeing(done.id).row.undone
    assert (undone.reason, undone.person) == ("pressed twice", white.floor.name)
    with pytest.raises(ConflictError, match="taken back already"):
        take_back_dyeing(white.floor, done.id, reason="once more")
    begin(white, 2600)


def test_taking_back_twice_with_one_key_is_once_and_needs_the_right(kitchen):  # noqa: F811
    done, key = begin(kitchen, 1000), uuid.uuid4()
    with pytest.raises(RefusedError):
        take_back_dyeing(kitchen.viewer, done.id, reason="pressed twice")
    for _ in range(2):
        take_back_dyeing(kitchen.floor, done.id, reason="pressed twice", key=key)
    with pytest.raises(NotFoundError, match="dyeing"):
        take_back_dyeing(kitchen.floor, 999, reason="pressed twice")


def test_a_lot_that_was_put_in_by_hand_stays_in_when_its_dyeing_is_taken_back(kitchen):  # noqa: F811
    put_in(kitchen.floor, machine="K120", lot="L005", what="wetting out")
    done = begin(kitchen, 1000, kettle="K120")
    take_back_dyeing(kitchen.floor, done.id, reason="the dye was not there")
    assert [one.what for one in inside("K120")] == ["wetting out"]
    begin(kitchen, 1000, kettle="K120")


def test_tufts_of_a_dyeing_taken_back_tell_nothing_of_the_lot(white):  # noqa: F811
    done = dyed(white, 1300.0, 1300.0)
    for load, _ in done.loads:
        read(white, load)
    assert Lot.objects.get(code="L005").lab_l_centi == 4600
    take_back_dyeing(white.floor, done.id, reason="that was another lot")
    assert Lot.objects.get(code="L005").lab_l_centi == 8800
    assert bench(shade=white.shade).lot("L005").lab == pytest.approx(WHITE, abs=0.1)
    with pytest.raises(ConflictError, match="was taken back"):
        read(white, done.loads[0][0])


def test_a_dyeing_that_a_run_closed_is_not_taken_back_but_its_double_is(kitchen):  # noqa: F811
    first = begin(kitchen, 2600, is_now=False)
    double = begin(kitchen, 2600, is_now=False, decision="pressed twice")
    at = clock.now()
    run = Run.objects.create(code="N1", stage="dye", started_at=at, recorded_at=at, person=kitchen.floor)
    lot = Lot.objects.get(code="L005")
    RunInput.objects.create(run=run, lot=lot, mass_mg=2_600_000, dry_mg=2_260_000)
    take_back_dyeing(kitchen.floor, double.id, reason="pressed twice")
    with pytest.raises(ConflictError, match="Run N1 closed this dyeing"):
        take_back_dyeing(kitchen.floor, first.id, reason="and this one")


def test_a_dyeing_taken_back_cannot_be_rewritten_with_a_database_tool(kitchen):  # noqa: F811
    take_back_dyeing(kitchen.floor, begin(kitchen, 1000).id, reason="pressed twice")
    with (
        pytest.raises(IntegrityError, match="only ever added to"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("UPDATE mill_dyeingundone SET reason = 'none'")


def test_fibre_promised_to_a_released_mix_is_dyed_only_by_a_decision(kitchen):  # noqa: F811
    parts = tuple(PartFacts(kitchen.lots[name], 0.5) for name in ("G1", "G3"))
    wish = RecipeFacts(parts=parts, dry_mass_g=1000, shade=kitchen.shade)
    code = propose_recipe(kitchen.owner, wish).code
    measure_trial(kitchen.floor, code, seen=seen(*[FERN] * 4))
    release_recipe(kitchen.owner, code)

    def dye(grams, **more):
        lot = kitchen.lots["G1"]
        return begin_dyeing(kitchen.floor, lot=lot, shade=kitchen.shade, fibre_g=grams, **more)

    with pytest.raises(DyeingQuestionError, match=rf"{code} was released and waits for 500 g .*oven-dry"):
        dye(1000)
    assert dye(400, is_now=False).loads  # 960 g oven-dry are there, and 500 g stay
    assert dye(600, decision="Wrenna: the mix is not wanted any more", is_now=False).loads
