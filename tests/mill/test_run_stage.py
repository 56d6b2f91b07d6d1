"""Runs: numbers of lots, owners, yields, parents."""

import uuid

import pytest

from doffer.errors import ConflictError, InputError, RefusedError
from doffer.mill import bridge
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.holds import clear_hold, open_hold
from doffer.mill.commands.intake import check_for_pests
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.run_stage import (
    RunFacts,
    RunIn,
    RunOut,
    RunWasteRow,
    begin_run,
    finish_run,
    record_run,
)
from doffer.mill.commands.weigh import correct_weighing
from doffer.mill.models import Lot, LotPart, Run, RunInput
from doffer.mill.queries.ancestry import ancestry
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.runs import expected_out, part_of

pytestmark = pytest.mark.django_db
WATER = 0.15


def weighed(dry_g: float) -> Reading:
    return Reading(gross_g=dry_g * (1 + WATER), branch="measured", measured_regain_frac=WATER)


def into(lot: str, dry_g: float, **more: object) -> RunIn:
    return RunIn(lot=lot, reading=weighed(dry_g), **more)


def out(dry_g: float, **more: object) -> RunOut:
    return RunOut(reading=weighed(dry_g), **more)


@pytest.fixture
def washed(small_mill):
    """The four farm lots are washed: 2400 and 1900 g wool, 2000 and 2100 g alpaca, oven-dry."""
    for lot, raw_g, dry_g in (
        ("L001", 4000, 2400),
        ("L002", 3000, 1900),
        ("L003", 2700, 2000),
        ("L004", 2850, 2100),
    ):
        record_run(
            small_mill.floor,
            RunFacts(stage="wash"),
            inputs=[RunIn(lot=lot, reading=Reading(gross_g=raw_g))],
            outputs=[out(dry_g)],
        )
    return small_mill


def test_a_lot_taken_whole_keeps_its_number_through_a_stage(washed):
    done = record_run(washed.floor, RunFacts(stage="pick"), inputs=[into("L001", 2400)], outputs=[out(2350)])
    assert (done.outputs[0].lot, done.outputs[0].is_new) == ("L001", False)
    assert done.recovery_frac == pytest.approx(2350 / 2400, abs=1e-6)
    row = one_lot("L001").row
    assert (row.form, row.place, row.dry_mass_g) == ("opened", "pick", pytest.approx(2350, abs=0.001))


def test_a_join_gives_a_new_number_with_its_parents(washed):
    done = record_run(
        washed.floor,
        RunFacts(stage="pick"),
        inputs=[into("L001", 2400), into("L002", 1600)],
        outputs=[out(3900)],
    )
    new = done.outputs[0].lot
    assert new == "B001"
    parts = {part.lot: part.share_frac for part in one_lot(new).parts}
    assert parts == {"L001": pytest.approx(0.6, abs=1e-6), "L002": pytest.approx(0.4, abs=1e-6)}
    assert one_lot(new).row.owner == washed.moss
    assert one_lot("L001").row.mass_g == 0
    assert one_lot("L002").row.dry_mass_g == pytest.approx(300, abs=0.001)


def test_shares_go_through_a_second_join_to_the_door_lots(washed):
    first = record_run(
        washed.floor,
        RunFacts(stage="pick"),
        inputs=[into("L001", 1000), into("L002", 1000)],
        outputs=[out(2000)],
    )
    second = record_run(
        washed.floor,
        RunFacts(stage="pick"),
        inputs=[into(first.outputs[0].lot, 2000), into("L001", 1000)],
        outputs=[out(3000)],
    )
    parts = {part.lot: part.share_frac for part in one_lot(second.outputs[0].lot).parts}
    assert parts == {"L001": pytest.approx(2 / 3, abs=1e-5), "L002": pytest.approx(1 / 3, abs=1e-5)}
    assert sum(p.share_ppm for p in LotPart.objects.filter(lot__code=second.outputs[0].lot)) == pytest.approx(
        1e6, abs=2
    )


def test_a_split_gives_each_output_a_number(washed):
    done = record_run(
        washed.floor, RunFacts(stage="card"), inputs=[into("L001", 2400)], outputs=[out(1200), out(1000)]
    )
    assert [item.lot for item in done.outputs] == ["R001", "R002"]
    assert all(item.is_new for item in done.outputs)
    assert one_lot("R002").parts[0].lot == "L001"


