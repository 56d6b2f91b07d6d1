"""Conditioner at the picker: page and run card say one figure, and what is sprayed is no gain and no loss."""

import uuid

import pytest
from django.test import Client
from tests.paper import sample

from doffer.mill.models import Lot, Run, Weighing
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.mill.queries.runs import Part, expected_out, one_run, part_of
from doffer.office.order_spec import plan_of_order
from doffer.paper import fill
from doffer.planning.stage_ahead import Spray

THIN = "\u202f"
ORDERS = ("O201", "O202", "O203", "O204", "O205", "O206", "O207", "O208")
A_GRAM = 1.0  # of 16 kg; a plan counts what the picker keeps at the regain of the lots on hand, taken or not
ROOM_REGAIN = {"rh": "60", "branch": "desorption"}

UP_75, DOWN_75 = 0.1759, 0.1957  # regain of wool at 75 %: table isotherm


def text_of(response) -> str:
    return " ".join(response.content.decode().replace(THIN, " ").split())


def sent(act: str = "record", **more: str) -> dict:
    first = {"out_1_kind": "bin", "rh": "60", "branch": "fresh", "number": "keep"}
    return {"key": str(uuid.uuid4()), "stage": "pick", "lot": ["L005"], "act": act, **first, **more}


@pytest.fixture
def floor(client_of, small_mill) -> Client:
    return client_of(small_mill.floor)


def first_steps(code):
    """Of each batch of an order the step that comes next for all its lots, and what goes into it."""
    order = one_order(code)
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    planned = plan_of_order(order, inputs).plan
    for batch in planned.batches if planned else ():
        lots = {use.lot: use for use in batch.lots if use.share_frac > 0}
        step = batch.stages[0]
        if set(step.comes_from) != set(lots) or "greasy" in {use.form for use in lots.values()}:
            continue
        dry = {row.lot.code: row.lot.dry_mass_g for row in order.lots}
        parts = [
            Part(lot, use.weighed_mass_g, dry[lot] and dry[lot] * use.share_frac) for lot, use in lots.items()
        ]
        yield batch, step, parts


def test_the_form_of_a_run_expects_what_the_run_card_says_to_the_gram(demo_mill):
    seen = []
    for code in ORDERS:
        for batch, step, parts in first_steps(code):
            machine = next((m.code for m in plan_inputs().machines if m.stage == step.stage), "")
            expected = expected_out(step.stage, parts, machine=machine, order=code, spray=None)
            assert expected.weighed_usual_g == pytest.approx(step.weighed.mean, abs=A_GRAM), (code, step.name)
            assert expected.weighed_low_g == pytest.approx(step.weighed.low, abs=A_GRAM)
            assert expected.weighed_high_g == pytest.approx(step.weighed.high, abs=A_GRAM)
            assert expected.dry_usual_g == pytest.approx(step.dry.mean, abs=A_GRAM)
            card = fill.run_card(sample.run_card(order=code, batch=batch), sample.IMPRINT)["stages"][0]
            assert card["weigh_out"] == fill._spread(step.weighed, "metric")
            seen.append(step.stage)
    assert seen.count("pick") >= 2
    assert len(seen) >= 5


def test_what_the_card_tells_to_spray_is_what_the_form_counts_in(demo_mill):
    for code in ORDERS:
        for _, step, parts in first_steps(code):
            if step.stage == "pick":
                dose = next(dose for dose in step.doses if dose.name == "conditioner")
                spray = expected_out("pick", parts, order=code, spray=None).spray
                assert dose.words.startswith(
                    f"{spray.product_mass_g:.0f} g product + {spray.water_mass_g:.0f} g water"
                )


def test_water_that_is_sprayed_is_counted_in_and_dries_off_again(small_mill):
    part = Part("L005", 10_000, 8_600)
    plain = expected_out("pick", [part])
    wet = expected_out("pick", [part], spray=Spray(water_mass_g=500))
    oiled = expected_out("pick", [part], spray=Spray(200, 0))
    stays = plain.dry_usual_g / 8_600
    assert wet.weighed_usual_g - plain.weighed_usual_g == pytest.approx(500 * stays, abs=0.01)
    # sprayed fibre dries back to the room from above, unsprayed fibre takes up water from below
    assert plain.rested_usual_g == pytest.approx(plain.dry_usual_g * (1 + UP_75), rel=1e-3)
    assert wet.rested_usual_g == pytest.approx(plain.dry_usual_g * (1 + DOWN_75), rel=1e-3)
    assert oiled.rested_usual_g - plain.rested_usual_g == pytest.approx(200 * stays, abs=0.5)
    assert wet.loss_usual_frac == pytest.approx(plain.loss_usual_frac, abs=1e-9)


def test_five_percent_of_water_is_no_fibre_gained(floor):
    before = Lot.objects.get(code="L005")
    answer = floor.post("/runs/new/", sent(spray_oil="0", spray_water="500", out_1_gross="10.3"))
    assert answer.status_code == 302  # nobody is asked how picking can make fibre
    page = text_of(floor.get(answer["Location"]))
    assert "1.9 % was lost" in page  # 1 - 10300 / (10000 + 500)
    assert "Sprayed on it: 0 g conditioner and 500 g water." in page
    lot = Lot.objects.get(code="L005")
    assert lot.now_dry_mg == pytest.approx(before.now_dry_mg * 10_300 / 10_500, abs=2_000)
    regain = before.now_mass_mg / before.now_dry_mg - 1
    water_over_dry = regain + 500_000 / before.now_dry_mg
    assert lot.now_regain_ppm / 1e6 == pytest.approx(water_over_dry, abs=1e-5)


