"""A plan carries counts, settings and minutes, stage by stage, and the time of the whole order."""

import dataclasses
import json

import pytest

from doffer.fibre.content import Basis
from doffer.fibre.material import Constituent, Form
from doffer.planning.batch import plan_order
from doffer.planning.loads import Capacity
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain, to_plain
from doffer.planning.spec import BatchSpec, LotStart, MachineUse, MillWays, OrderSpec, Wish
from doffer.process.rates import MachineFigures
from doffer.process.settings.facts import MachineLimits, Soundness
from doffer.process.settings.own import OwnSetting
from doffer.process.yarn.draft import Gears
from doffer.process.yarn.limits import System
from doffer.process.yarn.plan import SpinMachine
from doffer.tables.loader import load_tables

TABLES = load_tables()
DK = Wish("yarn", plies=2, length_m_per_100g=230.0)
FRAME = SpinMachine("frame", gears=Gears(6, 25, constant=480, teeth=tuple(range(24, 61))), spindle_rpm=3000)


def lot(name, fibre="alpaca", grams=4000.0, *, form=Form.GREASY, **known):
    part = Constituent(name, fibre, 24.0, 0.24, 90.0, 0.25)
    return LotStart(part, form, grams, 0.15, "alpaca_huacaya", **known)


def ways(**changed):
    plain = MillWays(room_rh_frac=0.65, label_basis=Basis.EU_AGREED, promise_quantile=0.15, n_samples=200)
    return dataclasses.replace(plain, **({"frame": FRAME} | changed))


def planned(*lots, wish=DK, how=None):
    return plan_order(OrderSpec((BatchSpec("b", lots or (lot("L1"),), wish),), how or ways()), TABLES)


def stages(plan):
    return {stage.stage: stage for stage in plan.batches[0].stages}


def test_counts_go_from_roving_over_roller_and_bobbin_to_the_finished_yarn():
    plan = planned()
    made = {stage: [(c.what, c.tex) for c in one.counts] for stage, one in stages(plan).items() if one.counts}
    yarn = plan.batches[0].yarn
    assert [what for what, _ in made["spin"]] == ["front roll", "bobbin"]
    assert made["spin"] == [("front roll", yarn.roller.tex), ("bobbin", yarn.single.tex)]
    assert made["ply"] == [("plied", yarn.greige.tex)]
    assert made["set"] == made["skein"] == [("finished", yarn.obtained.tex)]
    assert made["draw"] == [("roving", yarn.draft.roving_tex)]
    assert yarn.finished.tex == pytest.approx(1e5 / 230)
    assert yarn.obtained.tex == pytest.approx(1e5 / 230, rel=0.02)
    assert "wash" not in made


def test_the_count_is_told_at_the_label_regain_of_the_blend():
    assert stages(planned())["set"].counts[0].regain_frac == pytest.approx(0.17)


def test_a_stage_carries_what_to_set_for_it_with_the_frames_gears():
    spun = {one.setting: one for one in stages(planned())["spin"].suggestions}
    assert spun["draft"].words.endswith("teeth")
    assert spun["twist"].value == planned().batches[0].yarn.single_twist.tpm
    assert {one.setting for one in stages(planned())["pick"].suggestions} == {"beater", "passes", "feed"}
    assert stages(planned())["wash"].suggestions == ()


def test_a_tender_lot_in_the_blend_makes_all_of_it_go_gently():
    beater = {
        word: next(
            one.value
            for one in stages(planned(lot("A"), lot("B", soundness=word)))["pick"].suggestions
            if one.setting == "beater"
        )
        for word in (Soundness.UNKNOWN, Soundness.TENDER)
    }
    assert beater == {Soundness.UNKNOWN: 700, Soundness.TENDER: 450}


def test_the_mills_own_best_settings_reach_the_stage():
    own = OwnSetting("card", "feed", 55.0, "g", "R009", "rated 5")
    first = stages(planned(how=ways(own_settings=(own,))))["card"].suggestions[0]
    assert (first.setting, first.value, first.run) == ("feed", 55, "R009")


def test_spinning_takes_its_metres_over_the_speed_of_the_frame():
    figures = MachineFigures(spindles=8, spindle_rpm=3000, efficiency_frac=0.75, setup_min=0)
    how = ways(machines={"spin": MachineUse("frame", 0, figures=figures)})
    plan = planned(how=how)
    spun, yarn = stages(plan)["spin"], plan.batches[0].yarn
    fed_dry_g = stages(plan)["draw"].dry.mean
    metres = fed_dry_g / yarn.single.fibre_dry_tex * 1000
    hours = metres / (8 * 3000 / yarn.single_twist.tpm * 60 * 0.75)
    minutes = spun.minutes
    work_min = minutes.run_min + minutes.doff_min + minutes.stops_min
    assert work_min / 60 == pytest.approx(hours, rel=1e-9)


def test_tender_fibre_spins_slower_and_takes_longer():
    spun = {
        word: stages(planned(lot("A", soundness=word)))["spin"].minutes
        for word in (Soundness.SOUND, Soundness.TENDER)
    }
    assert spun[Soundness.TENDER].run_min == pytest.approx(spun[Soundness.SOUND].run_min / 0.7)


