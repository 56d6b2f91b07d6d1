"""What is refused and asked about a run: nothing out of nothing, states, weights beside what was expected."""

import random
from dataclasses import replace

import pytest

from doffer.errors import InputError, RefusedError
from doffer.mill import bridge
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.join import decide_join
from doffer.mill.commands.run_facts import RunFacts, RunIn, RunOut
from doffer.mill.commands.run_questions import RunQuestionError
from doffer.mill.commands.run_stage import begin_run, finish_run, record_run
from doffer.mill.doubt import doubts_from, said_all
from doffer.mill.models import Lot, Machine, Run
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.runs import expected_out, one_run, part_of

pytestmark = pytest.mark.django_db
WATER = 0.15


def weighed(dry_g: float) -> Reading:
    return Reading(gross_g=dry_g * (1 + WATER), branch="measured", measured_regain_frac=WATER)


def run(mill, stage, lots, out, *, confirmation="", answers=None, **facts):
    """A whole run; a lot is a code that goes in whole, or a RunIn."""
    return record_run(
        mill.floor,
        RunFacts(stage=stage, **facts),
        inputs=[lot if isinstance(lot, RunIn) else RunIn(lot=lot) for lot in lots],
        outputs=[out if isinstance(out, RunOut) else RunOut(reading=out)],
        confirmation=confirmation,
        answers=answers,
    )


def wet(mass_g: float) -> Reading:
    return Reading(gross_g=mass_g, branch="wet")


@pytest.mark.parametrize("reading", [None, weighed(3000)])
def test_a_lot_that_is_used_up_does_not_go_in_whatever_is_said(small_mill, reading):
    run(small_mill, "card", ["L005"], RunOut(reading=weighed(8200), is_product=True))
    kept = Run.objects.count()
    with pytest.raises(RefusedError, match="nothing is left of L005") as caught:
        run(
            small_mill,
            "card",
            [RunIn(lot="L005", reading=reading)],
            weighed(2570),
            confirmation="it was there",
        )
    assert not isinstance(caught.value, QuestionError)
    assert Run.objects.count() == kept
    assert one_lot("L005").row.mass_g == 0


def test_a_weight_of_nothing_does_not_go_in(small_mill):
    with pytest.raises(RefusedError, match="nothing is left of L005"):
        begin_run(
            small_mill.floor,
            RunFacts(stage="card"),
            [RunIn(lot="L005", reading=Reading(gross_g=500, tare_g=500))],
        )


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        ("spin", "L001 is in the grease: it was never washed or carded"),
        ("ply", "L001 is in the grease: it was never washed, carded or spun"),
        ("card", "L001 is in the grease: it was never washed"),
        ("extract", "L001 is in the grease: it was never washed"),
    ],
)
def test_a_fleece_in_the_grease_is_asked_about_at_a_machine(small_mill, stage, words):
    with pytest.raises(QuestionError, match=words):
        begin_run(small_mill.floor, RunFacts(stage=stage), [RunIn(lot="L001")])
    begin_run(small_mill.floor, RunFacts(stage=stage), [RunIn(lot="L001")], confirmation="spun in the grease")
    kept = Run.objects.get()
    assert words in kept.settings["asked"][0]["words"]
    assert (kept.confirmation, kept.settings["answered_by"]) == ("spun in the grease", "Flo")


def test_finished_skeins_do_not_go_to_the_picker_with_a_fleece_unasked(small_mill):
    Lot.objects.filter(code="L002").update(now_form="skein", now_regain_ppm=150_000, now_dry_mg=2_600_000)
    with pytest.raises(QuestionError) as caught:
        begin_run(small_mill.floor, RunFacts(stage="pick"), [RunIn(lot="L001"), RunIn(lot="L002")])
    asked = str(caught.value)
    assert "L002 is in skeins: it is past this stage" in asked
    assert "Fibre in two states would go together: L001 is in the grease, L002 is in skeins" in asked


