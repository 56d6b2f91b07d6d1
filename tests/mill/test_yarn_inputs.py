"""What planning a yarn starts from: fibre by parts, found or guessed, and the machines."""

import pytest

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.commands.yarn_settings import MachineSettingFacts, record_machine_setting
from doffer.mill.commands.yarn_tests import record_lot_fibre
from doffer.mill.fibre_facts import LotFibreFacts
from doffer.mill.models import Lot, LotFibre
from doffer.mill.queries.yarn_inputs import yarn_inputs
from doffer.process.yarn.limits import BreakPoint, System
from doffer.process.yarn.plan import plan_yarn
from doffer.process.yarn.wish import YarnWish

pytestmark = pytest.mark.django_db
FRAME = "SPI1"


def frame_set(mill, **settings):
    for key, values in settings.items():
        record_machine_setting(mill.owner, FRAME, MachineSettingFacts(key=key, values=values))


def test_a_lot_nobody_tested_has_the_figures_of_its_breed_and_says_so(small_mill):
    inputs = yarn_inputs(lots=["L005"])
    (part,) = inputs.parts
    breed = small_mill.tables.breeds["corriedale"]
    assert (part.lot, part.share_frac, part.fibre) == ("L005", 1, "wool")
    assert (part.diameter_um, part.staple_mm) == (breed.diameter_um, breed.staple_mm)
    assert part.guessed == ("diameter", "diameter spread", "staple", "staple spread")
    assert (part.strength_n_per_ktex, part.crimps_per_cm, part.soundness) == (None, None, "unknown")
    assert inputs.dry_g == pytest.approx(Lot.objects.get(code="L005").now_dry_mg / 1000, rel=1e-6)


def test_what_was_found_of_the_fibre_counts_and_is_added_to(small_mill):
    record_lot_fibre(
        small_mill.floor, "L005", LotFibreFacts(crimps_per_cm=3.5, breaks_at="middle", staple_cv_frac=0.22)
    )
    record_lot_fibre(
        small_mill.owner,
        "L005",
        LotFibreFacts(
            found_by="laboratory",
            strength_n_per_ktex=26.5,
            break_frac=0.4,
            short_fibre_frac=0.06,
            medullated_frac=0.01,
            curvature_deg_per_mm=64,
        ),
    )
    inputs = yarn_inputs(lots=["L005"])
    (part,) = inputs.parts
    assert (part.crimps_per_cm, part.staple_cv_frac, part.strength_n_per_ktex) == (3.5, 0.22, 26.5)
    assert (part.breaks_at, part.break_frac, part.short_fibre_frac) == ("middle", 0.4, 0.06)
    assert (part.medullated_frac, part.curvature_deg_per_mm) == (0.01, 64)
    assert part.guessed == ("diameter", "diameter spread", "staple")
    fibre = inputs.fibre
    assert (fibre.strength_n_per_ktex, fibre.break_point, fibre.break_frac) == (26.5, BreakPoint.MIDDLE, 0.4)
    assert fibre.short_fibre_frac == pytest.approx(0.06)
    assert [row.supersedes_id for row in LotFibre.objects.all()] == [None, LotFibre.objects.first().pk]
    record_lot_fibre(small_mill.owner, "L005", LotFibreFacts(forget=("short_fibre_frac", "breaks_at")))
    (part,) = yarn_inputs(lots=["L005"]).parts
    assert (part.short_fibre_frac, part.breaks_at, part.strength_n_per_ktex) == (None, "unknown", 26.5)


def test_fibre_figures_that_cannot_be_are_refused_or_asked_about(small_mill):
    with pytest.raises(InputError, match=r"short fibre.*from 0 to 100 %"):
        LotFibreFacts(short_fibre_frac=6)
    with pytest.raises(InputError, match="above zero"):
        LotFibreFacts(strength_n_per_ktex=0)
    with pytest.raises(InputError, match="one of unknown, tip, middle, base"):
        LotFibreFacts(breaks_at="everywhere")
    with pytest.raises(InputError, match="among staple_cv_frac"):
        LotFibreFacts(forget=("colour",))
    with pytest.raises(QuestionError, match="strength n per ktex is 2600 N/ktex, and up to 250 is possible"):
        record_lot_fibre(small_mill.floor, "L005", LotFibreFacts(strength_n_per_ktex=2600))
    with pytest.raises(RefusedError, match="Vic may not"):
        record_lot_fibre(small_mill.viewer, "L005", LotFibreFacts(crimps_per_cm=3))
    assert LotFibre.objects.count() == 0