def test_finer_yarn_from_the_same_fibre_takes_longer():
    fine = dataclasses.replace(DK, length_m_per_100g=450.0)
    slow, fast = (stages(planned(wish=wish))["spin"].minutes.total.p50 for wish in (fine, DK))
    assert slow > 2 * fast


def test_washing_counts_the_loads_of_the_plan():
    tub = MachineUse("tub", 0, Capacity(1500), MachineFigures(charge_min=100))
    wash = stages(planned(how=ways(machines={"wash": tub})))["wash"]
    assert wash.loads.count == 3
    assert (wash.minutes.charges, wash.minutes.run_min) == (3, 300)


def test_the_rate_of_a_tubs_record_says_how_long_its_loads_take():
    figures = MachineFigures(rates_kg_per_h={"camelid": 0.75})
    tub = MachineUse("tub", 0, Capacity(1500), figures)
    assert stages(planned(how=ways(machines={"wash": tub})))["wash"].minutes.run_min == pytest.approx(360)


def test_a_machine_is_cleaned_once_after_the_last_lot():
    plan = planned(lot("A"), lot("B"))
    washes = [one.minutes.clean_min for one in plan.batches[0].stages if one.stage == "wash"]
    assert washes == [0, 5]


def test_the_time_of_an_order_is_told_by_machine_with_hands_and_nights():
    """An ordinary order of 4 kg alpaca at the card: 12 to 16 hours of hands (common practice).

    Three of its nights pass whatever the queue: drying, resting, setting.
    """
    plan = planned(lot("L1", grams=6500.0))
    assert stages(plan)["card"].agreed.mean == pytest.approx(4100, abs=200)
    time = plan.time
    assert time == plan.batches[0].time
    assert [one.stage for one in time.machines] == [stage.stage for stage in plan.batches[0].stages]
    assert time.hands_on_min == pytest.approx(sum(one.hands_on_min for one in time.machines))
    assert 12 * 60 < time.hands_on_min < 16 * 60
    assert time.nights == 3
    assert time.total.p50 == pytest.approx(sum(s.minutes.total.p50 for s in plan.batches[0].stages))
    assert time.total.p85 > time.total.p50
    assert time.not_known == ()


def test_two_batches_share_their_machines():
    both = plan_order(
        OrderSpec((BatchSpec("a", (lot("A"),), DK), BatchSpec("b", (lot("B"),), DK)), ways()), TABLES
    )
    one = both.batches[0].time
    assert len(both.time.machines) == len(one.machines)
    assert both.time.hands_on_min == pytest.approx(sum(batch.time.hands_on_min for batch in both.batches))
    assert both.time.nights == 6


def test_roving_without_a_count_has_minutes_and_settings_but_no_yarn():
    plan = planned(wish=Wish("roving"))
    assert plan.batches[0].yarn is None
    assert plan.batches[0].yarn_refused == ""
    assert stages(plan)["card"].minutes.run_min > 0
    assert stages(plan)["card"].suggestions
    assert stages(plan)["card"].counts == ()


def test_a_yarn_that_cannot_be_planned_says_why_and_the_rest_stands():
    plan = planned(wish=dataclasses.replace(DK, length_m_per_100g=3.0e7))
    batch = plan.batches[0]
    assert batch.yarn is None or batch.yarn.verdict == "no"
    assert batch.finished.mean > 0
    assert stages(plan)["spin"].minutes.is_known


def test_whether_a_yarn_can_be_spun_is_judged_on_the_mills_own_frame():
    lace = dataclasses.replace(DK, length_m_per_100g=800.0)
    woollen = dataclasses.replace(FRAME, system=System.WOOLLEN)
    said = {
        frame.system: [
            w for w in planned(wish=lace, how=ways(frame=frame)).batches[0].warnings if "spun" in w
        ]
        for frame in (FRAME, woollen)
    }
    assert said[System.SEMI_WORSTED] == []
    assert said[System.WOOLLEN][0].startswith("This cannot be spun woollen: a single has about ")


def test_a_plan_with_counts_settings_and_minutes_is_kept_and_read_back():
    limits = MachineLimits("picker", beater_steps_rpm=(450.0, 650.0, 900.0))
    how = ways(machines={"pick": MachineUse("picker", 40, limits=limits)})
    spec = OrderSpec((BatchSpec("b", (lot("L1", soundness=Soundness.SOUND),), DK),), how)
    assert from_plain(OrderSpec, json.loads(json.dumps(to_plain(spec)))) == spec
    plan = plan_order(spec, TABLES)
    again = from_plain(OrderPlan, json.loads(json.dumps(to_plain(plan))))
    assert again == plan
    assert again.batches[0].yarn.single_twist.direction is plan.batches[0].yarn.single_twist.direction


def test_a_plan_kept_before_there_were_counts_and_minutes_still_loads():
    plain = json.loads(json.dumps(to_plain(planned())))
    del plain["time"]
    for batch in plain["batches"]:
        for name in ("yarn", "yarn_refused", "time"):
            del batch[name]
        for stage in batch["stages"]:
            for name in ("counts", "suggestions", "minutes"):
                del stage[name]
    old = from_plain(OrderPlan, plain)
    assert (old.time, old.batches[0].yarn, old.batches[0].stages[0].minutes) == (None, None, None)
    assert old.batches[0].finished == planned().batches[0].finished
