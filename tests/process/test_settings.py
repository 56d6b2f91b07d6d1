"""Settings: what is suggested for which fibre, why, and that fragile fibre is always handled gently."""

import dataclasses
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.process.settings.card import SET_STAGES, settings_card
from doffer.process.settings.facts import (
    Crimp,
    FibreFacts,
    FibrePart,
    MachineLimits,
    Soundness,
    applying,
)
from doffer.process.settings.own import OwnSetting
from doffer.process.settings.ratch import ratch_mm
from doffer.process.settings.suggestion import SUGGEST_ONLY
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import one_fibre
from doffer.process.yarn.plan import SpinMachine, YarnWish, plan_yarn
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
PLAIN = MachineLimits()


def fibre(kind="wool", *, um=26.0, staple=95.0, cv=0.2, **known):
    return FibreFacts((FibrePart(Constituent("L1", kind, um, 0.22, staple, cv), 1.0),), **known)


@cache
def yarn(*, plies=2, tex=434.78, rpm=3000.0):
    spun = one_fibre(diameter_um=24, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=95)
    return plan_yarn(YarnWish(tex, plies), spun, SpinMachine("frame", spindle_rpm=rpm), TABLES)


def card(stage, facts=None, machine=PLAIN, **more):
    return settings_card(stage, facts or fibre(), machine, TABLES, **more)


def test_the_ratch_is_a_little_more_than_the_longest_fibre():
    plain = {"fibre_length_ratio": 1.17, "margin_ratio": 1.05, "longest_sd": 2}
    assert ratch_mm(staple_mm=95, staple_cv_frac=0.2, **plain) == pytest.approx(163.4, abs=0.05)
    assert card("draw").of("ratch").value == pytest.approx(163.4, abs=0.05)
    with pytest.raises(InputError, match="staple"):
        ratch_mm(staple_mm=0, staple_cv_frac=0.2, **plain)


def test_alpaca_has_little_crimp_and_wants_a_closer_ratch():
    one = card("spin", fibre("alpaca")).of("ratch")
    assert one.value == pytest.approx(95 * 1.02 * 1.4 * 1.05)
    assert one.low == pytest.approx(95 * 1.4)


def test_the_longest_lot_of_a_blend_sets_the_ratch():
    short, long = (Constituent(name, "wool", 26, 0.22, mm, 0.2) for name, mm in (("S", 50.0), ("L", 110.0)))
    blend = FibreFacts((FibrePart(short, 0.8), FibrePart(long, 0.2)))
    one = card("draw", blend).of("ratch")
    assert one.value == pytest.approx(163.4 * 110 / 95, abs=0.1)
    assert "110 mm staple" in one.reason


def test_a_ratch_the_machine_does_not_reach_is_said():
    one = card("draw", machine=MachineLimits(ratch_low_mm=60, ratch_high_mm=140)).of("ratch")
    assert one.value == 140
    assert "163 mm would suit, but 140 mm is the widest this machine stands" in one.reason


def test_sound_wool_of_usual_fineness_gets_the_usual_beater():
    beater = card("pick").of("beater")
    assert (beater.low, beater.value, beater.high, beater.words) == (450, 700, 900, "middle")
    assert beater.status is Status.PRACTICE


FRAGILE = {
    "tender": fibre(soundness=Soundness.TENDER),
    "fragile": fibre(soundness=Soundness.FRAGILE),
    "weak": fibre(strength_n_per_ktex=22.0),
    "angora": fibre("angora_rabbit", um=13.0, staple=60.0),
    "dyed twice": fibre(times_dyed=2),
    "coarse but tender": fibre(um=38.0, soundness=Soundness.TENDER),
}


@pytest.mark.parametrize("name", FRAGILE)
def test_fragile_fibre_is_beaten_slowly_in_more_passes_and_carded_thin(name):
    picked, carded = card("pick", FRAGILE[name]), card("card", FRAGILE[name])
    assert picked.of("beater").value == 450
    assert picked.of("passes").value == 2
    assert "thinner than usual" in picked.of("feed").words
    assert (carded.of("speed").value, carded.of("speed").words) == (1, "slow")
    assert carded.of("feed").value == 45


