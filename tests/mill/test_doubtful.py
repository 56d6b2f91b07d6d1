"""No weighing, run or correction makes oven-dry fibre, or loses much of it, without a reason under a name."""

import pytest

from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.commands.settings import change_settings
from doffer.mill.commands.tables import override_cell
from doffer.mill.commands.weigh import correct_weighing, record_weighing
from doffer.mill.doubtful import oil_on_mg
from doffer.mill.models import Lot, Weighing
from doffer.mill.queries.lots import one_lot
from doffer.mill.riding import finish_share_now

pytestmark = pytest.mark.django_db
WATER = 0.15
WHY = "the second bag of this lot had no tag"


def measured(dry_g: float, *, oil_g: float = 0.0, water: float = WATER) -> Reading:
    return Reading(
        gross_g=dry_g * (1 + water) + oil_g, finish_g=oil_g, branch="measured", measured_regain_frac=water
    )


def stands(code: str) -> tuple[int, int | None]:
    lot = Lot.objects.get(code=code)
    return lot.now_mass_mg, lot.now_dry_mg


@pytest.fixture
def clean(small_mill):
    """L005 holds exactly 8 kg of oven-dry wool, by its measured water."""
    record_weighing(small_mill.floor, lot="L005", reading=measured(8000), confirmation="weighed exactly")
    return small_mill


@pytest.fixture
def oiled(clean):
    """L005 out of the picker: 6.80 kg of dry fibre with 160 g of oil."""
    record_run(
        clean.floor,
        RunFacts(stage="pick"),
        inputs=[RunIn(lot="L005", reading=measured(7000), rest_g=0.0)],
        outputs=[RunOut(reading=measured(6800, oil_g=160))],
        confirmation="as it was",
    )
    return clean


@pytest.mark.parametrize("factor", [1.02, 1.25, 2.0, 10.0])
def test_a_weighing_does_not_make_dry_fibre_without_a_reason(clean, factor):
    before = stands("L005")
    with pytest.raises(QuestionError, match=r"L005 holds more than stood there: .* oven-dry now, 8\.00 kg"):
        record_weighing(clean.floor, lot="L005", reading=measured(8000 * factor))
    assert stands("L005") == before
    assert not Weighing.objects.filter(gross_mg=round(8_000_000 * factor * (1 + WATER))).exists()
    record_weighing(clean.floor, lot="L005", reading=measured(8000 * factor), confirmation=WHY)
    assert stands("L005")[1] == pytest.approx(8_000_000 * factor, abs=2)
    newest = one_lot("L005").weighings[0]
    assert (newest.note, newest.person) == (WHY, "Flo")


def test_ten_times_too_much_is_asked_about_as_a_slipped_decimal_point(clean):
    with pytest.raises(QuestionError, match="a slipped decimal point"):
        record_weighing(clean.floor, lot="L005", reading=measured(80_000))


def test_a_lot_is_asked_about_in_the_units_of_the_mills_scale(clean):
    change_settings(clean.owner, {"units": "us"})
    with pytest.raises(QuestionError, match=r"35\.27 lb oven-dry now, 17\.64 lb before"):
        record_weighing(clean.floor, lot="L005", reading=measured(16_000))


@pytest.mark.parametrize("rh_frac", [0.45, 0.65, 0.8])
def test_the_same_fibre_in_another_room_is_not_asked_about(clean, rh_frac):
    """The curve is known to a point or so of regain; a room it is read in must not be a question."""
    regain = {0.45: 0.1268, 0.65: 0.1682, 0.8: 0.2105}[rh_frac]
    reading = Reading(gross_g=8000 * (1 + regain), rh_frac=rh_frac)
    record_weighing(clean.floor, lot="L005", reading=reading)
    assert stands("L005")[1] == pytest.approx(8_000_000, rel=0.01)


def test_much_less_fibre_than_before_is_asked_about(clean):
    with pytest.raises(QuestionError, match=r"Fibre of L005 is gone: 4\.00 kg oven-dry now, 8\.00 kg before"):
        record_weighing(clean.floor, lot="L005", reading=measured(4000))
    record_weighing(clean.floor, lot="L005", reading=measured(4000), confirmation="half went to the guild")
    assert stands("L005") == (4_600_000, 4_000_000)
    record_weighing(clean.floor, lot="L005", reading=measured(3900))  # a sample


