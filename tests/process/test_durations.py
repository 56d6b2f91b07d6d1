"""Minutes of a stage: the parts they are made of, what comes first, and laws."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.durations import (
    CleanDown,
    Minutes,
    StageWork,
    learn_strayed,
    stage_minutes,
    summed,
)
from doffer.process.rates import FibreGroup, MachineFigures
from doffer.tables.loader import load_tables

TABLES = load_tables()
PLAIN = MachineFigures()
SOCK_FRAME = MachineFigures(spindles=8, spindle_rpm=3000, efficiency_frac=0.8, setup_min=0)
CAMELID = frozenset({FibreGroup.CAMELID})


def test_six_kilograms_of_sock_singles_take_21_hours():
    work = StageWork("spin", 6000, count_tex=76.1, twist_tpm=310)
    minutes = stage_minutes(work, SOCK_FRAME, TABLES)
    assert minutes.rate_kg_per_h == pytest.approx(0.283, abs=0.0005)
    assert minutes.total.p50 / 60 == pytest.approx(21.2, abs=0.05)
    assert minutes.run_min / 60 == pytest.approx(21.2 * 0.8, abs=0.05)
    assert minutes.doffs == 5


def test_doffing_and_stops_are_what_the_spindles_do_not_turn():
    minutes = stage_minutes(StageWork("spin", 6000, count_tex=76.1, twist_tpm=310), SOCK_FRAME, TABLES)
    stopped = minutes.doff_min + minutes.stops_min
    assert stopped == pytest.approx((minutes.run_min + stopped) * 0.2)
    assert minutes.doff_min == pytest.approx(8 * 6000 / (8 * 150), rel=0.01)


def test_a_card_takes_its_weight_its_setting_up_its_emptying_and_its_cleaning():
    work = StageWork("card", 4000, groups=CAMELID, held_mass_g=60, clean=CleanDown.DARK_TO_LIGHT)
    minutes = stage_minutes(work, PLAIN, TABLES)
    assert (minutes.setup_min, minutes.run_min, minutes.clean_min) == (15, 120, 90)
    assert minutes.empty_min == pytest.approx(0.060 / 2.0 * 60)
    assert minutes.total.p50 == pytest.approx(15 + 120 + 1.8 + 90)
    assert minutes.hands_on_min == pytest.approx(15 + 90 + 121.8 * 0.9)


def test_cleaning_is_shorter_from_light_to_dark():
    took = [
        stage_minutes(StageWork("card", 1000, clean=clean), PLAIN, TABLES).clean_min for clean in CleanDown
    ]
    assert dict(zip(CleanDown, took, strict=True)) == {
        CleanDown.NONE: 0,
        CleanDown.NEW_OWNER: 15,
        CleanDown.LIGHT_TO_DARK: 15,
        CleanDown.DARK_TO_LIGHT: 90,
    }
    own = MachineFigures(clean_dark_to_light_min=40)
    dark = StageWork("card", 1000, clean=CleanDown.DARK_TO_LIGHT)
    assert stage_minutes(dark, own, TABLES).clean_min == 40


def test_tubs_count_in_charges_and_a_half_full_one_takes_as_long():
    tub = MachineFigures(charge_mass_g=3500)
    half, full, over = (
        stage_minutes(StageWork("wash", grams, groups=CAMELID), tub, TABLES) for grams in (1750, 3500, 3600)
    )
    assert (half.charges, full.charges, over.charges) == (1, 1, 2)
    assert half.run_min == full.run_min == 192
    assert over.run_min == 384


def test_the_rate_of_the_tubs_own_record_says_how_long_a_charge_takes():
    tub = MachineFigures(charge_mass_g=3500, rates_kg_per_h={"wool": 1.75, "camelid": 1.1})
    assert stage_minutes(StageWork("wash", 3000), tub, TABLES).run_min == pytest.approx(120)
    camelid = stage_minutes(StageWork("wash", 3000, groups=CAMELID), tub, TABLES)
    assert camelid.run_min == pytest.approx(3.5 / 1.1 * 60)
    timed = dataclasses.replace(tub, charge_min=100)
    assert stage_minutes(StageWork("wash", 3000), timed, TABLES).run_min == 100


def test_the_plan_may_say_how_many_charges_there_are():
    assert stage_minutes(StageWork("wash", 3000, charges=3), PLAIN, TABLES).run_min == 360


def test_drying_resting_and_setting_each_take_a_night_and_hardly_any_hands():
    nights = {
        stage: stage_minutes(StageWork(stage, 3000), PLAIN, TABLES).nights
        for stage in ("dry", "rest", "set", "wash", "card")
    }
    assert nights == {"dry": 1, "rest": 1, "set": 1, "wash": 0, "card": 0}
    setting = stage_minutes(StageWork("set", 3000), PLAIN, TABLES)
    assert (setting.run_min, setting.alone_min) == (60, 840)
    assert setting.hands_on_min == pytest.approx(10 + 0.3 * 60)


def test_passes_multiply_the_work_but_not_the_setting_up():
    one, two = (stage_minutes(StageWork("draw", 4000, passes=n), PLAIN, TABLES) for n in (1, 2))
    assert two.run_min == 2 * one.run_min
    assert two.setup_min == one.setup_min == 10


def test_a_frame_whose_count_nobody_named_runs_at_the_usual_rate():
    minutes = stage_minutes(StageWork("spin", 4000), PLAIN, TABLES)
    assert minutes.rate_kg_per_h == 0.5
    assert minutes.run_min == pytest.approx(480)


def test_a_machine_of_no_known_rate_says_so_and_counts_nothing():
    minutes = stage_minutes(StageWork("dehair", 4000, groups=frozenset({FibreGroup.ANGORA})), PLAIN, TABLES)
    assert (minutes.is_known, minutes.run_min) == (False, 0)
    assert stage_minutes(StageWork("dehair", 4000), PLAIN, TABLES).is_known


def test_what_is_promised_is_later_than_what_is_likely_and_follows_own_runs():
    plain = stage_minutes(StageWork("draw", 5000), PLAIN, TABLES)
    assert plain.total.p85 == pytest.approx(plain.total.p50 * math.exp(1.03643 * 0.25), rel=1e-4)
    slower = learn_strayed([1.5] * 16, stage="draw", tables=TABLES)
    assert slower.ln_mean == pytest.approx(math.log(1.5) * 16 / 20)
    learned = stage_minutes(StageWork("draw", 5000), PLAIN, TABLES, strayed=slower)
    assert learned.total.p50 == pytest.approx(plain.total.p50 * 1.5**0.8)
    assert slower.ln_sd < 0.25


def test_without_own_runs_the_shipped_spread_counts():
    none = learn_strayed((), stage="card", tables=TABLES)
    assert (none.ln_mean, none.runs) == (0, 0)
    assert none.ln_sd == pytest.approx(0.3)
    with pytest.raises(InputError, match="above zero"):
        learn_strayed([1.0, 0.0], stage="card", tables=TABLES)


def test_stages_that_stray_by_themselves_are_surer_together():
    parts = [Minutes(100, 130)] * 9
    together = summed(parts, TABLES)
    assert together.p50 == pytest.approx(900)
    assert 900 < together.p85 < 9 * 130
    assert together.p85 / 900 - 1 < 0.6 * 0.3
    assert summed([Minutes(100, 130), Minutes(0, 0)], TABLES).p85 == pytest.approx(130)
    assert summed([], TABLES) == Minutes(0, 0)


def test_every_minute_of_the_total_is_one_of_its_parts():
    work = StageWork("spin", 4000, count_tex=210, twist_tpm=163, held_mass_g=64, clean=CleanDown.NEW_OWNER)
    minutes = stage_minutes(work, PLAIN, TABLES)
    assert minutes.total.p50 == pytest.approx(minutes.machine_min + minutes.alone_min)
    assert minutes.working.result.value == pytest.approx(minutes.total.p50)
    assert minutes.empty_min > 0


@given(
    stage=st.sampled_from(["skirt", "wash", "dry", "pick", "card", "draw", "spin", "ply", "set", "skein"]),
    grams=st.floats(0, 30_000),
    more=st.floats(0, 20_000),
)
def test_more_fibre_never_takes_less_time(stage, grams, more):
    less, longer = (
        stage_minutes(StageWork(stage, g, count_tex=150.0, twist_tpm=200.0), PLAIN, TABLES).total
        for g in (grams, grams + more)
    )
    assert less.p50 <= longer.p50 * (1 + 1e-9)
    assert less.p85 <= longer.p85 * (1 + 1e-9)


@given(twist=st.floats(40, 800), more=st.floats(1, 3), tex=st.floats(30, 900))
def test_more_twist_never_spins_sooner(twist, more, tex):
    loose, tight = (
        stage_minutes(StageWork("spin", 5000, count_tex=tex, twist_tpm=t), PLAIN, TABLES).total.p50
        for t in (twist, twist * more)
    )
    assert loose <= tight * (1 + 1e-9)