def test_the_reason_names_what_makes_a_fibre_fragile():
    assert "22 N/ktex is tender, below 30" in card("pick", FRAGILE["weak"]).of("beater").reason
    assert "it was dyed 2 times" in card("pick", FRAGILE["dyed twice"]).of("beater").reason
    assert "angora is in it" in card("card", FRAGILE["angora"]).of("feed").reason


def test_fibre_of_30_newton_is_not_called_tender():
    assert "fragile" not in applying(fibre(strength_n_per_ktex=30.0), TABLES)
    assert "fragile" not in applying(fibre(soundness=Soundness.SOUND, times_dyed=1), TABLES)


@given(
    um=st.floats(11, 45),
    staple=st.floats(25, 200),
    cv=st.floats(0.05, 0.5),
    kind=st.sampled_from(["wool", "alpaca", "mohair", "cashmere", "silk"]),
    crimp=st.sampled_from(list(Crimp)),
    stage=st.sampled_from(SET_STAGES),
)
def test_no_fragile_fibre_is_ever_run_faster_or_thicker_than_the_same_fibre_sound(
    um, staple, cv, kind, crimp, stage
):
    about = {"um": um, "staple": staple, "cv": cv, "crimp": crimp}
    sound = card(stage, fibre(kind, **about, soundness=Soundness.SOUND), yarn=yarn())
    tender = card(stage, fibre(kind, **about, soundness=Soundness.TENDER), yarn=yarn())
    for setting in ("beater", "feed", "speed", "spindle_rpm", "roll_speed"):
        one, other = sound.of(setting), tender.of(setting)
        assert (one is None) == (other is None)
        if one is not None and one.value is not None:
            assert other.value <= one.value
    for one in (*sound.suggestions, *tender.suggestions):
        assert one.value is not None or one.words
        assert one.reason
        assert one.source
        if one.value is not None and one.low is not None and one.setting not in ("twist", "draft", "roving"):
            assert one.low <= one.value * (1 + 1e-9)


def test_fine_and_coarse_fibre_pull_the_beater_each_its_own_way():
    assert card("pick", fibre(um=18.5)).of("beater").value == pytest.approx(560)
    assert card("pick", fibre(um=36.0)).of("beater").value == pytest.approx(805)
    assert "18.5 micron is fine" in card("pick", fibre(um=18.5)).of("beater").reason


def test_a_beater_with_three_speeds_is_set_to_one_of_them():
    machine = MachineLimits(beater_steps_rpm=(400.0, 620.0, 880.0))
    middle = card("pick", machine=machine).of("beater")
    slow = card("pick", fibre(soundness=Soundness.TENDER), machine).of("beater")
    assert (middle.value, middle.words) == (620, "middle")
    assert (slow.value, slow.words) == (400, "slow")


def test_the_workers_are_told_in_words_from_early_to_late_with_their_source():
    workers = card("card", fibre(um=17.0)).of("workers")
    assert workers.words.startswith("first workers wide, last ones close")
    assert workers.words.endswith("; the last ones closer still")
    assert workers.status is Status.SOURCE
    assert "archive.org" in workers.source


def test_a_web_of_little_crimp_is_supported_and_one_of_crimped_wool_is_not():
    assert "support the web" in card("card", fibre("suri")).of("doffer").words
    assert card("card").of("doffer") is None
    assert card("card", fibre("suri", crimp=Crimp.HIGH)).of("doffer") is None


