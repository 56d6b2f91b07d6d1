"""Rates of machines: the figures of notes and walls, and laws that must hold for any count."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.rates import (
    FibreGroup,
    MachineFigures,
    bobbin_run_min,
    fibre_groups,
    frame_rate,
    machine_rate_kg_per_h,
    operator_load_frac,
    running_efficiency_frac,
    spin_hours_per_kg,
    spindle_rate_kg_per_h,
    strand_rate_kg_per_h,
    traveller_speed_m_per_s,
    web_rate_kg_per_h,
)
from doffer.tables.loader import load_tables

TABLES = load_tables()
FRAME = MachineFigures(spindles=8, spindle_rpm=3000, efficiency_frac=0.8)


def test_coarse_soft_singles_are_capped_by_the_rolls():
    soft = {"spindles": 8, "spindle_rpm": 3000, "twist_tpm": 60, "count_tex": 625, "efficiency_frac": 0.8}
    assert spindle_rate_kg_per_h(**soft) == pytest.approx(12.0)
    assert spindle_rate_kg_per_h(**soft, roll_speed_cap_m_per_min=25) == pytest.approx(6.0)


def test_the_usual_cap_of_the_rolls_counts_where_the_record_has_none():
    frame = frame_rate("spin", FRAME, TABLES, twist_tpm=60, count_tex=625)
    assert (frame.speed_m_per_min, frame.is_capped) == (25, True)
    assert frame.kg_per_h == pytest.approx(6.0)
    sock = frame_rate("spin", FRAME, TABLES, twist_tpm=310, count_tex=76.1)
    assert not sock.is_capped
    assert sock.kg_per_h == pytest.approx(0.283, abs=0.0005)


def test_strands_and_webs_weigh_what_their_speed_says():
    assert strand_rate_kg_per_h(speed_m_per_min=8, count_tex=260, strands=24) == pytest.approx(3.0, abs=0.005)
    assert strand_rate_kg_per_h(speed_m_per_min=18.4, count_tex=210.5) == pytest.approx(0.232, abs=0.0005)
    assert web_rate_kg_per_h(web_g_per_m2=12, width_m=0.9, speed_m_per_min=8) == pytest.approx(5.184)


def test_doffing_and_breaks_leave_the_efficiency_of_the_worked_example():
    run_min = bobbin_run_min(bobbin_mass_g=150, speed_m_per_min=3000 / 163.4, count_tex=210.5)
    assert run_min == pytest.approx(38.8, abs=0.05)
    left = running_efficiency_frac(run_min=run_min, doff_min=8, breaks_per_spindle_h=0.5, break_wait_min=1)
    assert left == pytest.approx(0.822, abs=0.001)


def test_coarse_yarn_on_small_bobbins_is_bound_by_doffing():
    plain = MachineFigures(spindles=8, spindle_rpm=3000, bobbin_mass_g=150)
    bulky = frame_rate("spin", plain, TABLES, twist_tpm=90, count_tex=441)
    fine = frame_rate("spin", plain, TABLES, twist_tpm=310, count_tex=76)
    assert bulky.is_doff_bound
    assert bulky.efficiency_frac == pytest.approx(13.605 / 21.605 / (1 + 0.5 / 60), abs=0.001)
    assert (fine.is_doff_bound, fine.efficiency_frac) == (False, 0.8)


def test_the_efficiency_of_the_record_comes_before_any_reckoned_one():
    own = MachineFigures(spindles=8, spindle_rpm=3000, bobbin_mass_g=20, efficiency_frac=0.7)
    assert frame_rate("spin", own, TABLES, twist_tpm=90, count_tex=441).efficiency_frac == 0.7


def test_frame_hours_of_a_kilogram_count_metres_of_single():
    """Double knitting of the prototype lot: 8.019 kg at 8 spindles, 3000 rpm, 75 % takes 5.8 h."""
    frame_m_per_h = 60 * 3000 / 163.4 * 8 * 0.75
    hours = spin_hours_per_kg(
        plies=2, finished_tex=434.78, take_up=0.9988, relaxation_frac=0.04, frame_m_per_h=frame_m_per_h
    )
    assert hours * 8.019 == pytest.approx(5.8, abs=0.05)


def test_a_person_who_tends_too_many_spindles_is_overloaded():
    calm = {"breaks_per_spindle_h": 0.5, "piece_min": 1.0, "run_min": 38.8, "doff_min": 8.0}
    assert operator_load_frac(spindles=8, **calm) == pytest.approx(8 * 0.5 / 60 + 8 / 46.8)
    assert operator_load_frac(spindles=120, **calm) > 1


def test_the_traveller_of_a_small_ring_is_far_from_its_limit():
    assert traveller_speed_m_per_s(ring_mm=75, spindle_rpm=3000) == pytest.approx(11.8, abs=0.05)
    assert traveller_speed_m_per_s(ring_mm=75, spindle_rpm=6000) == pytest.approx(23.6, abs=0.05)


def test_the_slowest_fibre_of_a_blend_rules_and_the_record_comes_first():
    groups = fibre_groups(["wool", "suri", "silk"], TABLES)
    assert groups == {FibreGroup.WOOL, FibreGroup.CAMELID}
    assert machine_rate_kg_per_h("card", MachineFigures(), groups, TABLES) == 2.0
    own = MachineFigures(rates_kg_per_h={"wool": 1.5})
    assert machine_rate_kg_per_h("card", own, groups, TABLES) == 1.5
    assert machine_rate_kg_per_h("spin", MachineFigures(), groups, TABLES) is None


@given(
    twist=st.floats(40, 900),
    more=st.floats(1.0, 3.0),
    tex=st.floats(20, 1500),
    cap=st.one_of(st.just(math.inf), st.floats(5, 60)),
)
def test_more_twist_never_makes_a_frame_faster(twist, more, tex, cap):
    frame = {"spindles": 8, "spindle_rpm": 3000, "count_tex": tex, "efficiency_frac": 0.8}
    slow = spindle_rate_kg_per_h(**frame, twist_tpm=twist * more, roll_speed_cap_m_per_min=cap)
    fast = spindle_rate_kg_per_h(**frame, twist_tpm=twist, roll_speed_cap_m_per_min=cap)
    assert slow <= fast * (1 + 1e-12)
    if math.isinf(cap):
        assert slow * more == pytest.approx(fast)


@pytest.mark.parametrize("wrong", [{"spindles": 0}, {"count_tex": -5}, {"efficiency_frac": 1.2}])
def test_a_frame_that_cannot_be_is_refused(wrong):
    frame = {"spindles": 8, "spindle_rpm": 3000, "twist_tpm": 200, "count_tex": 100, "efficiency_frac": 0.8}
    with pytest.raises(InputError):
        spindle_rate_kg_per_h(**(frame | wrong))
