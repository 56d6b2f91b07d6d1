"""Moist air against values of ASHRAE Fundamentals.

Table values are quoted from memory (ASHRAE Fundamentals 2017, chapter 1, Tables 2 and 3: unverified);
tolerances are those of the ideal-gas form: 0.05 % on saturation pressure, 0.5 % on humidity ratio.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.humidity import moist_air, saturation_pressure_pa


@pytest.mark.published
@pytest.mark.parametrize(
    ("temp_c", "pressure_pa"),
    [(20.0, 2338.8), (25.0, 3169.2), (0.0, 611.2), (-10.0, 259.9)],
)
def test_saturation_pressure_agrees_with_the_table(temp_c, pressure_pa):
    assert saturation_pressure_pa(temp_c=temp_c) == pytest.approx(pressure_pa, rel=5e-4)


@pytest.mark.published
def test_saturated_air_at_twenty_degrees_holds_what_the_table_says():
    assert moist_air(temp_c=20, rh_frac=1).humidity_ratio == pytest.approx(0.014758, rel=5e-3)


def test_a_damp_card_room():
    air = moist_air(temp_c=20, rh_frac=0.75)
    assert air.humidity_ratio == pytest.approx(0.01096, abs=1e-5)
    assert air.dew_point_c == pytest.approx(15.44, abs=0.01)
    assert air.wet_bulb_c == pytest.approx(17.07, abs=0.01)
    assert air.volume_m3_per_kg == pytest.approx(0.8451, abs=1e-4)


@settings(deadline=None)  # with numba, psychrolib compiles itself at the first call
@given(st.floats(-10, 40), st.floats(0.05, 1))
def test_dew_point_lies_below_wet_bulb_and_wet_bulb_below_the_air(temp_c, rh_frac):
    air = moist_air(temp_c=temp_c, rh_frac=rh_frac)
    assert air.dew_point_c <= air.wet_bulb_c + 0.02
    assert air.wet_bulb_c <= temp_c + 0.02


@pytest.mark.parametrize(("temp_c", "rh_frac"), [(20, 55), (90, 0.5), (20, -0.1)])
def test_percent_for_fraction_and_impossible_heat_are_refused(temp_c, rh_frac):
    with pytest.raises(InputError, match="it must be from"):
        moist_air(temp_c=temp_c, rh_frac=rh_frac)