def test_the_wanted_yarn_sets_draft_twist_and_speeds():
    plan = yarn()
    spun, plied = card("spin", yarn=plan), card("ply", yarn=plan)
    assert spun.of("draft").value == plan.draft.draft
    assert spun.of("twist").value == pytest.approx(163.4, abs=2)
    assert spun.of("twist_way").words == "Z"
    assert plied.of("twist_way").words == "S"
    assert plied.of("plies").value == 2
    roll, rpm = spun.of("roll_speed").value, spun.of("spindle_rpm").value
    assert rpm == pytest.approx(3000)
    assert roll * (1 - plan.retraction_frac) * spun.of("twist").value == pytest.approx(rpm)
    assert plied.of("spindle_rpm").value == pytest.approx(2000)


DRAWN = SpinMachine(
    "frame",
    gears=Gears(low_draft=8, high_draft=24, constant=480, teeth=(20, 22, 24, 26, 28, 30, 32, 36, 40, 44, 50)),
    rovings_tex=(1500.0, 2500.0, 3500.0),
    card_tex=4000.0,
    doublings=((), (6,), (5,), (4,), (3,), (2,), (6, 6)),
)


def test_where_no_roving_fits_the_cards_say_one_to_make_and_agree_with_each_other():
    spun = one_fibre(diameter_um=26, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=90)
    plan = plan_yarn(YarnWish(100_000 / 160, 3), spun, DRAWN, TABLES)
    assert plan.draft is None
    own = [OwnSetting("spin", "draft", 12.0, "ratio", "R003", "rated 5")]
    drawn, spinning = card("draw", yarn=plan), card("spin", yarn=plan, own=own)
    ends, draft, out = (drawn.of(key).value for key in ("ends", "draft", "roving"))
    assert out == pytest.approx(4000 * ends / draft)
    assert spinning.of("roving").value == out
    # 3.19 g/m through a draft of 16 (30 teeth) gives the 199.4 tex at the rolls that the yarn wants
    assert (spinning.of("draft").value, spinning.of("draft").words) == (16, "30 teeth")
    assert out / spinning.of("draft").value == pytest.approx(plan.roller.tex)
    assert spinning.of("roving").words == "to be made: of 1.5, 2.5, 3.5 g/m none fits"


def test_a_drafter_that_cannot_do_it_is_not_given_the_tables_ends_and_draft():
    few = dataclasses.replace(DRAWN, rovings_tex=(3500.0,), doublings=((), (3,), (2,)))
    spun = one_fibre(diameter_um=24, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=95)
    plan = plan_yarn(YarnWish(100_000 / 250), spun, few, TABLES)
    assert not plan.can_be_drawn
    drawn = card("draw", yarn=plan)
    assert [(drawn.of(key).value, drawn.of(key).words) for key in ("ends", "draft")] == [
        (None, "none fits")
    ] * 2
    assert "1.14 × the ends" in drawn.of("draft").reason


def test_spindles_slow_down_with_the_rolls_so_that_soft_yarn_is_not_overtwisted():
    plan = yarn(plies=1, tex=625.0)
    spun = card("spin", yarn=plan)
    assert spun.of("roll_speed").value == 25
    assert spun.of("spindle_rpm").value < 1600
    assert "rolls give no more than 25 m/min" in spun.of("spindle_rpm").reason


def test_tender_fibre_slows_spindles_and_rolls_alike():
    sound, tender = (
        card("spin", fibre(soundness=s), yarn=yarn()) for s in (Soundness.SOUND, Soundness.TENDER)
    )
    for setting in ("spindle_rpm", "roll_speed"):
        assert tender.of(setting).value == pytest.approx(0.7 * sound.of(setting).value)


def test_the_mills_own_best_run_comes_first_and_the_usual_figure_is_told():
    own = OwnSetting("card", "feed", 62.0, "g per 0.5 m", "R014", "alpaca of 24.1 micron, rated 5")
    found = card("card", own=[own])
    first = found.suggestions[0]
    assert (first.setting, first.value, first.status, first.run) == ("feed", 62.0, Status.OWN, "R014")
    assert first.reason == "your run R014: alpaca of 24.1 micron, rated 5; usual would be 75 g per 0.5 m"
    assert card("pick", own=[own]).suggestions == card("pick").suggestions


