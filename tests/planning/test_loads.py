"""Loads: what a machine takes at once (common practice: equal loads)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.loads import Capacity, capacity_of, equal_loads
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.tables.loader import load_tables

TUB, RACK, BIN = Capacity(3500), Capacity(10_000, is_oven_dry=True), Capacity(6000)


def loads(mass_g, capacity, *, dry_g=None, rounds=0):
    found = equal_loads(
        weighed_mass_g=mass_g,
        dry_mass_g=mass_g if dry_g is None else dry_g,
        capacity=capacity,
        rounds=rounds,
    )
    return found and (found.count, found.load_mass_g)


def test_a_lot_that_is_too_much_for_the_tub_goes_in_equal_loads():
    assert loads(4700, TUB) == (2, 2350)
    assert loads(13_500, TUB) == (4, 3375)


def test_what_fits_goes_in_at_once_and_exactly_full_is_not_overfull():
    assert loads(3500, TUB) is None
    assert loads(7000, TUB) == (2, 3500)
    assert loads(3500.001, TUB) == (2, 1750.0005)


def test_a_machine_that_counts_dry_fibre_does_not_count_its_water():
    assert loads(14_000, RACK, dry_g=9900) is None
    assert loads(14_000, RACK, dry_g=10_100) == (2, 7000)


def test_nothing_is_said_of_a_machine_whose_capacity_is_unknown():
    assert loads(99_000, None) is None


@pytest.mark.parametrize(
    ("mass_g", "count", "rounds", "among"),
    [(15_000, 3, 2, 0), (20_000, 6, 1, 0), (30_000, 6, 1, 0), (40_000, 12, 0, 2)],
)
def test_a_blend_is_shared_out_in_whole_rounds_of_layers(mass_g, count, rounds, among):
    found = equal_loads(weighed_mass_g=mass_g, dry_mass_g=mass_g, capacity=BIN, rounds=6)
    assert (found.count, found.rounds, found.loads_a_round) == (count, rounds, among)


@given(st.floats(1, 500_000), st.floats(100, 20_000), st.integers(0, 24))
def test_no_load_is_more_than_the_machine_takes_and_all_add_up(mass_g, most_g, rounds):
    found = equal_loads(weighed_mass_g=mass_g, dry_mass_g=mass_g, capacity=Capacity(most_g), rounds=rounds)
    if found is None:
        assert mass_g <= most_g * (1 + 1e-8)
        return
    assert found.load_mass_g <= most_g * (1 + 1e-8)
    assert found.count * found.load_mass_g == pytest.approx(mass_g)
    if rounds:
        assert found.rounds * found.count == rounds or found.loads_a_round * rounds == found.count


@pytest.mark.parametrize(
    ("figure", "unit", "said"),
    [
        (3.5, "kg raw per charge", Capacity(3500)),
        (2, "kg per charge", Capacity(2000)),
        (5, "kg OD per charge", Capacity(5000, is_oven_dry=True)),
        (10, "kg OD", Capacity(10_000, is_oven_dry=True)),
        (6, "kg in bin", Capacity(6000)),
        (6, "kg each", None),
        (3.6, "kg at 30:1", None),
        (8, "spindles", None),
        (None, "", None),
    ],
)
def test_the_words_of_a_machine_say_what_it_takes_at_once(figure, unit, said):
    assert capacity_of(figure, unit) == said


def test_a_machine_takes_more_than_nothing():
    with pytest.raises(InputError, match="above zero grams"):
        Capacity(0)


def planned(machines):
    fleece = Constituent("L024", "wool", 27.0, 0.22, 95.0, 0.2)
    lot = LotStart(fleece, Form.SKIRTED, 9400.0, 0.15, "mixed_wool")
    ways = MillWays(
        room_rh_frac=0.65,
        label_basis=Basis.EU_AGREED,
        promise_quantile=0.15,
        machines=machines,
        conditioner_frac_owf=0.02,
        conditioner_water_parts=4,
        n_samples=500,
    )
    batch = BatchSpec("one", (lot,), Wish("roving"))
    plan = plan_order(OrderSpec((batch,), ways), load_tables()).batches[0]
    return {stage.stage: stage for stage in plan.stages}, plan


def test_a_plan_splits_the_wash_and_its_doses_and_changes_no_other_figure():
    free, plan = planned({"wash": MachineUse("tub", 20), "card": MachineUse("card", 60)})
    tight, split = planned({"wash": MachineUse("tub", 20, TUB), "card": MachineUse("card", 60)})
    assert free["wash"].loads is None
    assert (tight["wash"].loads.count, tight["wash"].loads.load_mass_g) == (3, pytest.approx(9400 / 3))
    assert tight["wash"].doses[0].words.startswith("for each of 3 loads: ")
    assert tight["wash"].doses[0].figures[0].value == pytest.approx(
        free["wash"].doses[0].figures[0].value / 3
    )
    assert split.finished == plan.finished, "what a machine keeps is kept once a run, not once a load"
    assert [stage.losses for stage in split.stages] == [stage.losses for stage in plan.stages]


def test_a_plan_shares_the_layers_of_the_picker_out_and_leaves_its_spray_as_it_is():
    free, plan = planned({"pick": MachineUse("picker and bin", 40)})
    tight, split = planned({"pick": MachineUse("picker and bin", 40, Capacity(2000))})
    assert (tight["pick"].loads.count, tight["pick"].loads.rounds) == (3, 2)
    assert tight["pick"].doses == free["pick"].doses
    assert split.layers == plan.layers