def test_the_same_weight_called_dry_is_asked_about(floor):
    dry = sent(spray_oil="0", spray_water="500", out_1_gross="10.3") | ROOM_REGAIN
    asked = floor.post("/runs/new/", dry)
    assert asked.status_code == 422
    assert "Pick cannot make fibre" in text_of(asked)


def test_who_weighs_it_dry_sees_the_loss_alone_and_no_water_lost(floor):
    sprayed = {"spray_oil": "200", "spray_water": "800"}
    answer = floor.post("/runs/new/", sent(out_1_gross="10.0", **sprayed) | ROOM_REGAIN)
    out = Weighing.objects.latest("pk")
    dry_in_g = Run.objects.get().inputs.get().dry_mg / 1000
    run = one_run(Run.objects.get().code)
    oil = 200 / dry_in_g
    regain = out.actual_regain_ppm / 1e6
    assert out.finish_mg / 1000 == pytest.approx(10_000 * oil / (1 + regain + oil), abs=0.01)
    assert run.loss_frac == pytest.approx(1 - out.dry_mg / 1000 / dry_in_g, abs=1e-9)
    assert 0.015 < run.loss_frac < 0.025
    assert "That is inside of what is usual" in text_of(floor.get(answer["Location"]))


def test_nothing_said_means_nothing_sprayed_where_no_plan_speaks_of_it(floor):
    floor.post("/runs/new/", sent(out_1_gross="9.8"))
    assert Run.objects.get().settings == {}
    assert Weighing.objects.latest("pk").finish_mg == 0
    assert Lot.objects.get(code="L005").now_dry_mg == pytest.approx(
        Run.objects.get().inputs.get().dry_mg * 0.98, abs=2_000
    )


def test_product_without_its_water_is_asked_for(floor):
    answer = floor.post("/runs/new/", sent(spray_oil="200", out_1_gross="10"))
    assert answer.status_code == 422
    assert "Say both, product and water" in text_of(answer)
    assert not Run.objects.exists()


def test_oil_of_the_picker_is_no_fibre_at_the_card(floor):
    floor.post("/runs/new/", sent(spray_oil="200", spray_water="0", out_1_gross="10.0"))
    picked = Lot.objects.get(code="L005").now_dry_mg
    answer = floor.post("/runs/new/", sent(stage="card", out_1_gross="9.5") | ROOM_REGAIN)
    out = Weighing.objects.latest("pk")
    assert out.finish_mg / out.dry_mg == pytest.approx(
        Weighing.objects.filter(run__stage="pick").latest("pk").finish_mg / picked, rel=1e-5
    )
    assert out.finish_mg > 100_000
    assert answer.status_code == 302


def test_what_was_sprayed_is_changed_when_the_run_is_weighed_out(floor):
    floor.post("/runs/new/", sent("begin", spray_oil="200", spray_water="800"))
    code = Run.objects.get().code
    assert "200 g product and 800 g water" in text_of(floor.get(f"/runs/{code}/"))
    floor.post(f"/runs/{code}/finish/", sent(spray_oil="100", spray_water="400", out_1_gross="10.3"))
    assert one_run(code).spray == Spray(100, 400)
    assert one_run(code).loss_frac == pytest.approx(1 - 10_300 / 10_500, abs=1e-5)


def test_the_dose_of_the_plan_counts_unless_another_is_typed(client_of, small_mill):
    from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, take_order

    facts = OrderFacts(customer=small_mill.own, product="roving", lots=(OrderLotFacts(lot="L005"),))
    order = take_order(small_mill.office, facts)
    floor = client_of(small_mill.floor)
    asked = {"stage": "pick", "lot": "L005", "order": order}
    page = text_of(floor.get("/runs/new/", asked))
    assert f"As the plan of {order} says" in page
    agreed_g = Lot.objects.get(code="L005").now_dry_mg / 1000 * 1.17
    dose = f"{agreed_g * 0.02:.0f} g conditioner and {agreed_g * 0.08:.0f} g water"
    assert dose in page
    assert dose in text_of(floor.get("/runs/expected/", asked))
    half = text_of(floor.get("/runs/expected/", {**asked, "in_L005_gross": "5"}))
    assert f"{agreed_g * 0.01:.0f} g conditioner and {agreed_g * 0.04:.0f} g water" in half
    other = text_of(floor.get("/runs/expected/", {**asked, "spray_oil": "90", "spray_water": "270"}))
    assert "90 g conditioner and 270 g water" in other
    none = text_of(floor.get("/runs/expected/", {**asked, "sprayed": "none"}))
    assert "conditioner and" not in none
    floor.post("/runs/new/", sent(order=order, out_1_gross="10.5"))
    spray = one_run(Run.objects.get().code).spray
    assert (spray.product_mass_g, spray.water_mass_g) == (
        pytest.approx(agreed_g * 0.02, abs=0.01),
        pytest.approx(agreed_g * 0.08, abs=0.01),
    )


def test_water_of_a_dyed_lot_is_not_taken_for_oil_when_it_is_dried(floor, small_mill):
    dry_g = Lot.objects.get(code="L005").now_dry_mg / 1000
    floor.post("/runs/new/", sent(stage="dye", out_1_gross="21", branch="wet"))
    wet = part_of(one_lot("L005").row)
    expected = expected_out("dry", [wet])
    assert expected.weighed_usual_g == pytest.approx(dry_g * 1.17, rel=0.05)
