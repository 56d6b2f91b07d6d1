"""Records of yarn as the sciences ask for them."""

from dataclasses import replace

import pytest

from doffer.errors import InputError
from doffer.mill import bridge
from doffer.mill.commands.yarn_settings import MachineSettingFacts, record_machine_setting
from doffer.mill.commands.yarn_tests import correct_yarn_test, record_lot_fibre, record_yarn_test
from doffer.mill.fibre_facts import LotFibreFacts
from doffer.mill.frames import Times, figures_of, limits_of
from doffer.mill.queries.own_settings import own_settings
from doffer.mill.queries.yarn import best_settings, machine_settings, yarn_tests
from doffer.mill.queries.yarn_inputs import yarn_inputs
from doffer.mill.queries.yarn_records import (
    crimp_of,
    fibre_facts,
    first_metres,
)
from doffer.mill.yarn_facts import Turns, YarnTestFacts
from doffer.planning.yarn.first_metres import correct_from_first_metres
from doffer.process.settings.facts import Crimp, Soundness
from doffer.process.settings.own import own_first
from doffer.process.yarn.basis import State
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.wish import YarnWish

pytestmark = pytest.mark.django_db


def test_limits_of_machines_are_their_settings(demo_mill):
    picker, drafter, frame = (limits_of(machine_settings(code)) for code in ("PIC", "DRW", "SPN"))
    assert picker.beater_steps_rpm == (450, 650, 900)
    assert (drafter.most_ends, drafter.ratch_low_mm, drafter.ratch_high_mm) == (6, 110, 240)
    assert (frame.spindle_rpm, frame.most_spindle_rpm, frame.roll_speed_cap_m_per_min) == (3000, 4500, 25)
    assert (frame.ring_mm, frame.beater_steps_rpm, frame.most_ends) == (None, (), None)
    assert limits_of(machine_settings("SKN")).reel_circumference_m == 1.52


def test_a_drafter_draws_what_somebody_said_of_it(demo_mill):
    assert yarn_inputs(lots=["L006"]).spin_machine.drafter_window == (4, 8)
    record_machine_setting(
        demo_mill.owner, "DRW", MachineSettingFacts(key="draft_window", values=(4, 6), known="maker")
    )
    assert yarn_inputs(lots=["L006"]).spin_machine.drafter_window == (4, 6)


def test_figures_of_a_frame_take_the_mills_own_efficiency_and_breaks(demo_mill):
    frame = figures_of(machine_settings("SPN"), Times({}, setup_min=25), breaks_per_spindle_h=0.4)
    assert (frame.spindles, frame.efficiency_frac, frame.bobbin_mass_g, frame.doff_min) == (8, 0.8, 150, None)
    assert (frame.breaks_per_spindle_h, frame.setup_min) == (0.4, 25)
    (best, *_) = best_settings("spin", fibre="wool", diameter_um=24.5)
    assert best.breaks_per_spindle_h == pytest.approx(4 / 9)
    # the plyer's efficiency is only the usual one: it is reckoned from doffing instead
    assert figures_of(machine_settings("PLY")).efficiency_frac is None


def test_own_settings_come_before_the_tables(demo_mill):
    own = own_settings(bridge.current_tables(), fibre="wool", diameter_um=24.5, stages=("card", "spin"))
    rpm = [one for one in own if one.setting == "spindle_rpm"]
    assert [(one.stage, one.value, one.unit) for one in rpm] == [("spin", 3000, "rpm")] * 2
    assert rpm[0].because == "wool of 23.9 micron, 2.5 breaks a kg, rated 5"
    way = next(one for one in own if one.setting == "twist_way")
    assert (way.value, way.words) == (None, "z")
    suggested = own_first("spin", {}, own)
    assert suggested["spindle_rpm"].run == rpm[0].run
    assert suggested["draft_teeth"].value == 36


def test_facts_of_the_fibre_carry_what_was_found(demo_mill):
    facts = fibre_facts(yarn_inputs(lots=["L005"]))
    assert (facts.soundness, facts.strength_n_per_ktex) == (Soundness.TENDER, 24)
    shetland = fibre_facts(yarn_inputs(lots=["L006"]))
    assert (shetland.crimp, shetland.parts[0].lot.staple_cv_frac) == (Crimp.HIGH, 0.2)
    assert fibre_facts(yarn_inputs(lots=["L001"])).crimp is Crimp.LOW


