"""What a forecast of evenness starts from: shares and fibre at the picker, colours, machines of the mill."""

import dataclasses

import pytest

from doffer.errors import InputError, NotFoundError
from doffer.mill.commands.evenness import FigureFacts, record_figure
from doffer.mill.commands.recipes import PartFacts, RecipeFacts, propose_recipe
from doffer.mill.commands.shades import TargetFacts
from doffer.mill.queries.mixing import (
    Passes,
    mixing_of_batch,
    mixing_of_blended_lot,
    mixing_of_lots,
    mixing_of_recipe,
)
from doffer.mill.queries.orders import one_order, planned_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.planning.batch import plan_order

pytestmark = pytest.mark.django_db


def test_lots_of_the_bench_become_parts_with_fibre_and_colour(dye_house):
    g1, yellow = dye_house.lots["G1"], dye_house.lots["yellow"]
    found = mixing_of_lots({yellow: 100.0, g1: 300.0}, passes=Passes(layers=24, pick_passes=2))
    assert [(one.lot, one.share_frac, one.dry_mass_g) for one in found.parts] == [
        (g1, 0.75, 300.0),  # the largest is laid first
        (yellow, 0.25, 100.0),
    ]
    green = found.parts[0]
    breed = dye_house.tables.breeds["corriedale"]
    assert (green.fibre, green.diameter_um, green.staple_mm) == ("wool", breed.diameter_um, breed.staple_mm)
    assert green.density_g_cm3 == dye_house.tables.fibres["wool"].density_g_cm3
    assert (green.colour_kind, green.lab) == ("lab", pytest.approx((46, -22, 18)))
    assert len(green.reflectance_ppm) == 31
    assert found.without_colour == ()
    assert (found.feed.lot_dry_mass_g, found.feed.layers) == (400.0, 24)
    assert [part.name for part in found.feed.parts] == [g1, yellow]
    assert found.feed.shares.tolist() == [0.75, 0.25]


def test_equal_parts_stay_in_the_order_they_were_named(dye_house):
    names = [dye_house.lots["G3"], dye_house.lots["G1"]]
    assert [one.lot for one in mixing_of_lots(dict.fromkeys(names, 50.0)).parts] == names


def test_passes_are_those_of_the_mills_ways_until_somebody_says_otherwise(dye_house):
    assert mixing_of_lots({dye_house.lots["G1"]: 50.0}).passes == Passes(6, 1, 1)


def test_own_figures_of_the_mills_machines_count_beside_usual_ones(dye_house):
    lots = {dye_house.lots["G1"]: 100.0, dye_house.lots["G2"]: 100.0}
    record_figure(
        dye_house.owner,
        "CAR1",
        FigureFacts(key="card_hold_up", value=52.5, low=50, high=55, found="pulse"),
    )
    found = mixing_of_lots(lots)
    assert [(one.stage, one.code) for one in found.machines] == [
        ("pick", "PIC1"),
        ("card", "CAR1"),
        ("draw", ""),  # this mill has no drawing: the usual figures
    ]
    card, picker = found.figure("card_hold_up"), found.figure("picker_hold_up")
    assert (card.value, card.low, card.high, card.is_own, card.is_guess) == (52.5, 50, 55, True, False)
    assert (picker.value, picker.is_guess) == (20, True)
    assert found.figure("end_correlation").value == 0
    with pytest.raises(NotFoundError, match="picker_hold_up"):
        found.figure("viewing_distance")


def test_a_recipe_gives_the_same_parts_as_its_lots(dye_house):
    g1, yellow = dye_house.lots["G1"], dye_house.lots["yellow"]
    code = propose_recipe(
        dye_house.owner,
        RecipeFacts(
            target=TargetFacts(labs={"D65": (52, -14, 26)}, geometry="45/0"),
            parts=(PartFacts(lot=g1, share_frac=0.8), PartFacts(lot=yellow, share_frac=0.2)),
            dry_mass_g=500,
        ),
    )
    code = getattr(code, "code", code)
    found = mixing_of_recipe(code, passes=Passes(pick_passes=3))
    assert found.parts == mixing_of_lots({g1: 400.0, yellow: 100.0}).parts
    assert (found.name, found.passes.pick_passes, found.dry_mass_g) == (f"{code} version 1", 3, 500)
    with pytest.raises(NotFoundError):
        mixing_of_recipe("M999")


def batch_of(order):
    """The first batch of an order of the invented mill, its plan and the mill's ways."""
    inputs = plan_inputs(order=order)
    plan = plan_order(inputs.order_spec, inputs.tables)
    return inputs.batches[0], plan.batches[0], inputs.ways


