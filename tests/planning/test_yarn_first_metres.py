"""The first fifty metres: what is proven and what is not, and a draft, twist and promise that follow."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.yarn.few_lengths import few_lengths, student_t
from doffer.planning.yarn.first_found import together
from doffer.planning.yarn.first_metres import FirstMetres, YarnTest, correct_from_first_metres
from doffer.process.yarn.basis import State
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import System, one_fibre
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.wish import SpinMachine, YarnWish
from doffer.tables.loader import load_tables

TABLES = load_tables()
WOOL = one_fibre(diameter_um=24.0, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=90.0)
GEARS = Gears(low_draft=6, high_draft=25, constant=480, teeth=tuple(range(24, 61)))
FRAME = SpinMachine("frame", gears=GEARS, rovings_tex=(3000.0,), spindle_rpm=3000)
DK = YarnWish(100_000 / 230, plies=2, relaxation_frac=0.04, oil_frac=0.01)


def planned(wish=DK, machine=FRAME):
    return plan_yarn(wish, WOOL, machine, TABLES)


PLAN = planned()
FIVE = (0.98, 0.99, 1.0, 1.01, 1.02)


def weighed(tex, factors=FIVE):
    return tuple(tex * 10 / 1000 * factor for factor in factors)


def correct(plan=PLAN, **measured):
    return correct_from_first_metres(plan, FirstMetres(**measured), TABLES)


@pytest.mark.parametrize(
    ("n_free", "t"), [(1, 12.706), (2, 4.303), (4, 2.776), (9, 2.262), (30, 2.042), (200, 1.972)]
)
def test_students_t_is_that_of_the_printed_tables(n_free, t):
    assert student_t(n_free=n_free) == pytest.approx(t, abs=6e-4)


def test_a_mean_of_few_lengths_carries_its_range_and_its_spread():
    found = few_lengths([2.0, 2.1, 2.2, 2.3, 2.4], usual_cv_frac=0.045)
    sd = 0.025**0.5
    assert found.mean == pytest.approx(2.2)
    assert found.high - found.mean == pytest.approx(2.776 * sd / 5**0.5, abs=1e-4)
    assert found.cv == pytest.approx(sd / 2.2)
    assert found.cv_low < found.cv < found.cv_high
    assert (found.differs_from(2.05), found.differs_from(1.99)) == (False, True)
    assert found.enough_for(0.02) == -(-((2 * sd / 2.2 / 0.02) ** 2 + 1) // 1)


def test_more_lengths_than_there_are_prove_what_these_do_not():
    found = few_lengths([2.05, 2.10], usual_cv_frac=0.045)
    assert not found.differs_from(1.967)
    # t for 3 lengths is 4.303: 4.303 x 1.7 % / 1.73 = 4.2 %, less than the 5.5 % there are
    assert found.enough_for(0.055) == 3
    assert found.enough_for(0.01) == 14
    assert few_lengths([2.0, 2.3], usual_cv_frac=0.045).enough_for(0.09) == 8


def test_one_length_or_lengths_alike_rest_on_the_usual_spread():
    one, alike = (few_lengths(readings, usual_cv_frac=0.045) for readings in ([2.1], [2.1, 2.1, 2.1]))
    assert (one.cv, alike.cv) == (None, None)
    assert one.high / one.mean - 1 == pytest.approx(1.96 * 0.045, abs=1e-4)
    assert alike.high / alike.mean - 1 == pytest.approx(4.303 * 0.045 / 3**0.5, abs=1e-4)
    with pytest.raises(InputError, match="one or more, each above zero"):
        few_lengths([2.1, 0.0], usual_cv_frac=0.045)


def test_lengths_that_are_as_planned_change_nothing():
    done = correct(weighed_g=weighed(PLAN.single.tex * PLAN.draft.out_tex / PLAN.roller.tex))
    assert (done.changes_draft, done.changes_twist, done.changes_ply) == (False, False, False)
    assert done.after.draft == PLAN.draft
    assert done.left_alone.tex == pytest.approx(PLAN.obtained.tex)
    assert done.sentences[-1] == "Leave the draft as it is."


def test_a_proven_heavy_yarn_gets_another_pinion_and_its_metres_back():
    done = correct(weighed_g=weighed(PLAN.single.tex * 1.06))
    count = done.one(YarnTest.COUNT)
    assert count.is_proven
    assert count.difference_frac == pytest.approx(0.06)
    # 33 teeth (14.55) were set for 3000 tex; the roving is really 6 % heavier than gears and scale say.
    assert (PLAN.draft.setting, done.draft.setting) == ("33 teeth", "31 teeth")
    assert done.roving_tex == pytest.approx(PLAN.roller.tex * 1.06 * PLAN.draft.draft, rel=2e-3)
    assert done.left_alone.tex == pytest.approx(PLAN.finished.tex * 1.06, rel=2e-3)
    before_m, after_m = done.length_m(finished_mass_g=8000)
    assert before_m == pytest.approx(8000 / 100 * 230 / 1.06, rel=2e-3)
    assert after_m == pytest.approx(8000 / 100 * 230, rel=0.02)
    assert (
        "5 lengths of 10 m: 223.2 tex, planned 210.6 tex: 6.0\u202f% heavier, and that is proven."
        in done.sentences
    )
    assert any(
        said.startswith("Set the draft to 15.48 (31 teeth) instead of 14.55") for said in done.sentences
    )


STANDS = SpinMachine(
    "frame",
    gears=Gears(low_draft=8, high_draft=24, constant=480, teeth=(20, 22, 24, 26, 28, 30, 32, 36, 40, 44, 50)),
    rovings_tex=(1500.0, 2500.0, 3500.0),
    card_tex=4000.0,
    doublings=((), (6,), (5,), (4,), (3,), (2,), (6, 6)),
)
FAWN = dataclasses.replace(DK, finished_tex=400.0)


def in_turn(plan, *weighings, **more):
    return correct_from_first_metres(
        plan, together([FirstMetres(weighed_g=grams, **more) for grams in weighings]), TABLES
    )


def test_tests_made_before_a_change_of_draft_are_not_joined_with_those_after_it():
    plan = planned(FAWN, STANDS)
    wanted = plan.single.tex
    assert plan.draft.setting == "26 teeth"
    heavy, right = weighed(wanted * 1.075), weighed(wanted * 1.075 * 24 / 26)
    first = in_turn(plan, heavy)
    assert (first.draft.setting, first.changes_draft) == ("24 teeth", True)
    done = in_turn(plan, heavy, right)
    count = done.one(YarnTest.COUNT)
    assert (count.measured.n, count.is_proven) == (5, False)
    assert count.measured.mean == pytest.approx(wanted * 1.075 * 24 / 26)
    # whoever set the 24 teeth keeps them: the 26 of the plan would be 7 % heavy again
    assert (done.draft.setting, done.changes_draft) == ("24 teeth", False)
    assert done.sentences[0] == (
        "Only tests since the last change count: they are taken as spun at the draft 20.00 (24 teeth), "
        "earlier ones at 18.46."
    )
    assert done.sentences[-1] == "Leave the draft as it is."
    again = in_turn(plan, heavy, right, weighed(wanted * 1.075 * 24 / 26))
    assert (again.one(YarnTest.COUNT).measured.n, again.draft.setting) == (10, "24 teeth")


def test_tests_that_show_that_nobody_changed_the_draft_stay_together():
    plan = planned(FAWN, STANDS)
    heavy = weighed(plan.single.tex * 1.075)
    done = in_turn(plan, heavy, weighed(plan.single.tex * 1.07))
    assert done.one(YarnTest.COUNT).measured.n == 10
    assert (done.before.draft.setting, done.draft.setting) == ("26 teeth", "24 teeth")
    assert done.sentences[0].startswith("10 lengths of 10 m")


def test_a_plied_test_after_a_change_of_draft_tells_of_the_new_draft():
    plan = planned(FAWN, STANDS)
    single, plied = (
        FirstMetres(weighed_g=weighed(tex), state=state)
        for tex, state in (
            (plan.single.tex * 1.075, State.BOBBIN),
            (plan.greige.tex * 1.075 * 24 / 26, State.PLIED),
        )
    )
    done = correct_from_first_metres(plan, together([single, plied]), TABLES)
    assert (done.draft.setting, done.changes_draft) == ("24 teeth", False)


def test_turns_before_a_change_of_twist_are_not_joined_with_those_after_it():
    wanted = PLAN.single_twist.tpm
    few = tuple(wanted * 0.93 * factor for factor in FIVE)
    first = correct(turns_tpm=few)
    assert first.twist_tpm == pytest.approx(wanted / 0.93)
    right = tuple(wanted * factor for factor in FIVE)
    tests = together([FirstMetres(turns_tpm=few), FirstMetres(turns_tpm=right)])
    done = correct_from_first_metres(PLAN, tests, TABLES)
    assert done.one(YarnTest.TWIST).measured.n == 5
    assert (done.changes_twist, done.twist_tpm) == (False, pytest.approx(first.twist_tpm))


def test_a_yarn_without_a_fitting_roving_is_corrected_from_the_draft_that_is_set():
    plan = planned(dataclasses.replace(DK, finished_tex=625.0, plies=3), STANDS)
    assert (plan.draft, plan.made.setting) == (None, "30 teeth")
    done = correct(plan, weighed_g=weighed(plan.single.tex * 1.1))
    assert done.roving_tex == pytest.approx(plan.made.roving_tex * 1.1, rel=3e-3)
    # 10 % heavy at 30 teeth (16.00): 17.14 or 18.46 would do, of which 17.14 is the nearer by the tooth
    assert done.draft.roving_tex == done.roving_tex
    assert done.roving_tex / done.draft.draft == pytest.approx(plan.roller.tex, rel=0.035)
    assert "instead of 16.00" in done.sentences[-1]
    assert in_turn(plan, weighed(plan.single.tex)).sentences[-1] == "Leave the draft as it is."


def test_a_difference_so_few_lengths_do_not_prove_is_left_alone():
    uneven = (0.95, 1.03, 1.09)
    done = correct(weighed_g=weighed(PLAN.single.tex, uneven))
    count = done.one(YarnTest.COUNT)
    assert (count.is_proven, count.is_used, done.changes_draft) == (False, False, False)
    assert done.roving_tex == pytest.approx(3000)
    said = done.sentences[0]
    assert "2.3\u202f% heavier, which so few do not prove" in said
    assert f"about {count.enough} would prove it" in said
    assert count.enough > 10
    # what is not proven is not told as a fact: these metres are those of the roving and the gears
    assert done.sentences[1].startswith("Left as it is, by roving and draft alone, it comes out at 229 m")


def test_a_dry_room_is_not_taken_for_a_light_yarn():
    # Notes: greige DK weighs 403.6 tex in a room of 12 % regain where 421.6 are planned at 17 %.
    here = 1.12 / 1.17
    grams = weighed(PLAN.single.tex * here)
    assert correct(weighed_g=grams, room_regain_frac=0.12).one(
        YarnTest.COUNT
    ).difference_frac == pytest.approx(0, abs=1e-9)
    assert correct(weighed_g=grams).one(YarnTest.COUNT).difference_frac == pytest.approx(here - 1)
    plied = correct(weighed_g=weighed(403.6), state=State.PLIED, room_regain_frac=0.12)
    assert plied.one(YarnTest.COUNT).difference_frac == pytest.approx(0, abs=5e-4)


def test_a_washed_length_replaces_the_usual_relaxation_and_the_draft_follows():
    plan = planned(dataclasses.replace(DK, relaxation_frac=None))
    assert plan.relaxation_frac == pytest.approx(0.025)
    done = correct(plan, washed=((10.0, 9.4), (10.0, 9.42), (10.0, 9.38)))
    assert done.after.relaxation_frac == pytest.approx(0.06)
    assert done.left_alone.tex == pytest.approx(plan.obtained.tex * 0.975 / 0.94)
    assert done.changes_draft
    assert done.draft.draft == pytest.approx(plan.draft.draft * 0.975 / 0.94, rel=0.02)
    assert done.after.obtained.tex == pytest.approx(plan.finished.tex, rel=0.02)
    one = correct(plan, washed=((10.0, 9.7),))
    assert not one.one(YarnTest.WASH).is_proven
    assert one.after.relaxation_frac == pytest.approx(0.03)
    assert one.sentences[0].endswith("It is taken all the same: what it replaces was only supposed.")
    assert (one.changes_twist, one.changes_ply) == (False, False)
    kept = correct(PLAN, washed=((10.0, 9.62), (10.0, 9.55), (10.0, 9.6)))
    assert not kept.one(YarnTest.WASH).is_used
    assert kept.after.relaxation_frac == 0.04


def test_finished_lengths_are_not_charged_twice_with_a_measured_shrinkage():
    plan = planned(dataclasses.replace(DK, relaxation_frac=None))
    measured_tex = plan.obtained.tex * 0.975 / 0.94  # the front roll is as planned, it only shrinks more
    done = correct(
        plan,
        weighed_g=weighed(measured_tex),
        state=State.FINISHED,
        washed=((10.0, 9.4), (10.0, 9.42), (10.0, 9.38)),
    )
    assert done.roving_tex == pytest.approx(plan.draft.roving_tex, rel=1e-4)
    assert done.left_alone.tex == pytest.approx(measured_tex, rel=1e-4)


def test_twist_that_comes_out_wrong_is_set_by_what_the_frame_really_gives():
    turns = PLAN.single_twist.tpm
    done = correct(turns_tpm=tuple(turns * 0.9 * factor for factor in FIVE))
    assert done.changes_twist
    assert done.twist_tpm == pytest.approx(turns / 0.9)
    assert any(
        said.startswith("Set the twist to 182 turns/m, so that 163 come out") for said in done.sentences
    )
    steps = dataclasses.replace(FRAME, twist_steps_tpm=(150.0, 165.0, 180.0, 200.0))
    stepped = correct(planned(machine=steps), turns_tpm=(148.0, 149.0, 148.5, 148.0))
    assert stepped.twist_tpm == 180.0
    assert not correct(turns_tpm=(turns * 0.93, turns * 1.01)).changes_twist


def test_the_ply_back_test_is_the_ply_twist_of_the_rest():
    done = correct(ply_back_tpm=(118.0, 121.0, 120.0, 121.0))
    assert done.after.ply_twist.tpm == pytest.approx(120.0)
    assert done.changes_ply
    assert "Ply with 120 turns/m S." in done.sentences


def test_a_very_uneven_yarn_is_sent_to_its_cause_before_the_gears():
    done = correct(weighed_g=weighed(PLAN.single.tex, (0.7, 1.3, 0.85, 1.2, 1.0, 0.75, 1.25, 0.9, 1.1, 0.8)))
    assert done.one(YarnTest.COUNT).is_uneven
    assert any("look for the cause in the roving" in said for said in done.sentences)
    assert not correct(weighed_g=weighed(PLAN.single.tex)).one(YarnTest.COUNT).is_uneven


def test_a_roving_no_gear_can_bring_to_the_count_is_said():
    narrow = SpinMachine("frame", gears=Gears(low_draft=12, high_draft=15), rovings_tex=(3000.0,))
    done = correct(planned(machine=narrow), weighed_g=weighed(PLAN.single.tex * 1.15))
    assert done.draft is None
    assert "No draft the frame can be set to brings this roving to the count: draw it anew." in done.sentences


def test_nothing_measured_and_roller_weighings_are_refused():
    with pytest.raises(InputError, match="one at least"):
        FirstMetres()
    with pytest.raises(InputError, match="on the bobbin, plied, or finished"):
        FirstMetres(weighed_g=(2.1,), state=State.ROLLER)
    with pytest.raises(InputError, match="above zero, both"):
        correct(washed=((10.0, 0.0),))


@settings(max_examples=25, deadline=None)
@given(
    off=st.floats(0.85, 1.15),
    system=st.sampled_from([System.SEMI_WORSTED, System.WORSTED]),
    metres=st.floats(150, 500),
)
def test_a_corrected_yarn_that_is_weighed_again_is_as_wished(off, system, metres):
    machine = SpinMachine("stepless", system=system, gears=Gears(low_draft=3, high_draft=60))
    plan = planned(YarnWish(100_000 / metres, plies=2), machine)
    done = correct(plan, weighed_g=weighed(plan.single.tex * off, (0.999, 1.0, 1.001)))
    again = done.roving_tex / done.draft.draft
    assert again == pytest.approx(done.after.roller.tex, rel=2e-3)
    assert done.after.finished.tex == plan.finished.tex
    assert done.left_alone.tex == pytest.approx(plan.finished.tex * off, rel=0.004)


@pytest.mark.parametrize(
    ("measured", "sentence"),
    [
        (
            {"weighed_g": (210.0, 212.0)},
            "weight of 10 m is “100 times what is planned”; it must be near 2.11 g",
        ),
        ({"turns_tpm": (6.4, 6.5)}, "near 163 turns/m: look at the unit"),
        ({"washed": ((10.0, 96.0),)}, "near 0.96 of the length before"),
        ({"ply_back_tpm": (4.3,)}, "near 110 turns/m"),
    ],
)
def test_a_reading_in_another_unit_is_asked_about_and_not_reckoned_with(measured, sentence):
    with pytest.raises(InputError, match="look at the unit") as refused:
        correct(**measured)
    assert sentence in str(refused.value)


def test_a_single_has_no_ply_back_test():
    with pytest.raises(InputError, match="left out for a single"):
        correct(planned(YarnWish(100_000 / 160, plies=1)), ply_back_tpm=(100.0,))


def test_a_yarn_without_twist_has_no_test_of_twist():
    flat = planned(dataclasses.replace(DK, twist_factor=0.0, ply_ratio=0.0))
    with pytest.raises(InputError, match="left out for a strand without twist"):
        correct(flat, turns_tpm=(100.0,))
    with pytest.raises(InputError, match="left out for a yarn plied without twist"):
        correct(flat, ply_back_tpm=(100.0,))
    heavy = correct(flat, weighed_g=weighed(flat.single.tex * 1.06))
    assert (heavy.changes_draft, heavy.changes_twist) == (True, False)