@pytest.mark.parametrize(
    ("gross_g", "sentence"),
    [
        (60_000, "L005 holds more than stood there: 60.00 kg wet, and its dry fibre is 8.00 kg"),
        (7_000, "Fibre of L005 is gone: 7.00 kg now, and its dry fibre alone was 8.00 kg"),
    ],
)
def test_wet_fibre_weighs_between_its_dry_fibre_and_dripping(clean, gross_g, sentence):
    with pytest.raises(QuestionError, match=sentence):
        record_weighing(clean.floor, lot="L005", reading=Reading(gross_g=gross_g, branch="wet"))
    record_weighing(clean.floor, lot="L005", reading=Reading(gross_g=25_000, branch="wet"))
    assert stands("L005") == (25_000_000, 8_000_000)


@pytest.mark.parametrize("gross_g", [4_500, 3_500, 40_000, 400])
def test_fleece_in_the_grease_is_asked_about_by_its_weight(small_mill, gross_g):
    with pytest.raises(QuestionError, match=r"L001 .*, 4\.00 kg before"):
        record_weighing(small_mill.floor, lot="L001", reading=Reading(gross_g=gross_g))
    record_weighing(small_mill.floor, lot="L001", reading=Reading(gross_g=3_900))


def test_a_lot_that_was_used_up_does_not_come_back_without_a_reason(oiled):
    record_run(
        oiled.floor,
        RunFacts(stage="card"),
        inputs=[RunIn(lot="L005")],
        outputs=[RunOut(reading=measured(6500), is_product=True)],
        confirmation="as it was",
    )
    with pytest.raises(QuestionError, match=r"L005 was used up: 3\.00 kg now, and nothing of it stood here"):
        record_weighing(oiled.floor, lot="L005", reading=Reading(gross_g=3_000))


def test_a_run_does_not_make_dry_fibre_without_a_reason(clean):
    facts, ins = RunFacts(stage="card"), [RunIn(lot="L005", reading=measured(8000))]
    with pytest.raises(QuestionError):
        record_run(clean.floor, facts, inputs=ins, outputs=[RunOut(reading=measured(8100))])
    done = record_run(
        clean.floor, facts, inputs=ins, outputs=[RunOut(reading=measured(8100))], confirmation=WHY
    )
    assert done.dry_out_g == pytest.approx(8100, abs=0.01)


def test_a_corrected_weighing_does_not_make_a_run_give_more_than_it_took(oiled):
    out, into = one_lot("L005").weighings[:2]
    more = {"reading": measured(7200, oil_g=160), "reason": "read the wrong line"}
    with pytest.raises(QuestionError, match=r"Pick cannot make fibre: 7\.20 kg of dry fibre would have"):
        correct_weighing(oiled.owner, out.id, **more)
    with pytest.raises(QuestionError, match="Pick cannot make fibre"):
        correct_weighing(oiled.owner, into.id, reading=measured(6000), reason="read the wrong line")
    assert stands("L005")[1] == pytest.approx(6_800_000, abs=2)
    correct_weighing(oiled.owner, out.id, **more, confirmation=WHY)
    assert one_lot("L005").weighings[0].note == f"read the wrong line; {WHY}"


def test_more_than_stood_there_is_not_corrected_into_a_machine(oiled):
    into = one_lot("L005").weighings[1]
    with pytest.raises(
        QuestionError, match=r"L005 holds more than stood there: 70\.00 kg oven-dry now, 8\.00 kg"
    ):
        correct_weighing(oiled.owner, into.id, reading=measured(70_000), reason="decimal point")


def test_a_corrected_stock_weighing_is_held_against_the_one_before_it(clean):
    newest = record_weighing(clean.floor, lot="L005", reading=measured(7900))
    with pytest.raises(QuestionError, match=r"16\.00 kg oven-dry now, 8\.00 kg before"):
        correct_weighing(clean.floor, newest.id, reading=measured(16_000), reason="tare forgotten")
    with pytest.raises(QuestionError, match="Fibre of L005 is gone"):
        correct_weighing(clean.floor, newest.id, reading=measured(800), reason="tare forgotten")