def test_part_of_a_lot_leaves_the_rest_under_its_old_number(washed):
    done = record_run(washed.floor, RunFacts(stage="card"), inputs=[into("L001", 600)], outputs=[out(550)])
    assert done.outputs[0].lot == "R001"
    assert one_lot("L001").row.dry_mass_g == pytest.approx(1800, abs=0.001)


def test_lots_of_two_owners_are_never_joined_silently(washed):
    before = Run.objects.count()
    with pytest.raises(RefusedError) as caught:
        record_run(
            washed.owner,
            RunFacts(stage="pick"),
            inputs=[into("L001", 2400), into("L003", 2000)],
            outputs=[out(4300)],
            confirmation="it is fine",
        )
    assert "L001 belongs to Moss Edge Farm; L003 belongs to Fern Bank Alpacas" in str(caught.value)
    assert Run.objects.count() == before
    assert one_lot("L001").row.dry_mass_g == pytest.approx(2400, abs=0.001)


def test_the_mills_own_fibre_is_somebody_elses_too(washed):
    with pytest.raises(RefusedError, match="Fibre of two owners is not joined"):
        record_run(
            washed.floor,
            RunFacts(stage="pick"),
            inputs=[into("L001", 2400), into("L005", 1000)],
            outputs=[out(3300)],
        )


def test_a_named_decision_lets_two_owners_be_joined(washed):
    decision = decide_join(washed.office, lots=["L001", "L003"], consent="Tilly and Rupert by phone")
    done = record_run(
        washed.floor,
        RunFacts(stage="pick", join_decision=decision),
        inputs=[into("L001", 2400), into("L003", 2000)],
        outputs=[out(4300, customer=washed.moss)],
    )
    assert one_lot(done.outputs[0].lot).row.owner == washed.moss
    assert {part.owner for part in one_lot(done.outputs[0].lot).parts} == {washed.moss, washed.fern}
    assert Run.objects.get(code=done.run).join_decision_id == decision


def test_a_decision_counts_only_for_the_lots_it_names(washed):
    decision = decide_join(washed.office, lots=["L001", "L003"], consent="Tilly and Rupert by phone")
    with pytest.raises(RefusedError, match="no decision names L004"):
        record_run(
            washed.floor,
            RunFacts(stage="pick", join_decision=decision),
            inputs=[into("L001", 2400), into("L004", 2000)],
            outputs=[out(4300, customer=washed.moss)],
        )


def test_the_floor_does_not_decide_joins_and_consent_is_not_empty(washed):
    with pytest.raises(RefusedError, match="Flo may not decide"):
        decide_join(washed.floor, lots=["L001", "L003"], consent="they said yes")
    with pytest.raises(InputError, match="consent"):
        decide_join(washed.office, lots=["L001", "L003"], consent=" ")


def test_whose_the_outcome_is_must_be_said_when_two_farms_were_joined(washed):
    decision = decide_join(washed.office, lots=["L001", "L003"], consent="both by letter")
    with pytest.raises(InputError, match="owner of what comes out is missing"):
        record_run(
            washed.floor,
            RunFacts(stage="pick", join_decision=decision),
            inputs=[into("L001", 2400), into("L003", 2000)],
            outputs=[out(4300)],
        )


def test_more_dry_fibre_out_than_in_is_asked_about_and_nothing_is_kept(washed):
    with pytest.raises(
        QuestionError, match=r"Card cannot make fibre: 2976 g dry came out of 2400 g dry, 124\.0%"
    ):
        record_run(washed.floor, RunFacts(stage="card"), inputs=[into("L001", 2400)], outputs=[out(2976)])
    assert one_lot("L001").row.form == "scoured"
    done = record_run(
        washed.floor,
        RunFacts(stage="card"),
        inputs=[into("L001", 2400)],
        outputs=[out(2976)],
        confirmation="kept sample compared by Ada and Flo",
    )
    assert done.recovery_frac == pytest.approx(1.24, abs=1e-6)
    assert Run.objects.get(code=done.run).confirmation.startswith("kept sample")


def test_a_wet_weight_is_not_a_mistake(washed):
    wet = Reading(gross_g=6_000, branch="wet")
    done = record_run(
        washed.floor, RunFacts(stage="dye"), inputs=[into("L001", 2400)], outputs=[RunOut(reading=wet)]
    )
    assert done.recovery_frac is None
    assert one_lot("L001").row.mass_g == 6_000


def test_more_of_a_lot_than_there_was_is_asked_about(washed):
    with pytest.raises(QuestionError, match="L001 is heavier than it was"):
        begin_run(washed.floor, RunFacts(stage="pick"), [into("L001", 3200)])


