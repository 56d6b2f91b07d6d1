"""The plan of a yarn: back to draft and twist, forward to what the gears give, and what it warns of."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.evenness.passage import Part
from doffer.process.yarn.basis import OilWater, State
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import System, Verdict, YarnFibre, one_fibre
from doffer.process.yarn.plan import SpinMachine, YarnUse, YarnWish, plan_yarn
from doffer.process.yarn.plying import BalanceRule
from doffer.process.yarn.twist import Direction
from doffer.tables.loader import Override, load_tables
from doffer.working import Status

TABLES = load_tables()
WOOL = one_fibre(diameter_um=24, diameter_cv_frac=0.22, density_g_cm3=1.31, staple_mm=90, name="Q7")
FRAME = SpinMachine("frame")
DK = YarnWish(100_000 / 230)


@given(
    tex=st.floats(60, 1200),
    plies=st.integers(1, 4),
    factor=st.floats(20, 110),
    ratio=st.floats(0, 1),
    relaxation=st.floats(-0.02, 0.12),
    oil=st.floats(0, 0.06),
    room=st.floats(0.05, 0.25),
    way=st.sampled_from(Direction),
)
def test_a_plan_run_forward_gives_the_wished_count(tex, plies, factor, ratio, relaxation, oil, room, way):
    wish = YarnWish(
        tex,
        plies,
        twist_factor=factor,
        ply_ratio=ratio,
        relaxation_frac=relaxation,
        oil_frac=oil,
        room_regain_frac=room,
        ply_direction=way,
    )
    plan = plan_yarn(wish, WOOL, FRAME, TABLES)
    assert plan.obtained.tex == pytest.approx(tex, rel=1e-11)
    assert plan.obtained.basis.state is State.FINISHED
    assert plan.roller.tex <= plan.single.tex
    assert plan.single_twist.factor == pytest.approx(factor, rel=1e-9)


@given(plies=st.integers(1, 4), single=st.floats(60, 300), steps=st.lists(st.floats(80, 400), min_size=1))
def test_twist_is_one_the_gears_give_and_the_count_still_comes_out(plies, single, steps):
    frame = dataclasses.replace(FRAME, twist_steps_tpm=tuple(steps), ply_twist_steps_tpm=(70.0, 120.0))
    plan = plan_yarn(YarnWish(single * plies, plies), WOOL, frame, TABLES)
    assert plan.single_twist.tpm in steps
    assert plan.ply_twist.tpm in ((70.0, 120.0) if plies > 1 else (0.0,))
    assert plan.obtained.tex == pytest.approx(single * plies, rel=1e-11)


@given(st.integers(120, 600))
def test_a_finer_wish_has_fewer_fibres_and_more_twist(length):
    coarse, fine = (
        plan_yarn(YarnWish(100_000 / m, twist_factor=80), WOOL, FRAME, TABLES) for m in (length, length + 10)
    )
    assert fine.fibres < coarse.fibres
    assert fine.single_twist.tpm > coarse.single_twist.tpm
    assert fine.single_cv_frac > coarse.single_cv_frac


def test_every_count_of_a_plan_says_its_basis():
    plan = plan_yarn(dataclasses.replace(DK, oil_frac=0.02, room_regain_frac=0.14), WOOL, FRAME, TABLES)
    states = [plan.finished, plan.greige, plan.single, plan.roller, plan.obtained]
    assert [count.basis.state for count in states] == [
        State.FINISHED,
        State.PLIED,
        State.BOBBIN,
        State.ROLLER,
        State.FINISHED,
    ]
    assert [count.basis.regain_frac for count in states] == [0.17, 0.14, 0.14, 0.14, 0.17]
    assert [count.basis.oil_frac for count in states] == [0, 0.02, 0.02, 0.02, 0]


def test_fibres_are_counted_without_oil_and_whatever_the_room():
    dry, damp = (
        plan_yarn(
            dataclasses.replace(DK, room_regain_frac=room, oil_frac=oil, relaxation_frac=0.04),
            WOOL,
            FRAME,
            TABLES,
        )
        for room, oil in ((0.10, 0.0), (0.20, 0.02))
    )
    assert dry.roller.tex < damp.roller.tex
    assert dry.fibres == pytest.approx(damp.fibres, rel=1e-6)


def test_gears_leave_an_error_that_the_plan_owns_up_to():
    gears = Gears(low_draft=6, high_draft=25, constant=480, teeth=(32, 33))
    frame = SpinMachine("frame", gears=gears, rovings_tex=(3000,))
    wish = dataclasses.replace(DK, twist_factor=75, ply_ratio=0.67, relaxation_frac=0.04, oil_frac=0.01)
    plan = plan_yarn(wish, WOOL, frame, TABLES)
    assert plan.draft.setting == "33 teeth"
    assert plan.draft.error_frac == pytest.approx(0.0053, abs=2e-4)
    assert plan.count_error_frac == pytest.approx(plan.draft.error_frac, abs=3e-4)
    assert plan.tooth_error_frac == pytest.approx(1 / 66)
    assert [choice.setting for choice in plan.drafts] == ["33 teeth", "32 teeth"]


def test_where_no_roving_fits_the_one_that_would_is_told():
    lace = YarnWish(125, relaxation_frac=0.04, oil_frac=0.01, twist_factor=85, ply_ratio=0.67)
    fine = one_fibre(diameter_um=19, diameter_cv_frac=0.2, density_g_cm3=1.31, staple_mm=90)
    frame = SpinMachine("frame", rovings_tex=(200.0, 300.0))
    plan = plan_yarn(lace, fine, frame, TABLES)
    assert plan.draft is None
    assert plan.needed_roving_tex[0] == pytest.approx(6 * 58.5, abs=0.5)
    assert plan.needed_roving_tex[2] == pytest.approx(25 * 58.5, abs=2)
    assert plan.warnings == (
        "No roving of 0.2, 0.3 g/m comes near enough. "
        "Make one of 0.717 g/m (0.351 g/m to 1.46 g/m can be drawn).",
    )
    assert plan.obtained.tex == pytest.approx(125)


def test_lace_from_short_coarse_fibre_is_refused_with_reasons():
    coarse = one_fibre(diameter_um=34, diameter_cv_frac=0.26, density_g_cm3=1.31, staple_mm=38)
    plan = plan_yarn(YarnWish(125), coarse, FRAME, TABLES)
    assert plan.verdict is Verdict.NO
    assert plan.warnings[0].startswith(
        "This cannot be spun semi-worsted: a single has about 46 fibres across where 60 hold together. "
        "The finest from this fibre as 2-ply is about 6"
    )
    assert "38 mm is shorter than the 40 mm a draft can hold: woollen only" in plan.warnings[1]


def test_the_finest_yarn_told_is_just_spun():
    coarse = one_fibre(diameter_um=34, diameter_cv_frac=0.26, density_g_cm3=1.31, staple_mm=90)
    wish = YarnWish(125, twist_factor=80)
    plan = plan_yarn(wish, coarse, FRAME, TABLES)
    finest_tex = 125 * plan.finest_hard_tex / plan.fibre_only_tex
    said = plan_yarn(dataclasses.replace(wish, finished_tex=finest_tex), coarse, FRAME, TABLES)
    assert said.fibres == pytest.approx(60, rel=1e-6)


def test_near_the_limit_end_breaks_are_foretold():
    fibre = one_fibre(diameter_um=29, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=90)
    plan = plan_yarn(YarnWish(125), fibre, FRAME, TABLES)
    assert plan.verdict is Verdict.MARGINAL
    assert plan.warnings[0].startswith("Near the limit: about 64 fibres across, it runs well from 80 on")


def test_tender_fibre_and_unlike_lots_are_warned_of():
    parts = (Part("A1", 0.5, 20, 0.2, 110, 0, 1.31), Part("B2", 0.5, 29, 0.2, 110, 0, 1.31))
    plan = plan_yarn(DK, YarnFibre(parts, strength_n_per_ktex=22), FRAME, TABLES)
    assert plan.warnings[0] == "The staple is tender (22 N/ktex). Work it slowly."
    assert plan.warnings[1].startswith("A1 and B2 differ by more than 8 µm")


def test_plying_the_same_way_is_warned_of():
    plan = plan_yarn(dataclasses.replace(DK, ply_direction=Direction.Z), WOOL, FRAME, TABLES)
    assert plan.warnings == (
        "Plied Z like the singles: hard and lively yarn, for effects only. "
        "Ply S for a yarn that hangs still.",
    )
    assert plan.take_up < 0.97


def test_twist_beyond_hard_is_warned_of():
    plan = plan_yarn(dataclasses.replace(DK, twist_factor=180), WOOL, FRAME, TABLES)
    assert "fibres lie at 38 degrees, hard yarn has up to 35" in plan.warnings[0]


def test_much_oil_is_woollen_and_reckoned_dry():
    oily = dataclasses.replace(DK, oil_frac=0.045)
    assert "Oil of 4.5" in plan_yarn(oily, WOOL, FRAME, TABLES).warnings[0]
    woollen = plan_yarn(oily, WOOL, SpinMachine("mule", System.WOOLLEN), TABLES)
    assert woollen.warnings == ()
    assert woollen.greige.basis.oil_water is OilWater.NONE


@pytest.mark.parametrize(
    ("length_m", "plies", "use", "factor"),
    [
        (800, 2, YarnUse.KNITTING, 85),
        (400, 2, YarnUse.KNITTING, 80),
        (230, 2, YarnUse.KNITTING, 75),
        (120, 2, YarnUse.KNITTING, 65),
        (60, 3, YarnUse.KNITTING, 60),
        (40, 3, YarnUse.KNITTING, 55),
        (425, 3, YarnUse.SOCK, 90),
        (160, 1, YarnUse.KNITTING, 47),
    ],
)
def test_the_usual_twist_follows_thickness_and_use(length_m, plies, use, factor):
    plan = plan_yarn(YarnWish(100_000 / length_m, plies, use=use), WOOL, FRAME, TABLES)
    assert plan.single_twist.factor == pytest.approx(factor)


def test_slippery_fibre_gets_more_twist():
    slippery = dataclasses.replace(WOOL, slippery_frac=0.5)
    assert plan_yarn(DK, slippery, FRAME, TABLES).single_twist.factor == pytest.approx(75 * 1.05)


def test_what_was_measured_goes_before_the_tables():
    wish = dataclasses.replace(DK, take_up=0.97, relaxation_frac=0.06, ply_back_tpm=140)
    plan = plan_yarn(wish, WOOL, FRAME, TABLES)
    assert plan.single.tex == pytest.approx(plan.greige.tex * 0.97 / 2)
    assert plan.relaxation_frac == 0.06
    assert (plan.ply_twist.tpm, plan.balance.rule) == (140, BalanceRule.PLYBACK)
    by_title = {working.title: working for working in plan.workings}
    assert by_title["Count before the wash"].status is Status.OWN
    assert by_title["Single on the bobbin"].status is Status.OWN
    assert by_title["Ply twist"].status is Status.OWN


def test_guesses_are_called_guesses_in_the_workings():
    by_title = {working.title: working for working in plan_yarn(DK, WOOL, FRAME, TABLES).workings}
    assert list(by_title) == [
        "Count before the wash",
        "Single on the bobbin",
        "Count at the front roll",
        "Draft",
        "Fibres across a single",
        "Unevenness of a single",
        "Twist of the singles",
        "Ply twist",
    ]
    assert by_title["Count before the wash"].status is Status.PRACTICE
    assert by_title["Count at the front roll"].status is Status.MEMORY
    assert by_title["Twist of the singles"].status is Status.PRACTICE
    assert by_title["Draft"].result.value == pytest.approx(math.sqrt(6 * 25))


def test_a_mills_own_figure_moves_the_plan():
    own = TABLES.override([Override("yarn_figures", "relaxation/semi_worsted", "value", "0.04")])
    before, after = (plan_yarn(DK, WOOL, FRAME, tables) for tables in (TABLES, own))
    assert after.greige.tex / before.greige.tex == pytest.approx(0.96 / 0.975)
    assert after.workings[0].status is Status.OWN


def test_a_yarn_of_one_single_has_no_ply():
    plan = plan_yarn(YarnWish(625, 1), WOOL, FRAME, TABLES)
    assert (plan.ply_twist.tpm, plan.take_up) == (0, 1)
    assert plan.plied_cv_frac == plan.single_cv_frac
    assert "Ply twist" not in [working.title for working in plan.workings]


def test_metres_of_single_follow_from_take_up_and_wash():
    plan = plan_yarn(dataclasses.replace(DK, take_up=0.97, relaxation_frac=0.04), WOOL, FRAME, TABLES)
    assert plan.singles_m_per_finished_m == pytest.approx(2 / (0.97 * 0.96))


def test_speed_is_told_where_the_spindles_are_known_and_capped_by_the_rolls():
    assert plan_yarn(DK, WOOL, FRAME, TABLES).speed_m_per_min is None
    spun = plan_yarn(DK, WOOL, SpinMachine("frame", spindle_rpm=3000), TABLES)
    assert spun.speed_m_per_min == pytest.approx(3000 / spun.single_twist.tpm)
    fast = plan_yarn(DK, WOOL, SpinMachine("frame", spindle_rpm=9000), TABLES)
    assert fast.speed_m_per_min == 25
    slow = SpinMachine("frame", spindle_rpm=9000, roll_speed_cap_m_per_min=15)
    assert plan_yarn(DK, WOOL, slow, TABLES).speed_m_per_min == 15


def test_the_drawings_lead_from_the_card_to_the_frame():
    frame = SpinMachine("frame", card_tex=4000, doublings=((4, 4),))
    plan = plan_yarn(DK, WOOL, frame, TABLES)
    assert plan.drawings[0].in_tex == 4000
    assert plan.drawings[-1].out_tex == pytest.approx(plan.draft.roving_tex)
    assert plan.draft.roving_tex / plan.draft.draft == pytest.approx(plan.roller.tex)


def test_a_roving_the_drafter_cannot_bring_is_warned_of():
    frame = SpinMachine("frame", card_tex=4000, doublings=((4,),), rovings_tex=(1500,))
    plan = plan_yarn(YarnWish(200), WOOL, frame, TABLES)
    assert not plan.can_be_drawn
    assert plan.warnings[0].startswith("The drafter cannot bring the card's roving to 1.5 g/m")


def test_twist_that_curls_the_yarn_up_is_refused():
    wish = YarnWish(400, twist_factor=900, ply_ratio=3)
    with pytest.raises(InputError, match=r"turns per metre in the singles and .* must be low enough"):
        plan_yarn(wish, WOOL, FRAME, TABLES)


@pytest.mark.parametrize(
    "wish",
    [
        {"finished_tex": 0},
        {"finished_tex": math.nan},
        {"finished_tex": math.inf},
        {"finished_tex": 400, "plies": 0},
        {"finished_tex": 400, "plies": 9},
        {"finished_tex": 400, "twist_factor": -1},
        {"finished_tex": 400, "ply_ratio": -0.1},
    ],
)
def test_a_wish_that_cannot_be_is_refused(wish):
    with pytest.raises(InputError, match="must be"):
        YarnWish(**wish)


def test_a_draft_more_than_two_percent_off_is_shown_but_not_taken():
    gears = Gears(low_draft=6, high_draft=25, constant=480, teeth=(34,))
    frame = SpinMachine("frame", gears=gears, rovings_tex=(3000,))
    plan = plan_yarn(dataclasses.replace(DK, relaxation_frac=0.04, take_up=1.0), WOOL, frame, TABLES)
    assert plan.draft is None
    assert plan.drafts[0].error_frac == pytest.approx(0.035, abs=0.01)
    assert "No roving of 3 g/m comes near enough" in plan.warnings[0]
    own = TABLES.override([Override("yarn_figures", "draft_error/any", "value", "0.05")])
    bolder = plan_yarn(dataclasses.replace(DK, relaxation_frac=0.04, take_up=1.0), WOOL, frame, own)
    assert bolder.draft.setting == "34 teeth"


@pytest.mark.parametrize("rovings_tex", [(), (3000.0,)])
@pytest.mark.parametrize("teeth", [(), (10,)])
def test_a_frame_without_a_fitting_pinion_is_told(teeth, rovings_tex):
    gears = Gears(low_draft=6, high_draft=25, constant=480, teeth=teeth)
    plan = plan_yarn(DK, WOOL, SpinMachine("frame", gears=gears, rovings_tex=rovings_tex), TABLES)
    assert plan.draft is None
    assert plan.warnings[0].startswith("No change pinion gives a draft from 6 to 25")


@pytest.mark.parametrize(
    ("staple_mm", "verdict"),
    [(38, Verdict.NO), (50, Verdict.MARGINAL), (90, Verdict.OK), (170, Verdict.MARGINAL)],
)
def test_staple_alone_can_settle_the_verdict(staple_mm, verdict):
    fibre = one_fibre(diameter_um=22, diameter_cv_frac=0.22, density_g_cm3=1.31, staple_mm=staple_mm)
    plan = plan_yarn(DK, fibre, FRAME, TABLES)
    assert plan.fibres > plan.fewest.comfortable
    assert plan.verdict is verdict
