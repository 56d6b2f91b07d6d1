"""Kettles: scenario 5 of the acceptance list (common practice: equal loads)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InfeasibleError
from doffer.planning.kettles import Kettle, kettle_loads

SMALL, LARGE = Kettle("kettle 60 L", 54), Kettle("kettle 120 L", 108)


def test_one_load_in_the_large_kettle():
    plan = kettle_loads(fibre_mass_g=2600, liquor_ratio=30, kettles=[SMALL, LARGE])
    assert [(load.kettle, load.fibre_mass_g, load.liquor_volume_l) for load in plan.loads] == [
        ("kettle 120 L", 2600, 78)
    ]
    assert plan.refused == ("kettle 60 L takes 1.80 kg at 30:1 and no more",)


def test_two_equal_loads_when_the_large_kettle_is_busy():
    busy = Kettle("kettle 120 L", 108, is_free=False)
    plan = kettle_loads(fibre_mass_g=2600, liquor_ratio=30, kettles=[SMALL, busy])
    assert [(load.kettle, load.fibre_mass_g, load.liquor_volume_l) for load in plan.loads] == [
        ("kettle 60 L", 1300, 39)
    ] * 2
    assert plan.refused == ("kettle 120 L is busy",)


def test_no_free_kettle_is_said_and_how_to_mend_it():
    with pytest.raises(InfeasibleError, match="no kettle is free"):
        kettle_loads(fibre_mass_g=500, liquor_ratio=30, kettles=[Kettle("kettle", 18, is_free=False)])


@given(st.floats(1, 20_000), st.floats(10, 60))
def test_loads_are_equal_fit_and_hold_all_the_fibre(fibre, ratio):
    plan = kettle_loads(fibre_mass_g=fibre, liquor_ratio=ratio, kettles=[SMALL, LARGE])
    usable = {"kettle 60 L": 54, "kettle 120 L": 108}
    assert len({load.fibre_mass_g for load in plan.loads}) == 1
    assert sum(load.fibre_mass_g for load in plan.loads) == pytest.approx(fibre)
    assert all(load.liquor_volume_l <= usable[load.kettle] * (1 + 1e-8) for load in plan.loads)