def test_a_run_begins_and_ends_in_two_acts(washed):
    run = begin_run(washed.floor, RunFacts(stage="card", cleaned_before="yes"), [into("L001", 2400)])
    assert Run.objects.get(code=run).ended_at is None
    assert one_lot("L001").row.mass_g == 0
    done = finish_run(
        washed.floor, run, outputs=[out(2200)], wastes=[RunWasteRow(kind="card waste", mass_g=150)]
    )
    assert (done.outputs[0].lot, done.outputs[0].is_new) == ("L001", False)
    with pytest.raises(ConflictError, match="has ended already"):
        finish_run(washed.floor, run, outputs=[out(2200)])


def test_a_run_sent_twice_is_kept_once(washed):
    key = uuid.uuid4()
    send = {"inputs": [into("L001", 2400)], "outputs": [out(2200)], "key": key}
    first = record_run(washed.floor, RunFacts(stage="card"), **send)
    assert record_run(washed.floor, RunFacts(stage="card"), **send) == first
    assert Run.objects.filter(stage="card").count() == 1
    with pytest.raises(ConflictError):
        record_run(washed.floor, RunFacts(stage="draw"), **send)


def test_held_fibre_does_not_run_until_a_named_person_clears_it(washed):
    hold = check_for_pests(washed.floor, "L001", seen="suspect", note="webbing in the neck wool")
    with pytest.raises(RefusedError, match="L001 is on hold, quarantine: webbing"):
        record_run(washed.floor, RunFacts(stage="pick"), inputs=[into("L001", 2400)], outputs=[out(2300)])
    with pytest.raises(RefusedError, match="may not clear a hold"):
        clear_hold(washed.floor, hold, clearance="looks fine")
    clear_hold(washed.office, hold, clearance="frozen 14 days, looked at again")
    record_run(washed.floor, RunFacts(stage="pick"), inputs=[into("L001", 2400)], outputs=[out(2300)])
    assert one_lot("L001").holds[0].cleared_by == "Otto"


def test_an_unpaid_owner_does_not_stop_the_machines(washed):
    open_hold(washed.office, kind="unpaid", customer=washed.moss, reason="invoice open")
    record_run(washed.floor, RunFacts(stage="pick"), inputs=[into("L001", 2400)], outputs=[out(2300)])
    assert one_lot("L001").row.is_held


def test_the_ancestry_closes_on_dry_fibre(washed):
    run = record_run(
        washed.floor,
        RunFacts(stage="pick", machine="PIC1"),
        inputs=[into("L001", 2400), into("L002", 1600)],
        outputs=[out(3900)],
        wastes=[RunWasteRow(kind="dust", mass_g=69, measured_regain_frac=WATER)],
    )
    picture = ancestry("L002")
    node = next(node for node in picture.runs if node.code == run.run)
    assert (node.stage, node.machine) == ("pick", "picker and bin")
    assert node.dry_in_g - node.dry_out_g - node.dry_waste_g == pytest.approx(node.unseen_loss_g)
    assert node.unseen_loss_g == pytest.approx(40, abs=0.01)
    assert {lot.code for lot in picture.lots} == {"L002", "B001", "L001"}
    assert [(e.lot, e.into) for e in picture.edges if e.run == run.run] == [
        ("L001", True),
        ("L002", True),
        ("B001", False),
    ]


def test_a_blend_says_no_breed_when_its_parts_differ_and_mixes_their_fineness(washed):
    decision = decide_join(washed.office, lots=["L001", "L003"], consent="both")
    Lot.objects.filter(code__in=["L001", "L003"]).update(diameter_sd_nm=5000)
    done = record_run(
        washed.floor,
        RunFacts(stage="pick", join_decision=decision),
        inputs=[into("L001", 2000, rest_g=400), into("L003", 2000)],
        outputs=[out(3900, customer=washed.moss)],
    )
    blend = one_lot(done.outputs[0].lot)
    assert blend.diameter_um == pytest.approx((24.0 + 23.1) / 2, abs=0.001)
    assert blend.diameter_sd_um == pytest.approx((25 + 0.45**2) ** 0.5, abs=0.001)
    assert blend.row.breed == ""


def test_a_corrected_weighing_corrects_its_run_and_the_lot(washed):
    run = record_run(washed.floor, RunFacts(stage="card"), inputs=[into("L001", 2400)], outputs=[out(1200)])
    correct_weighing(
        washed.floor, run.outputs[0].weighing_id, reading=weighed(2200), reason="second can forgotten"
    )
    node = next(node for node in ancestry("L001").runs if node.code == run.run)
    assert (node.dry_in_g, node.dry_out_g) == (pytest.approx(2400, abs=0.001), pytest.approx(2200, abs=0.001))
    assert one_lot("L001").row.dry_mass_g == pytest.approx(2200, abs=0.001)