@pytest.mark.parametrize("order", ["O204", "O207", "O208"])
def test_an_order_is_mixed_from_the_dry_fibre_that_comes_to_the_picker(demo_mill, order):
    batch, plan, ways = batch_of(order)
    found = mixing_of_batch(batch, plan, dataclasses.replace(ways, n_layers=12, pick_passes=2))
    assert {one.lot for one in found.parts} == {start.lot for start in batch.lots}
    assert found.passes == Passes(12, 2, ways.draw_passes)
    picker = next(stage for stage in plan.stages if stage.stage == "pick")
    lost_g = sum(loss.mass_g for loss in picker.losses if loss.kind in ("fibre", "held"))
    assert found.dry_mass_g == pytest.approx(picker.dry.mean + lost_g, rel=1e-6)
    weighed = {}
    for layer in plan.layers:
        weighed[layer.name] = weighed.get(layer.name, 0) + layer.mass_g
    for one in found.parts:
        # the feed sheet weighs with water and conditioner, the forecast counts oven-dry fibre
        assert 0.8 < one.dry_mass_g / weighed[one.lot] < 1.0


def test_a_plan_of_other_lots_is_refused(demo_mill):
    batch, plan, ways = batch_of("O204")
    less = dataclasses.replace(batch, lots=batch.lots[:1])
    with pytest.raises(InputError, match="those of the batch"):
        mixing_of_batch(less, plan, ways)
    no_picker = dataclasses.replace(plan, stages=tuple(s for s in plan.stages if s.stage != "pick"))
    with pytest.raises(InputError, match="with a picker"):
        mixing_of_batch(batch, no_picker, ways)


def test_fibre_that_is_still_to_come_has_no_colour_yet(demo_mill):
    batch, plan, ways = batch_of("O204")
    first = batch.lots[0]
    told = dataclasses.replace(first, part=dataclasses.replace(first.part, lot="fleece to come"))
    batch = dataclasses.replace(batch, lots=(told, *batch.lots[1:]))
    use = dataclasses.replace(plan.lots[0], lot="fleece to come")
    found = mixing_of_batch(batch, dataclasses.replace(plan, lots=(use, *plan.lots[1:])), ways)
    assert found.without_colour == ("fleece to come",)


def test_a_lot_that_broke_when_it_was_snapped_is_tender(demo_mill):
    found = mixing_of_lots({"L005": 200.0, "L027": 100.0})
    assert [(one.lot, one.is_tender) for one in found.parts] == [("L005", True), ("L027", False)]


def test_more_lots_ask_no_more_of_the_database(demo_mill, django_assert_max_num_queries):
    dyed = ("L027", "L028", "L029", "L030", "L031")
    with django_assert_max_num_queries(17):
        assert len(mixing_of_lots(dict.fromkeys(dyed[:2], 50.0)).parts) == 2
    with django_assert_max_num_queries(17):
        assert len(mixing_of_lots(dict.fromkeys(dyed, 50.0)).parts) == 5
    batch = batch_of("O207")
    with django_assert_max_num_queries(17):
        assert len(mixing_of_batch(*batch).parts) == 4


def test_lots_that_are_not_there_or_weigh_nothing_are_refused(dye_house):
    with pytest.raises(NotFoundError, match="L999"):
        mixing_of_lots({"L999": 50.0})
    with pytest.raises(InputError, match="one gram or more"):
        mixing_of_lots({dye_house.lots["G1"]: 0.0})


def test_an_order_to_be_reckoned_with_is_read_in_four_queries(demo_mill, django_assert_num_queries):
    whole = one_order("O207")
    with django_assert_num_queries(4):
        planned = planned_order("O207")
    assert [row.lot.code for row in planned.lots] == [row.lot.code for row in whole.lots]
    assert (planned.spec, planned.plans, planned.country_rules) == (
        whole.spec,
        whole.plans,
        whole.country_rules,
    )
    assert (planned.happened, planned.runs, planned.holds) == ((), (), ())


def test_a_lot_that_was_never_joined_is_no_blend_and_one_that_was_has_its_parts(demo_mill):
    assert mixing_of_blended_lot("L006") is None
    blended = mixing_of_blended_lot("R102")
    assert sorted(part.lot for part in blended.parts) == ["L006", "L007", "L008"]
    assert sum(part.share_frac for part in blended.parts) == pytest.approx(1)
    with pytest.raises(NotFoundError):
        mixing_of_blended_lot("L999")