def test_an_own_setting_in_another_unit_says_the_usual_one_with_its_unit():
    own = OwnSetting("card", "feed", 40.0, "g", "R015", "rated 5")
    feed = card("card", own=[own]).of("feed")
    assert (feed.low, feed.value, feed.high, feed.unit) == (None, 40, None, "g")
    assert feed.reason == "your run R015: rated 5; usual would be 75 g per 0.5 m"
    tender = card("card", fibre(soundness=Soundness.TENDER), own=[own]).of("feed")
    assert (tender.value, tender.unit) == (45, "g per 0.5 m")
    assert tender.reason.endswith("; run R015 had 40 g (rated 5)")


def test_an_own_run_that_was_too_hard_for_fragile_fibre_is_told_but_not_suggested():
    own = OwnSetting("pick", "beater", 850.0, "rpm", "R002", "rated 4")
    beater = card("pick", fibre(soundness=Soundness.TENDER), own=[own]).of("beater")
    assert beater.value == 450
    assert beater.reason.endswith("; run R002 had 850 turns/min (rated 4)")


def test_an_own_run_does_not_change_the_twist_of_a_wanted_yarn():
    own = OwnSetting("spin", "twist", 300.0, "tpm", "R003", "rated 5")
    twist = card("spin", yarn=yarn(), own=[own]).of("twist")
    assert twist.value == pytest.approx(163.4, abs=2)
    assert "run R003 had 300 turns/m (" in twist.reason


def test_what_own_runs_had_is_told_in_words_of_the_mill():
    own = [
        OwnSetting("spin", "roving", 2500.0, "tex", "R003", "rated 5"),
        OwnSetting("spin", "twist_way", None, "direction", "R003", "rated 5", "z"),
        OwnSetting("spin", "count", 212.0, "tex", "R003", "rated 5"),
        OwnSetting("spin", "room_rh", 0.71, "frac", "R003", "rated 5"),
    ]
    spun = card("spin", yarn=yarn(), own=own)
    assert "run R003 had 2.50 g/m (" in spun.of("roving").reason
    assert "run R003 had Z (" in spun.of("twist_way").reason
    assert "run R003 had 212 tex (" in spun.of("count").reason
    assert spun.of("room_rh").reason.endswith("usual would be 70\u202f%")


def test_the_feed_of_an_own_run_is_turned_to_the_roving_that_is_wanted():
    own = [
        OwnSetting("card", "feed", 55.0, "g", "N045", "rated 4"),
        OwnSetting("card", "roving", 3900.0, "tex", "N045", "rated 4"),
    ]
    carded = card("card", yarn=yarn(), own=own)
    wanted_tex = carded.of("roving").value
    assert carded.of("feed").value == pytest.approx(55 * wanted_tex / 3900)
    assert (carded.of("feed").unit, carded.of("feed").words) == ("g", "on each belt mark")
    assert "there 55 g gave 3.90 g/m, and" in carded.of("feed").reason
    assert "weigh a metre: the roving goes with the feed" in card("card", yarn=yarn()).of("feed").reason


def test_pinions_of_an_old_run_are_left_out_where_the_yarn_wants_others():
    own = [
        OwnSetting("spin", f"{what}_teeth", 36.0, "teeth", "R003", "rated 5") for what in ("draft", "twist")
    ]
    with_yarn, without = card("spin", yarn=yarn(), own=own), card("spin", own=own)
    assert with_yarn.of("draft_teeth") is None
    assert with_yarn.of("twist_teeth") is None
    assert without.of("draft_teeth").value == 36