def test_a_bag_is_not_corrected_to_ten_times_its_weight(small_mill):
    wrong = one_lot("L001").weighings[0]
    with pytest.raises(QuestionError, match=r"far from a usual bag: 40\.00 kg net"):
        correct_weighing(small_mill.floor, wrong.id, reading=Reading(gross_g=40_000), reason="tare")


@pytest.mark.parametrize(
    "known",
    [
        {"branch": "measured", "measured_regain_frac": 0.1647321},
        {"rh_frac": 0.62, "branch": "absorption"},
        {"rh_frac": 0.62, "branch": "desorption"},
        {"branch": "desorption"},
        {"branch": "wet"},
    ],
)
def test_the_same_weights_written_down_again_give_the_same_dry_fibre_to_the_milligram(clean, known):
    reading = Reading(gross_g=9_431.3, tare_g=312.7, finish_g=23.4, temp_c=17.5, **known)
    wrong = record_weighing(clean.floor, lot="L005", reading=reading, confirmation="as it is")
    old = Weighing.objects.get(pk=wrong.id)
    override_cell(
        clean.owner, table="fibres", row="wool", column="regain65_pct", value="18", reason="measured"
    )
    again = Reading(gross_g=9_431.3, tare_g=312.7, rh_frac=0.9, branch="desorption")
    new = Weighing.objects.get(
        pk=correct_weighing(clean.floor, old.pk, reading=again, reason="looked again", keeps_water=True).id
    )
    for name in ("dry_mg", "actual_regain_ppm", "branch", "rh_ppm", "temp_milli_c", "finish_mg", "net_mg"):
        assert getattr(new, name) == getattr(old, name), name


def test_a_correction_with_another_weight_keeps_the_water_as_it_was_measured(clean):
    wrong = record_weighing(clean.floor, lot="L005", reading=measured(7900, water=0.12))
    right = correct_weighing(
        clean.floor, wrong.id, reading=Reading(gross_g=8_624), reason="tare forgotten", keeps_water=True
    )
    assert right.dry_g == pytest.approx(8_624 / 1.12, abs=0.01)


def test_an_oiled_lot_weighed_again_keeps_its_oil_out_of_the_fibre(oiled):
    mass_mg, dry_mg = stands("L005")
    again = Reading(gross_g=mass_mg / 1000, branch="measured", measured_regain_frac=WATER)
    record_weighing(oiled.floor, lot="L005", reading=again)
    assert stands("L005")[1] == pytest.approx(dry_mg, abs=2)
    assert oil_on_mg(Lot.objects.get(code="L005")) == pytest.approx(160_000, abs=2)


def test_oil_stays_on_an_oiled_lot_when_its_first_weighing_is_corrected(oiled):
    intake = one_lot("L005").weighings[-1]
    correct_weighing(oiled.owner, intake.id, reading=Reading(gross_g=10_100), reason="tare")
    assert oil_on_mg(Lot.objects.get(code="L005")) == 160_000


def test_a_lot_without_oil_takes_what_is_said_and_an_oiled_one_may_be_said_to_be_clean(oiled):
    mass_mg, _ = stands("L005")
    again = Reading(gross_g=mass_mg / 1000, branch="measured", measured_regain_frac=WATER)
    record_weighing(oiled.floor, lot="L005", reading=again, is_oil_said=True, confirmation="scoured out")
    assert oil_on_mg(Lot.objects.get(code="L005")) == 0


def test_a_corrected_weight_of_oiled_fibre_keeps_its_share_of_oil(oiled):
    out = one_lot("L005").weighings[0]
    right = correct_weighing(
        oiled.owner, out.id, reading=Reading(gross_g=out.gross_g / 2), reason="two cans", keeps_water=True
    )
    assert right.dry_g == pytest.approx(3400, abs=0.01)
    assert one_lot("L005").weighings[0].finish_g == pytest.approx(80, abs=0.001)


def test_correcting_what_went_into_the_picker_leaves_the_oil_on_what_came_out(oiled):
    lot = Lot.objects.get(code="L005")
    before = finish_share_now([lot])["L005"]
    assert before == pytest.approx(160 / (6800 * (1 + WATER) + 160))
    into = Weighing.objects.filter(lot=lot, moment="in").last()
    correct_weighing(
        oiled.owner, into.pk, reading=measured(6950), reason="read the wrong line", confirmation=WHY
    )
    assert finish_share_now([lot])["L005"] == before