def test_dripping_fibre_is_not_picked_unasked(small_mill):
    run(small_mill, "wash", ["L001"], wet(8400))
    with pytest.raises(QuestionError, match="L001 is still wet: spin out the water or dry it first"):
        begin_run(small_mill.floor, RunFacts(stage="pick"), [RunIn(lot="L001")])
    begin_run(small_mill.floor, RunFacts(stage="extract"), [RunIn(lot="L001")])
    with pytest.raises(QuestionError, match="L005 is dry already"):
        begin_run(small_mill.floor, RunFacts(stage="extract"), [RunIn(lot="L005")])


def test_a_machine_of_another_stage_is_refused(small_mill):
    other = Machine.objects.exclude(stage="card").first()
    with pytest.raises(InputError, match="does this stage, card"):
        begin_run(small_mill.floor, RunFacts(stage="card", machine=other.code), [RunIn(lot="L005")])


def test_a_washed_weight_beyond_any_yield_is_asked_about_and_the_answer_kept(small_mill):
    with pytest.raises(QuestionError, match=r"Wash: 3600 g of dry fibre came out"):
        run(small_mill, "wash", ["L001"], weighed(3600))
    done = run(small_mill, "wash", ["L001"], weighed(3600), confirmation="washed at the farm before")
    page = one_run(done.run)
    assert "3600 g of dry fibre came out" in said_all(page.doubts)
    assert (page.confirmation, page.answered_by) == ("washed at the farm before", "Flo")


def test_a_wash_weighed_wet_is_held_against_its_yield_when_it_is_dry(small_mill):
    run(small_mill, "wash", ["L001"], wet(8400))
    run(small_mill, "extract", ["L001"], wet(5000))
    with pytest.raises(QuestionError, match=r"Dry: 3600 g of dry fibre came out"):
        run(small_mill, "dry", ["L001"], weighed(3600))
    run(small_mill, "dry", ["L001"], weighed(2100))
    assert one_lot("L001").row.dry_mass_g == pytest.approx(2100)


@pytest.mark.parametrize("dry_g", [820, 4000])
def test_a_slip_of_a_digit_behind_the_card_is_asked_about(small_mill, dry_g):
    with pytest.raises(QuestionError, match="Likely: a slip in a number, the wrong empty weight"):
        run(small_mill, "card", ["L005"], weighed(dry_g))
    assert one_lot("L005").row.form == "scoured"


def test_a_usual_weight_is_not_asked_about(small_mill):
    expected = expected_out("card", [part_of(one_lot("L005").row)])
    for low_g in (expected.dry_low_g, expected.dry_high_g):
        run(small_mill, "card", ["L005"], RunOut(reading=weighed(low_g), code=f"R9{low_g:.0f}"))
        Lot.objects.filter(code="L005").update(now_mass_mg=10_000_000, now_dry_mg=8_600_000)
    assert [kept.settings for kept in Run.objects.all()] == [{}, {}]


@pytest.mark.parametrize("mass_g", [840, 84_000])
def test_a_slip_of_a_digit_in_a_wet_weight_is_asked_about(small_mill, mass_g):
    with pytest.raises(QuestionError, match="came out wet"):
        run(small_mill, "wash", ["L001"], wet(mass_g))


def test_an_answer_counts_for_the_question_it_was_written_for_and_no_other(small_mill):
    def wash(gross_g, answers):
        return run(
            small_mill, "wash", ["L001"], weighed(gross_g), confirmation="washed before", answers=answers
        )

    with pytest.raises(RunQuestionError) as asked:
        wash(3600, ())
    with pytest.raises(RunQuestionError, match="3800 g") as other:
        wash(3800, asked.value.marks)
    assert other.value.marks != asked.value.marks
    assert not Run.objects.exists()
    with pytest.raises(RunQuestionError):
        run(small_mill, "wash", ["L001"], weighed(3800), confirmation=" ", answers=other.value.marks)
    wash(3800, other.value.marks)
    assert Run.objects.get().confirmation == "washed before"


