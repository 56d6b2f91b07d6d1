"""Twist and plying: factors, contraction, take-up, balance, and the way of the turns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.yarn import plying
from doffer.process.yarn.plying import (
    BalanceRule,
    balance,
    is_lively,
    length_neutral_ratio,
    plied_tex,
    ply_take_up,
    single_for_ply_tex,
    torque_free_ply_tpm,
)
from doffer.process.yarn.twist import (
    Contraction,
    Direction,
    FactorKind,
    Section,
    bobbin_from_roller_tex,
    bobbin_tex,
    convert_factor,
    nearest_turns_tpm,
    retraction_frac,
    roller_tex,
    spin_speed_m_per_min,
    surface_angle_rad,
    turns_tpm,
    twist_factor,
)
from doffer.tables.loader import Override, load_tables
from doffer.working import Status

TABLES = load_tables()
SECTION = Section(packing_frac=0.5, density_g_cm3=1.31)
TEXS = st.floats(20, 2000)
FACTORS = st.floats(10, 130)


@given(factor=FACTORS, tex=TEXS, kind=st.sampled_from(FactorKind))
def test_turns_and_factor_are_inverse_in_every_system(factor, tex, kind):
    turns = turns_tpm(TABLES, factor=factor, count_tex=tex, kind=kind)
    assert twist_factor(TABLES, twist_tpm=turns, count_tex=tex, kind=kind) == pytest.approx(factor, rel=1e-12)


@given(factor=FACTORS, given_as=st.sampled_from(FactorKind), wanted=st.sampled_from(FactorKind))
def test_a_factor_said_in_another_system_gives_the_same_turns(factor, given_as, wanted):
    other = convert_factor(TABLES, factor=factor, given=given_as, wanted=wanted)
    assert turns_tpm(TABLES, factor=other, count_tex=90, kind=wanted) == pytest.approx(
        turns_tpm(TABLES, factor=factor, count_tex=90, kind=given_as), rel=1e-12
    )


@given(factor=FACTORS, tex=TEXS)
def test_the_angle_depends_on_the_factor_alone(factor, tex):
    angle = SECTION.angle_rad(count_tex=tex, twist_tpm=turns_tpm(TABLES, factor=factor, count_tex=tex))
    expected = math.atan(math.pi * 0.0356825e-3 * factor * math.sqrt(1000) / math.sqrt(1.31 * 0.5))
    assert angle == pytest.approx(expected, rel=1e-4)


@given(factor=FACTORS, tex=TEXS)
def test_front_roll_and_bobbin_are_inverse_where_the_twist_is_set(factor, tex):
    turns = turns_tpm(TABLES, factor=factor, count_tex=tex)
    contracted = SECTION.retraction_frac(count_tex=tex, twist_tpm=turns)
    front = roller_tex(bobbin_tex=tex, retraction_frac=contracted)
    assert front <= tex
    assert bobbin_tex(roller_tex=front, retraction_frac=contracted) == pytest.approx(tex, rel=1e-12)
    assert bobbin_from_roller_tex(roller_tex=front, twist_tpm=turns, section=SECTION) == pytest.approx(
        tex, rel=1e-11
    )


def test_even_absurd_twist_has_one_bobbin_count():
    tex = bobbin_from_roller_tex(roller_tex=200, twist_tpm=2000, section=SECTION)
    contracted = SECTION.retraction_frac(count_tex=tex, twist_tpm=2000)
    assert roller_tex(bobbin_tex=tex, retraction_frac=contracted) == pytest.approx(200, rel=1e-12)


@given(st.floats(0.0, 0.6))
def test_both_forms_of_contraction_are_a_quarter_of_the_angle_squared(angle):
    for form in Contraction:
        assert retraction_frac(angle, form) == pytest.approx(angle**2 / 4, rel=0.12, abs=1e-7)
    assert retraction_frac(angle) >= retraction_frac(angle, Contraction.LAYERS) - 1e-9


@given(tex=TEXS, turns=st.floats(0, 200), plies=st.integers(1, 4))
def test_plies_laid_together_without_twist_are_a_sum(tex, turns, plies):
    laid = ply_take_up(single_tex=tex, single_twist_tpm=turns, ply_twist_tpm=0, plies=plies, section=SECTION)
    assert laid.take_up == pytest.approx(1, rel=1e-12)
    assert laid.residual_tpm == turns
    assert plied_tex(singles_tex=(tex,) * plies, take_up=laid.take_up) == pytest.approx(plies * tex)


@given(tex=TEXS, plies=st.integers(1, 8), take_up=st.floats(0.7, 1.1))
def test_resultant_and_single_are_inverse_with_take_up(tex, plies, take_up):
    single = single_for_ply_tex(plied_tex=tex, plies=plies, take_up=take_up)
    assert plied_tex(singles_tex=(single,) * plies, take_up=take_up) == pytest.approx(tex, rel=1e-12)


def test_unlike_singles_add_and_a_shorter_yarn_is_heavier():
    assert plied_tex(singles_tex=(100, 50)) == 150
    assert plied_tex(singles_tex=(100, 50), take_up=0.97) == pytest.approx(154.639, abs=0.001)


@pytest.mark.parametrize("plies", [2, 3, 4])
def test_at_the_neutral_ratio_soft_twist_leaves_the_length(plies):
    turns = turns_tpm(TABLES, factor=8, count_tex=100)
    neutral = length_neutral_ratio(plies)

    def take_up(ratio):
        return ply_take_up(
            single_tex=100,
            single_twist_tpm=turns,
            ply_twist_tpm=ratio * turns,
            plies=plies,
            section=SECTION,
        ).take_up

    assert take_up(neutral) == pytest.approx(1, abs=2e-6)
    assert take_up(0.7 * neutral) > 1 + 2e-5
    assert take_up(1.3 * neutral) < 1 - 2e-5


def test_plying_the_same_way_adds_twist_and_shortens():
    ways = {"single_tex": 125, "single_twist_tpm": 226, "ply_twist_tpm": 113, "plies": 2, "section": SECTION}
    against = ply_take_up(**ways)
    along = ply_take_up(**ways, ply_direction=Direction.Z)
    assert along.residual_tpm > 226 > against.residual_tpm
    assert along.take_up < 0.96 < 1 < against.take_up
    turned = ply_take_up(**ways, single_direction=Direction.S, ply_direction=Direction.Z)
    assert turned == against


def test_s_is_the_other_way_of_z():
    assert Direction.Z.opposite is Direction.S
    assert Direction.S.opposite is Direction.Z


@pytest.mark.parametrize("stiffness_ratio", [0.6, 1.0, 1.4, 2.0, 3.0])
@pytest.mark.parametrize("factor", [40, 80, 110])
def test_the_torque_free_ply_twist_has_the_least_energy(factor, stiffness_ratio):
    turns = turns_tpm(TABLES, factor=factor, count_tex=125)
    radius = SECTION.diameter_mm(125) / 2000
    angles = np.linspace(0, math.pi / 4 - 1e-4, 400_001)
    bending = stiffness_ratio * np.sin(angles) ** 4 / radius**2
    torsion = (2 * math.pi * turns - np.sin(angles) * np.cos(angles) / radius) ** 2
    best = angles[np.argmin(bending + torsion)]
    found = torque_free_ply_tpm(
        single_twist_tpm=turns, single_tex=125, section=SECTION, stiffness_ratio=stiffness_ratio
    )
    assert found == pytest.approx(math.tan(best) / (2 * math.pi * radius), rel=1e-4)


def test_little_twist_balances_at_its_own_turns():
    found = torque_free_ply_tpm(single_twist_tpm=5, single_tex=125, section=SECTION, stiffness_ratio=1.4)
    assert found / 5 == pytest.approx(1, abs=0.001)


def test_a_ply_back_test_goes_before_the_usual_ratio():
    usual = balance(TABLES, single_twist_tpm=200, plies=2)
    assert (usual.ply_twist_tpm, usual.rule, usual.status) == (134, BalanceRule.USUAL, Status.PRACTICE)
    tested = balance(TABLES, single_twist_tpm=200, plies=2, ply_back_tpm=150)
    assert (tested.ply_twist_tpm, tested.rule, tested.status) == (150, BalanceRule.PLYBACK, Status.OWN)
    assert balance(TABLES, single_twist_tpm=200, plies=3, ply_back_tpm=150).ply_twist_tpm == pytest.approx(
        150 * 0.60 / 0.67
    )


def test_more_plies_are_plied_softer_and_one_not_at_all():
    ratios = [balance(TABLES, single_twist_tpm=100, plies=n).ratio(100) for n in (2, 3, 4, 5, 6)]
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[3] == pytest.approx(1 / math.sqrt(5))
    assert balance(TABLES, single_twist_tpm=100, plies=5).rule is BalanceRule.EQUAL_FACTOR
    assert balance(TABLES, single_twist_tpm=100, plies=1).ply_twist_tpm == 0


def test_the_mill_may_set_its_own_ply_ratio():
    own = TABLES.override([Override("yarn_figures", "ply_ratio/2", "value", "0.7")])
    assert balance(own, single_twist_tpm=100, plies=2).ply_twist_tpm == pytest.approx(70)


def test_a_loop_that_turns_more_than_half_a_turn_is_lively():
    assert is_lively(TABLES, loop_turns_per_m=0.6)
    assert not is_lively(TABLES, loop_turns_per_m=0.5)


@given(turns=st.floats(1, 1000), more=st.floats(0, 500), rpm=st.floats(100, 8000))
def test_more_twist_is_never_faster(turns, more, rpm):
    def speed(tpm):
        return spin_speed_m_per_min(spindle_rpm=rpm, twist_tpm=tpm, roll_speed_cap_m_per_min=25)

    assert speed(turns + more) <= speed(turns) <= 25


def test_the_rolls_cap_the_speed_of_soft_yarn():
    assert spin_speed_m_per_min(spindle_rpm=3000, twist_tpm=60, roll_speed_cap_m_per_min=25) == 25
    assert spin_speed_m_per_min(spindle_rpm=3000, twist_tpm=0, roll_speed_cap_m_per_min=25) == 25


def test_the_nearest_twist_is_nearest_by_ratio():
    assert nearest_turns_tpm(140, (100, 195)) == 195
    assert nearest_turns_tpm(139, (100, 195)) == 100
    assert nearest_turns_tpm(139, ()) == 139


@pytest.mark.parametrize(
    "refused",
    [
        lambda: turns_tpm(TABLES, factor=-1, count_tex=100),
        lambda: turns_tpm(TABLES, factor=80, count_tex=0),
        lambda: surface_angle_rad(diameter_mm=0, twist_tpm=100),
        lambda: retraction_frac(math.pi / 2),
        lambda: plied_tex(singles_tex=()),
        lambda: plied_tex(singles_tex=(100, 0)),
        lambda: single_for_ply_tex(plied_tex=400, plies=2, take_up=3),
        lambda: single_for_ply_tex(plied_tex=400, plies=9),
        lambda: plying.helix_radius_factor(0),
        lambda: length_neutral_ratio(1),
        lambda: balance(TABLES, single_twist_tpm=100, plies=2, ply_back_tpm=-1),
        lambda: torque_free_ply_tpm(
            single_twist_tpm=100, single_tex=100, section=SECTION, stiffness_ratio=0.1
        ),
        lambda: spin_speed_m_per_min(spindle_rpm=0, twist_tpm=100),
    ],
)
def test_what_cannot_be_is_refused(refused):
    with pytest.raises(InputError, match="must be"):
        refused()
