"""Water in fibre: conversions, curves, and the weighing of a clean lot."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError, NotFoundError
from doffer.fibre.moisture import (
    Branch,
    agreed_mass_g,
    agreed_mass_working,
    agreed_regain,
    agreed_regain_frac,
    blend_agreed_regain_frac,
    content_from_regain_frac,
    dry_mass_g,
    equilibrium_regain_frac,
    hank_regain_frac,
    regain_from_content_frac,
    room_regain,
    weighed_mass_g,
)
from doffer.tables.loader import Override, load_tables
from doffer.working import Status

TABLES = load_tables()
masses = st.floats(0, 1e6)
regains = st.floats(0, 1)


@given(regains)
def test_regain_and_content_undo_each_other(regain):
    assert regain_from_content_frac(content_from_regain_frac(regain)) == pytest.approx(regain, abs=1e-12)
    assert content_from_regain_frac(regain) <= regain


@given(masses, regains)
def test_drying_and_wetting_undo_each_other(mass, regain):
    dry = dry_mass_g(weighed_mass_g=mass, actual_regain_frac=regain)
    assert dry <= mass
    assert weighed_mass_g(dry_mass_g=dry, actual_regain_frac=regain) == pytest.approx(mass)


@given(masses, regains, st.floats(0.1, 10))
def test_twice_the_weight_is_twice_the_dry_fibre(mass, regain, factor):
    once = dry_mass_g(weighed_mass_g=mass, actual_regain_frac=regain)
    more = dry_mass_g(weighed_mass_g=mass * factor, actual_regain_frac=regain)
    assert more == pytest.approx(once * factor)


def test_grease_and_oil_are_taken_off():
    dry = dry_mass_g(weighed_mass_g=1170.0, actual_regain_frac=0.17, rides_along_frac=0.03)
    assert dry == pytest.approx(970)


def test_ten_kilos_dry_count_differently_in_europe_and_america():
    europe = agreed_mass_g(dry_mass_g=10.0, agreed_regain_frac=agreed_regain_frac(TABLES, "wool"))
    america = agreed_mass_g(
        dry_mass_g=10.0, agreed_regain_frac=agreed_regain_frac(TABLES, "wool", basis="us_commercial")
    )
    assert (europe, america) == (pytest.approx(11.70), pytest.approx(11.36))


def test_the_row_for_any_form_stands_in_for_a_form_that_is_not_listed():
    assert agreed_regain(TABLES, "silk").form == "any"
    assert agreed_regain(TABLES, "polyamide").form == "staple"
    assert agreed_regain(TABLES, "wool", form="combed").regain_pct == 18.25
    assert agreed_regain(TABLES, "suri").fibre == "alpaca"


def test_an_unknown_fibre_or_basis_is_named():
    with pytest.raises(NotFoundError, match="moon dust"):
        agreed_regain_frac(TABLES, "moon dust")
    with pytest.raises(NotFoundError, match=r"silk .us_d2118."):
        agreed_regain_frac(TABLES, "silk", basis="us_d2118")
    with pytest.raises(NotFoundError, match="moon dust"):
        equilibrium_regain_frac(TABLES, "moon dust", rh_frac=0.5)


def test_a_percentage_taken_for_a_fraction_is_refused():
    with pytest.raises(InputError, match=r"0\.17"):
        dry_mass_g(weighed_mass_g=1000.0, actual_regain_frac=17)
    with pytest.raises(InputError):
        agreed_mass_g(dry_mass_g=1.0, agreed_regain_frac=-0.1)
    with pytest.raises(InputError, match="weight"):
        dry_mass_g(weighed_mass_g=-1.0, actual_regain_frac=0.1)
    with pytest.raises(InputError, match="grease"):
        dry_mass_g(weighed_mass_g=1.0, actual_regain_frac=0.1, rides_along_frac=1.2)
    with pytest.raises(InputError, match="content"):
        regain_from_content_frac(1.0)


@pytest.mark.parametrize("fibre", ["wool", "alpaca", "silk", "cotton", "polyamide"])
@pytest.mark.parametrize("branch", Branch)
def test_more_humid_rooms_hold_more_water(fibre, branch):
    found = equilibrium_regain_frac(TABLES, fibre, rh_frac=np.linspace(0.10, 0.95, 40), branch=branch)
    assert np.all(np.diff(found) > 0)
    assert found.min() > 0


@pytest.mark.parametrize("branch", Branch)
def test_the_curve_stays_within_half_a_point_of_the_table_behind_it(branch):
    for point in TABLES.isotherm.values():
        if point.fibre == "wool" and point.branch == branch:
            found = equilibrium_regain_frac(TABLES, "wool", rh_frac=point.rh_pct / 100, branch=branch)
            assert found == pytest.approx(point.regain_pct / 100, abs=0.005)


def test_fibre_that_dries_holds_more_water_than_fibre_that_takes_it_up():
    room = room_regain(TABLES, "mohair", rh_frac=0.65)
    assert room.regain_frac == room.high_frac == pytest.approx(0.168, abs=0.001)
    assert room.low_frac == pytest.approx(0.147, abs=0.001)
    assert room.working.status is Status.MEMORY
    assert room.working.result.value == room.regain_frac


def test_fibre_without_known_branches_has_no_span():
    room = room_regain(TABLES, "silk", rh_frac=0.65)
    assert room.low_frac == room.high_frac
    assert "R65" in room.working.formula


@pytest.mark.parametrize("rh", [0.0, 0.05, 0.99, 65])
def test_humidity_outside_the_curve_is_not_guessed(rh):
    with pytest.raises(InputError, match="10\u202f% to 95\u202f%"):
        equilibrium_regain_frac(TABLES, "wool", rh_frac=rh)


def test_a_reference_hank_tells_the_water_in_the_room():
    assert hank_regain_frac(hank_mass_g=230.0, hank_dry_mass_g=200.0) == pytest.approx(0.15)
    with pytest.raises(InputError, match="hank"):
        hank_regain_frac(hank_mass_g=190.0, hank_dry_mass_g=200.0)


def test_the_regain_of_a_blend_is_weighed_by_dry_shares():
    found = blend_agreed_regain_frac(
        dry_shares=np.array([0.75, 0.25]), agreed_regain_fracs=np.array([0.17, 0.0625])
    )
    assert found == pytest.approx(0.143125)
    with pytest.raises(InputError, match="summing to 1"):
        blend_agreed_regain_frac(dry_shares=np.array([0.7, 0.2]), agreed_regain_fracs=np.array([0.17, 0.06]))


def test_a_mills_own_regain_is_used_and_said():
    own = TABLES.override([Override("regain", "wool/carded/eu_agreed", "regain_pct", "16")])
    working = agreed_mass_working(own, fibre="wool", dry_mass_g=1000.0)
    assert working.result.value == pytest.approx(1160)
    assert working.status is Status.OWN
    shipped = agreed_mass_working(TABLES, fibre="wool", dry_mass_g=1000.0)
    assert (shipped.result.value, shipped.status) == (pytest.approx(1170), Status.SOURCE)
    assert "wordscope" in shipped.source