def test_crimp_counts_where_most_of_the_fibre_was_counted(small_mill):
    (part,) = yarn_inputs(lots=["L005"]).parts

    def of(*crimps):
        return crimp_of(
            [replace(part, share_frac=share, crimps_per_cm=crimp) for share, crimp in crimps],
            small_mill.tables,
        )

    assert of((0.6, 2.0), (0.4, None)) is Crimp.LOW
    assert of((0.4, 4.0), (0.6, None)) is Crimp.UNKNOWN
    assert of((0.6, 4.0), (0.4, 1.0)) is Crimp.HIGH
    assert of((1.0, 3.0)) is Crimp.UNKNOWN


def keep(mill, **facts):
    return record_yarn_test(mill.floor, YarnTestFacts(**{"state": "bobbin", **facts}), lot="L005")


def test_tests_of_one_yarn_are_told_to_the_plan_together(small_mill):
    keep(small_mill, masses_g=(2.0, 2.1), actual_regain_frac=0.15, back=Turns(length_mm=500, turns=(26,)))
    keep(small_mill, masses_g=(2.2,), actual_regain_frac=0.15, single=Turns(length_mm=250, turns=(40, 41)))
    keep(small_mill, state="plied", plies=2, before_mm=(10_000,), after_mm=(9_600,))
    first = first_metres(yarn_tests(lot="L005").rows)
    assert (first.weighed_g, first.reeled_m, first.state) == ((2.0, 2.1, 2.2), 10, State.BOBBIN)
    assert first.room_regain_frac == 0.15
    assert (first.turns_tpm, first.ply_back_tpm) == ((160, 164), (52,))
    assert first.washed == ((10_000, 9_600),)


def test_weights_of_another_state_length_or_water_are_never_joined(small_mill):
    keep(small_mill, masses_g=(2.0,))
    keep(small_mill, masses_g=(1.0,), length_m=5)
    keep(small_mill, masses_g=(4.2, 4.3), state="plied", plies=2)
    assert first_metres(yarn_tests(lot="L005").rows).weighed_g == (4.2, 4.3)
    keep(small_mill, masses_g=(2.05,))
    first = first_metres(yarn_tests(lot="L005").rows)
    assert (first.weighed_g, first.state) == ((2.0, 2.05), State.BOBBIN)


def test_a_corrected_test_is_left_out(small_mill):
    wrong = keep(small_mill, masses_g=(2.0,))
    correct_yarn_test(
        small_mill.owner, wrong, YarnTestFacts(state="bobbin", masses_g=(2.4,)), reason="misread"
    )
    assert first_metres(yarn_tests(lot="L005").rows).weighed_g == (2.4,)
    with pytest.raises(InputError, match="lengths weighed, untwisted, washed or plied back"):
        first_metres(())


def test_first_metres_of_the_records_correct_a_plan(small_mill):
    record_machine_setting(
        small_mill.owner, "SPI1", MachineSettingFacts(key="roving_weights", values=(2500,))
    )
    record_lot_fibre(small_mill.floor, "L005", LotFibreFacts(crimps_per_cm=3))
    inputs = yarn_inputs(lots=["L005"])
    plan = plan_yarn(YarnWish(finished_tex=435), inputs.fibre, inputs.spin_machine, inputs.tables)
    heavy_g = plan.single.tex * 1.1 / 100
    keep(small_mill, masses_g=(heavy_g, heavy_g * 1.002, heavy_g * 0.998, heavy_g * 1.001))
    done = correct_from_first_metres(plan, first_metres(yarn_tests(lot="L005").rows), inputs.tables)
    assert done.changes_draft
    assert done.draft.draft == pytest.approx(plan.draft.draft * 1.1, rel=0.02)


def test_nobody_described_means_usual_figures(small_mill):
    frame = machine_settings("SPI1")
    assert limits_of(frame).spindle_rpm == 3000
    assert (figures_of(frame).efficiency_frac, figures_of(frame).spindles) == (None, 8)


def test_the_inputs_of_a_plan_carry_machines_and_own_settings(demo_mill):
    ways = yarn_inputs(order="O201", batch="fawn").plan.ways
    assert ways.machines["spin"].figures.spindles == 8
    assert ways.machines["pick"].limits.beater_steps_rpm == (450, 650, 900)
    assert ways.machines["card"].figures.clean_dark_to_light_min == 90
    assert ways.frame.gears.constant == 480
    assert ways.own_settings == ()  # no alpaca was run with its settings told
    wool = yarn_inputs(lots=["L006"]).plan.ways.own_settings
    assert {one.stage for one in wool} == {"pick", "card", "spin"}


def test_a_joined_lot_is_as_weak_as_its_weakest_part(demo_mill):
    assert bridge.weakest(["sound", "tender", "unknown"]) is Soundness.TENDER
    assert yarn_inputs(lots=["L005"]).plan.lots[0].start.soundness is Soundness.TENDER