def test_an_answer_to_two_questions_still_counts_when_one_is_gone(small_mill):
    two = [RunIn(lot="L001")]
    with pytest.raises(RunQuestionError) as asked:
        record_run(
            small_mill.floor,
            RunFacts(stage="spin"),
            inputs=two,
            outputs=[RunOut(reading=weighed(9000))],
        )
    assert len(asked.value.marks) == 2
    record_run(
        small_mill.floor,
        RunFacts(stage="spin"),
        inputs=two,
        outputs=[RunOut(reading=weighed(2500))],
        confirmation="spun in the grease",
        answers=asked.value.marks,
    )
    assert len(one_run(Run.objects.get().code).doubts) == 1


def test_what_an_earlier_version_kept_as_a_sentence_is_still_said():
    assert said_all(doubts_from("Card: 6000 g {sic} came out")) == "Card: 6000 g {sic} came out"
    assert doubts_from("") == doubts_from(None) == ()


def test_what_both_ends_of_a_run_asked_is_kept_together(small_mill):
    begun = begin_run(
        small_mill.floor, RunFacts(stage="spin"), [RunIn(lot="L001")], confirmation="in the grease"
    )
    with pytest.raises(QuestionError, match="cannot make fibre"):
        finish_run(small_mill.floor, begun, outputs=[RunOut(reading=weighed(6000))])
    finish_run(
        small_mill.floor, begun, outputs=[RunOut(reading=weighed(6000))], confirmation="bobbins with it"
    )
    page = one_run(begun)
    assert page.confirmation == "in the grease; bobbins with it"
    assert "never washed or carded" in said_all(page.doubts)
    assert "cannot make fibre" in said_all(page.doubts)


def test_a_fleece_in_the_grease_joins_by_its_clean_fibre(small_mill):
    """4 kg greasy Shetland beside 1.2 kg dry of another: by raw weight it would be 77 % of the heap."""
    run(small_mill, "wash", ["L002"], weighed(1900))
    agreed = decide_join(small_mill.office, lots=["L001", "L005"], consent="both by telephone")
    run(
        small_mill,
        "pick",
        ["L001", RunIn(lot="L002", reading=weighed(1200))],
        RunOut(reading=weighed(3000), is_product=True),
        confirmation="picked together on purpose",
        join_decision=agreed,
    )
    blend = Run.objects.get(stage="pick").outputs.get().lot
    parts = {part.lot: part.share_frac for part in one_lot(blend.code).parts}
    row = small_mill.tables.scour_yields[small_mill.tables.breeds["shetland"].yields_as]
    usual = (row.yield_low_pct + row.yield_mode_pct + row.yield_high_pct) / 300
    clean_g = 4000 * usual / 1.17
    assert parts["L001"] == pytest.approx(clean_g / (clean_g + 1200), abs=0.002)
    assert parts["L001"] < 0.70
    assert "counts by its usual clean fibre" in str(Run.objects.get(stage="pick").settings["asked"])


def test_wet_fibre_that_is_divided_keeps_its_dry_weight(small_mill):
    record_run(
        small_mill.floor,
        RunFacts(stage="dye"),
        inputs=[RunIn(lot="L005")],
        outputs=[RunOut(reading=wet(12_000)), RunOut(reading=wet(8000))],
    )
    was_mg = Run.objects.get().inputs.get().dry_mg
    first, second = (row.lot for row in Run.objects.get().outputs.all())
    assert first.now_dry_mg == pytest.approx(0.6 * was_mg, abs=2)
    assert first.now_dry_mg + second.now_dry_mg == pytest.approx(was_mg, abs=2)
    with pytest.raises(QuestionError, match="Dry cannot make fibre"):
        run(small_mill, "dry", [first.code], weighed(0.7 * bridge.grams(was_mg)))