def test_a_corrected_part_corrects_what_stayed_behind(washed):
    run = record_run(washed.floor, RunFacts(stage="card"), inputs=[into("L001", 600)], outputs=[out(550)])
    went_in = Run.objects.get(code=run.run).inputs.get().weighing_id
    correct_weighing(washed.floor, went_in, reading=weighed(800), reason="read the wrong line")
    assert one_lot("L001").row.dry_mass_g == pytest.approx(1600, abs=0.01)


def test_an_older_weighing_is_corrected_without_moving_the_lot(washed):
    intake = one_lot("L001").weighings[-1].id
    correct_weighing(washed.floor, intake, reading=Reading(gross_g=4_100), reason="tare of another bag")
    assert one_lot("L001").row.dry_mass_g == pytest.approx(2400, abs=0.001)


def test_a_corrected_weighing_corrects_the_parts_of_everything_made_from_it(washed):
    joined = record_run(
        washed.floor,
        RunFacts(stage="pick"),
        inputs=[into("L001", 1000), into("L002", 1000)],
        outputs=[out(1950)],
    )
    roving = record_run(
        washed.floor,
        RunFacts(stage="card"),
        inputs=[into(joined.outputs[0].lot, 1950)],
        outputs=[out(900), out(900)],
    )
    wrong = Run.objects.get(code=joined.run).inputs.get(lot__code="L002").weighing_id
    correct_weighing(washed.floor, wrong, reading=weighed(1500), reason="read the wrong line")
    for lot in (joined.outputs[0].lot, *(item.lot for item in roving.outputs)):
        parts = {part.lot: part.share_frac for part in one_lot(lot).parts}
        assert parts == {"L002": pytest.approx(0.6, abs=1e-5), "L001": pytest.approx(0.4, abs=1e-5)}


def test_a_lot_that_did_not_go_in_whole_after_all_gets_its_rest_back(washed):
    record_run(
        washed.floor, RunFacts(stage="pick"), inputs=[into("L003", 2000)], outputs=[out(900, is_product=True)]
    )
    assert Lot.objects.get(code="L003").now_mass_mg == 0
    went_in = RunInput.objects.get(lot__code="L003", run__stage="pick").weighing_id
    correct_weighing(washed.office, went_in, reading=weighed(1000), reason="half of it stayed in the bag")
    lot = Lot.objects.get(code="L003")
    assert (lot.now_mass_mg, lot.now_dry_mg) == (1_150_000, 1_000_000)
    assert lot.containers.count() == 1


def test_correcting_a_wet_weighing_keeps_what_was_known_of_its_dry_fibre(washed):
    wet = Reading(gross_g=5000, branch="wet")
    record_run(
        washed.floor,
        RunFacts(stage="extract"),
        inputs=[RunIn(lot="L002", reading=wet)],
        outputs=[out(1900)],
        confirmation="yes",
    )
    taken = RunInput.objects.get(lot__code="L002", run__stage="extract")
    assert taken.dry_mg == 1_900_000
    correct_weighing(
        washed.office,
        taken.weighing_id,
        reading=Reading(gross_g=4800, branch="wet"),
        reason="bucket on the scale",
    )
    taken.refresh_from_db()
    assert (taken.mass_mg, taken.dry_mg) == (4_800_000, 1_900_000)


def test_wet_fibre_of_unknown_dry_weight_is_planned_as_wet_and_not_as_clean(small_mill):
    record_run(
        small_mill.floor,
        RunFacts(stage="wash"),
        inputs=[RunIn(lot="L001", reading=Reading(gross_g=4000))],
        outputs=[RunOut(reading=Reading(gross_g=8400, branch="wet"), form="scoured")],
        confirmation="yes",
    )
    lot = Lot.objects.get(code="L001")
    assert lot.now_dry_mg is None
    start = bridge.lot_start_of(lot, [bridge.Origin(lot, 1.0)], small_mill.tables)
    dry_g = start.weighed_mass_g / (1 + start.actual_regain_frac)
    assert dry_g == pytest.approx(8400 / (1 + 2.5))  # water_after_wash of table plan_defaults
    assert expected_out("extract", [part_of(one_lot("L001").row)]) is None