def test_front_rolls_keep_step_with_the_spindles_of_an_own_run_up_to_their_cap():
    plain = card("spin", yarn=yarn())
    for own_rpm, rpm in ((2400.0, 2400.0), (3600.0, 3600.0), (9000.0, None)):
        own = OwnSetting("spin", "spindle_rpm", own_rpm, "rpm", "R004", "rated 5")
        found = card(
            "spin", yarn=yarn(), own=[own, OwnSetting("spin", "roll_speed", 9.0, "m_per_min", "R", "x")]
        )
        ratio = plain.of("roll_speed").value / plain.of("spindle_rpm").value
        assert found.of("roll_speed").value / found.of("spindle_rpm").value == pytest.approx(ratio)
        if rpm is not None:
            assert found.of("spindle_rpm").value == pytest.approx(rpm)
        else:
            assert found.of("roll_speed").value == 25
            assert found.of("spindle_rpm").value < 9000


def test_an_own_ratch_for_another_staple_is_told_but_not_suggested():
    near, far = (
        card("spin", own=[OwnSetting("spin", "ratch", mm, "mm", "R005", "rated 5")]).of("ratch")
        for mm in (150.0, 90.0)
    )
    assert (near.value, near.run) == (150, "R005")
    assert far.value == pytest.approx(163.4, abs=0.05)
    assert "run R005 had 90" in far.reason


def test_what_drawing_takes_is_told_in_ends_draft_and_passages():
    spun = one_fibre(diameter_um=24, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=95)
    frame = SpinMachine("frame", card_tex=4000.0, doublings=((4, 4),), rovings_tex=(2500.0,))
    plan = plan_yarn(YarnWish(434.78, 2), spun, frame, TABLES)
    drawn = card("draw", yarn=plan)
    assert (drawn.of("ends").value, drawn.of("ends").words) == (4, "4 then 4")
    assert drawn.of("draft").value == pytest.approx((16 * 4000 / 2500) ** 0.5)
    assert (drawn.of("passes").value, drawn.of("roving").value) == (2, 2500)


def test_a_skein_is_told_in_metres_and_turns_of_the_reel():
    skein = card("skein", machine=MachineLimits(reel_circumference_m=1.5), yarn=yarn(), piece_mass_g=100)
    assert skein.of("skein_length").value == pytest.approx(230, abs=0.01)
    assert skein.of("turns").value == 154


def test_singles_laid_together_without_twist_run_as_fast_as_the_rolls_go():
    spun = one_fibre(diameter_um=24, diameter_cv_frac=0.24, density_g_cm3=1.31, staple_mm=95)
    plan = plan_yarn(YarnWish(434.78, 2, ply_ratio=0.0), spun, SpinMachine("frame"), TABLES)
    plied = card("ply", yarn=plan)
    assert plied.of("twist").value == 0
    assert (plied.of("roll_speed").value, plied.of("spindle_rpm").value) == (25, 2000)


def test_a_fast_traveller_is_said():
    slow, fast = (
        card("spin", machine=MachineLimits(ring_mm=75, spindle_rpm=rpm), yarn=yarn()).of("spindle_rpm").reason
        for rpm in (3000, 4000)
    )
    assert slow.endswith("the traveller runs 12 m/s, within the 40 m/s of a lubricated ring")
    assert "16 m/s" in fast


@pytest.mark.parametrize("stage", SET_STAGES)
def test_every_card_carries_the_cautions_of_its_stage_and_says_it_only_suggests(stage):
    found = card(stage, yarn=yarn(), piece_mass_g=100)
    assert found.suggestions
    assert {one.hazard for one in found.cautions} == {
        row.hazard for row in TABLES.cautions.values() if row.stage == stage
    }
    assert found.note == SUGGEST_ONLY


def test_every_row_of_the_settings_table_can_come_up():
    """A row whose stage has no card, or whose word no fibre has, would never be read."""
    words = {"usual", "fine", "coarse", "short", "long_even", "low_crimp", "high_crimp", "fragile"}
    for key, row in TABLES.settings.items():
        assert row.stage in (*SET_STAGES, "any"), key
        assert row.applies in words, key
        assert row.effect != "times" or row.value, key