def test_the_water_of_a_wet_lot_is_not_taken_for_oil(small_mill):
    dry_g = one_lot("L005").row.dry_mass_g
    run(small_mill, "dye", ["L005"], wet(20_000))
    lot = Lot.objects.get(code="L005")
    start = bridge.lot_start_of(lot, [bridge.Origin(lot, 1.0)], small_mill.tables)
    assert start.finish_mass_g == 0
    assert start.weighed_mass_g / (1 + start.actual_regain_frac) == pytest.approx(dry_g, abs=0.01)


def test_a_hold_up_is_conditioned_grams_and_a_rack_keeps_nothing(small_mill):
    card = Machine.objects.filter(stage="card").first()
    rack = Machine.objects.filter(stage="dry").first()
    Machine.objects.update(holdup_mg=234_000)
    part = [part_of(one_lot("L005").row)]
    kept_g = (
        expected_out("card", part).dry_usual_g - expected_out("card", part, machine=card.code).dry_usual_g
    )
    assert kept_g == pytest.approx(234 / 1.17, abs=0.5)
    on_rack = expected_out("dry", part, machine=rack.code if rack else "")
    assert on_rack.dry_usual_g == pytest.approx(expected_out("dry", part).dry_usual_g)


USUAL = {
    "greasy": ("wash", "wash", "tumble"),
    "scoured": ("extract", "dry", "dye", "pick", "card"),
    "opened": ("card", "rest", "pick"),
    "roving": ("draw", "spin", "rest"),
    "single": ("ply",),
    "plied": ("set", "skein"),
    "skein": ("dye", "dry", "skein"),
}


def dry_fibre_g() -> float:
    """Dry fibre the records know of, and whatever is in the grease as it weighs: more it can never be."""
    lots = Lot.objects.all()
    raw_mg = sum(lot.now_mass_mg for lot in lots if lot.now_form in bridge.RAW_FORMS)
    return bridge.grams(raw_mg + sum(lot.now_dry_mg or 0 for lot in lots))


@pytest.mark.parametrize("seed", range(2))
def test_no_row_of_runs_makes_fibre_without_a_reason(small_mill, seed):
    """Any stage, any lots, weights with slips in them: who gives no reason never has more dry fibre."""
    dice = random.Random(seed)
    had_g, kept, asked = dry_fibre_g(), 0, 0
    for _ in range(25):
        codes = [lot.code for lot in Lot.objects.filter(now_mass_mg__gt=0)]
        lots = dice.sample(codes, k=min(len(codes), dice.choice((1, 1, 1, 1, 2))))
        stage = dice.choice(USUAL[Lot.objects.get(code=lots[0]).now_form])
        expected = expected_out(stage, [part_of(one_lot(code).row) for code in lots])
        usual_g = expected.dry_usual_g if expected else 1000.0
        out_g = usual_g * dice.choice((0.97, 0.99, 1.0, 1.01, 1.02, 1.04, 1.4, 10.0))
        reading = wet(out_g * 2) if stage in ("wash", "extract", "dye") else weighed(out_g)
        half = RunOut(reading=replace(reading, gross_g=reading.gross_g / 2))
        outputs = [RunOut(reading=reading)] if dice.random() < 0.8 else [half, half]
        used_up = [lot.code for lot in Lot.objects.filter(now_mass_mg=0)]
        if used_up and dice.random() < 0.2:
            lots = [dice.choice(used_up)]
        ins = [RunIn(lot=code) for code in lots]
        before_g = dry_fibre_g()
        try:
            record_run(small_mill.floor, RunFacts(stage=stage), inputs=ins, outputs=outputs)
        except RefusedError:
            asked += 1
            assert dry_fibre_g() == before_g
            continue
        kept += 1
        assert dry_fibre_g() <= had_g
        run_rows = Run.objects.last()
        went_in = [row.dry_mg for row in run_rows.inputs.all()]
        came_out = [row.lot.now_dry_mg for row in run_rows.outputs.select_related("lot")]
        assert None in went_in or sum(came_out) <= sum(went_in) * 1.005
    assert (kept >= 5, asked >= 3) == (True, True)