def test_a_joined_lot_gives_its_door_lots_by_their_shares(small_mill):
    weighed = {"branch": "measured", "measured_regain_frac": 0.15}
    for lot, raw_g, grams in (("L001", 4000, 2300.0), ("L002", 3000, 1150.0)):
        record_run(
            small_mill.floor,
            RunFacts(stage="wash"),
            inputs=[RunIn(lot=lot, reading=Reading(gross_g=raw_g))],
            outputs=[RunOut(reading=Reading(gross_g=grams, **weighed))],
            confirmation="yes",
        )
    blend = record_run(
        small_mill.floor,
        RunFacts(stage="pick"),
        inputs=[RunIn(lot="L001"), RunIn(lot="L002")],
        outputs=[RunOut(reading=Reading(gross_g=3400.0, **weighed))],
        confirmation="yes",
    )
    record_lot_fibre(small_mill.floor, "L001", LotFibreFacts(strength_n_per_ktex=40))
    record_lot_fibre(
        small_mill.floor, "L002", LotFibreFacts(strength_n_per_ktex=20, breaks_at="middle", break_frac=0.6)
    )
    inputs = yarn_inputs(lots=[blend.outputs[0].lot])
    assert [(part.lot, round(part.share_frac, 5)) for part in inputs.parts] == [
        ("L001", 0.66667),
        ("L002", 0.33333),
    ]
    assert inputs.parts[0].diameter_um == 24
    assert inputs.parts[0].guessed == ("diameter spread", "staple", "staple spread")
    assert inputs.fibre.strength_n_per_ktex == 20
    assert inputs.fibre.break_frac == pytest.approx(0.2, abs=1e-5)
    assert inputs.fibre.short_fibre_frac is None


def test_a_batch_follows_the_shares_of_its_wish(demo_mill):
    inputs = yarn_inputs(order="O203", batch="sock yarn")
    by_fibre = {}
    for part in inputs.parts:
        by_fibre[part.fibre] = by_fibre.get(part.fibre, 0) + part.share_frac
    assert by_fibre == pytest.approx({"alpaca": 0.6, "wool": 0.2, "polyamide": 0.2})
    alpaca = {part.lot: part.share_frac for part in inputs.parts if part.fibre == "alpaca"}
    # 4600 and 3420 g oven-dry share the alpaca
    assert alpaca["L009"] == pytest.approx(0.6 * 4600 / 8020, rel=1e-4)
    assert inputs.fibre.slippery_frac == pytest.approx(0.6)
    guessed = {part.lot: part.guessed for part in inputs.parts}
    assert guessed == dict.fromkeys(("L010", "L034", "L036"), ("staple spread",)) | {"L009": ()}


def test_soundness_of_a_batch_is_that_of_its_weakest_part(demo_mill):
    assert yarn_inputs(lots=["L004"]).soundness == "sound"
    assert yarn_inputs(lots=["L004", "L005"]).soundness == "tender"


def test_the_frame_is_handed_to_the_plan_of_a_yarn(small_mill):
    frame_set(
        small_mill,
        spindle_rpm=2800,
        draft_window=(7, 20),
        draft_constant=480,
        draft_teeth=(30, 36, 40),
        twist_constant=6000,
        twist_teeth=(30, 40),
        roving_weights=(2000, 3000),
        system="worsted",
    )
    machine = yarn_inputs(lots=["L005"]).spin_machine
    assert (machine.name, machine.system, machine.spindle_rpm) == ("spinning frame", System.WORSTED, 2800)
    assert [one.draft for one in machine.gears.drafts()] == [16, 480 / 36, 12]
    assert machine.twist_steps_tpm == (150, 200)
    assert machine.rovings_tex == (2000, 3000)
    assert (machine.roll_speed_cap_m_per_min, machine.card_tex, machine.doublings) == (25, 4000, ())


def test_a_frame_nobody_described_leaves_the_usual_drafts_to_the_plan(small_mill):
    inputs = yarn_inputs(lots=["L005"])
    machine = inputs.spin_machine
    assert (machine.gears, machine.rovings_tex, machine.twist_steps_tpm) == (None, (), ())
    assert machine.spindle_rpm == 3000
    plan = plan_yarn(YarnWish(finished_tex=400), inputs.fibre, machine, inputs.tables)
    assert plan.roller.tex == pytest.approx(200, rel=0.1)


def test_pinions_without_a_window_of_their_own_use_the_usual_window(small_mill):
    frame_set(small_mill, draft_constant=480, draft_teeth=(15, 40))
    gears = yarn_inputs(lots=["L005"]).spin_machine.gears
    assert (gears.low_draft, gears.high_draft) == (6, 25)
    assert [one.draft for one in gears.drafts()] == [12]


def test_a_drafter_offers_its_ends_once_or_twice(demo_mill):
    machine = yarn_inputs(lots=["L004"]).spin_machine
    assert machine.doublings == ((), (6,), (5,), (4,), (3,), (2,), (6, 6))


def test_inputs_of_nothing_are_refused(demo_mill):
    with pytest.raises(InputError, match="an order or a lot"):
        yarn_inputs()
    with pytest.raises(NotFoundError, match="sock yarn"):
        yarn_inputs(order="O203", batch="lace")
    with pytest.raises(NotFoundError, match="X1"):
        yarn_inputs(lots=["X1"])
    with pytest.raises(InputError, match=r"L008.*lots in which something is left|left.*L008"):
        yarn_inputs(lots=["L008"])


def test_more_lots_ask_no_more_of_the_database(demo_mill, django_assert_max_num_queries):
    with django_assert_max_num_queries(15):
        yarn_inputs(order="O203", batch="sock yarn")
    with django_assert_max_num_queries(15):
        assert len(yarn_inputs(lots=[f"L0{n:02}" for n in (1, 2, 3, 4, 6, 9, 10, 11, 15, 18)]).parts) == 10
