"""How machines mix: a figure counts until a newer one, trials are corrected and never changed."""

import io
import math
import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from PIL import Image

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.booking import QuestionError
from doffer.mill.commands.evenness import (
    FigureFacts,
    TrialFacts,
    correct_trial,
    record_figure,
    record_trial,
)
from doffer.mill.commands.lots import add_photo
from doffer.mill.commands.machines import archive_machine
from doffer.mill.evenness_facts import (
    CleanDownFacts,
    FoundFigure,
    PhotoFacts,
    PieceVariance,
    PulseFacts,
    SampleFacts,
    TrialResult,
    TuftFacts,
    kept_facts,
    kept_result,
    read_facts,
    read_result,
)
from doffer.mill.models import EvennessTrial, MachineFigure
from doffer.mill.queries.evenness import machine_figures, one_trial, trials
from doffer.people.models import Person

pytestmark = pytest.mark.django_db
PICKER, CARD = "PIC1", "CAR1"
CLEAN_DOWN = CleanDownFacts(masses_g=(62.0, 66.0), actual_regain_frac=0.16)


def measured(value=55.0, **more):
    return FigureFacts(**{"key": "card_hold_up", "value": value, "found": "clean-down", **more})


def of_card(facts=CLEAN_DOWN, **more):
    return TrialFacts(**{"facts": facts, "stage": "card", "machine": CARD, **more})


def test_a_machine_nobody_measured_has_the_usual_figures_and_they_are_guesses(small_mill):
    picker = machine_figures(PICKER)
    assert (picker.stage, picker.n_own) == ("pick", 0)
    hold_up = picker.figure("picker_hold_up")
    usual = small_mill.tables.evenness_figures["picker_hold_up"]
    assert (hold_up.value, hold_up.low, hold_up.high) == (usual.value, usual.low, usual.high)
    assert (hold_up.unit, hold_up.is_own, hold_up.is_guess, hold_up.history) == ("g", False, True, ())
    assert [row.key for row in machine_figures(CARD).figures] == ["card_hold_up"]
    assert machine_figures("SPI1").figures == ()


def test_the_newest_figure_counts_and_the_older_ones_stay_in_its_history(small_mill):
    first = record_figure(small_mill.floor, CARD, measured(55.0, low=50, high=60.5, n=2, note="Friday"))
    second = record_figure(small_mill.owner, CARD, measured(58.125, low=56, high=60.1))
    row = machine_figures(CARD).figure("card_hold_up")
    assert (row.value, row.low, row.high) == (58.125, 56, 60.1)
    assert (row.is_own, row.is_guess, row.usual.value) == (True, False, 60)
    assert [(one.id, one.value, one.person) for one in row.history] == [
        (second, 58.125, "Ada"),
        (first, 55, "Flo"),
    ]
    assert (row.history[1].note, row.history[1].n) == ("Friday", 2)
    assert row.history[0].found_words == "weighed at a clean-down"
    assert MachineFigure.objects.get(pk=second).supersedes_id == first
    assert machine_figures(CARD).n_own == 1


def test_a_figure_of_the_mill_that_was_guessed_is_its_own_and_still_a_guess(small_mill):
    record_figure(small_mill.owner, CARD, measured(50.0, found="guess"))
    row = machine_figures(CARD).figure("card_hold_up")
    assert (row.value, row.is_own, row.is_guess) == (50, True, True)
    # as unsure, in proportion, as the usual 60 from 40 to 100
    assert (row.low, row.high) == (
        pytest.approx(50 * 40 / 60, abs=1e-6),
        pytest.approx(50 * 100 / 60, abs=1e-6),
    )


def test_figures_as_small_as_a_clump_are_kept_without_rounding(small_mill):
    record_figure(
        small_mill.owner,
        PICKER,
        FigureFacts(key="clump_after_3", value=0.0213, low=0.0187, high=0.0251, found="tufts", n=20),
    )
    row = machine_figures(PICKER).figure("clump_after_3")
    assert (row.value, row.low, row.high) == (0.0213, 0.0187, 0.0251)


def test_a_hold_up_ten_times_the_usual_is_asked_about(small_mill):
    with pytest.raises(QuestionError, match=r"it is 600 g, and 60 g is usual"):
        record_figure(small_mill.owner, CARD, measured(600.0))
    with pytest.raises(QuestionError, match=r"it is 6 g, and 60 g is usual"):
        record_figure(small_mill.owner, CARD, measured(6.0))
    assert MachineFigure.objects.count() == 0
    record_figure(small_mill.owner, CARD, measured(599.0))
    record_figure(small_mill.owner, CARD, measured(600.0, note="new card"), confirmation="two metres wide")
    row = machine_figures(CARD).figure("card_hold_up")
    assert (row.value, row.now.note) == (600, "new card; two metres wide")


def test_a_figure_belongs_to_its_kind_of_machine(small_mill):
    with pytest.raises(RefusedError, match="“what the card holds” is a figure of the card"):
        record_figure(small_mill.owner, PICKER, measured())
    with pytest.raises(InputError, match=r"picker_hold_up, .*end_correlation"):
        record_figure(small_mill.owner, CARD, measured(key="viewing_distance"))
    archive_machine(small_mill.owner, CARD)
    with pytest.raises(NotFoundError, match="machine"):
        record_figure(small_mill.owner, CARD, measured())


@pytest.mark.parametrize(
    "wrong",
    [
        {"low": 60.0},
        {"high": 50.0},
        {"low": -1.0},
        {"value": float("nan")},
        {"value": float("inf")},
        {"found": "dreamt"},
        {"n": 0},
    ],
)
def test_a_figure_that_cannot_be_is_refused(wrong):
    with pytest.raises(InputError):
        measured(**wrong)


def test_a_share_never_exceeds_one(small_mill):
    from doffer.mill.commands.machines import MachineFacts, add_machine

    code = add_machine(small_mill.owner, MachineFacts(name="pin drafter", stage="draw"))
    with pytest.raises(InputError, match="from 0 to 1"):
        record_figure(
            small_mill.owner, code, FigureFacts(key="end_correlation", value=1.2, found="photo", high=1.3)
        )
    record_figure(
        small_mill.owner,
        code,
        FigureFacts(key="end_correlation", value=0.2, low=0.1, high=1.3, found="photo"),
    )
    row = machine_figures(code).figure("end_correlation")
    assert (row.value, row.low, row.high) == (0.2, 0.1, 1.0)


def test_a_viewer_records_nothing(small_mill):
    with pytest.raises(RefusedError, match="may not record how evenly a machine mixes"):
        record_figure(small_mill.viewer, CARD, measured())
    with pytest.raises(RefusedError, match="may not record how evenly a machine mixes"):
        record_trial(small_mill.viewer, of_card())


def test_a_form_sent_twice_is_one_record(small_mill):
    key, other = uuid.uuid4(), uuid.uuid4()
    assert len({record_figure(small_mill.owner, CARD, measured(), key=key) for _ in range(2)}) == 1
    assert len({record_trial(small_mill.owner, of_card(), key=other) for _ in range(2)}) == 1
    assert (MachineFigure.objects.count(), EvennessTrial.objects.count()) == (1, 1)
    with pytest.raises(ConflictError):
        record_figure(small_mill.owner, CARD, measured(56.0), key=key)


FACTS = {
    "photo": PhotoFacts(length_mm=312.5, mm_per_px=0.084667, strand_tex=3000.0, n_strips=3, component="L002"),
    "samples": SampleFacts(
        masses_g=(1.004, 0.987), actual_regain_frac=0.152, shares_frac=(0.2075, 0.195), component="L002"
    ),
    "pulse": PulseFacts(pulse_g=5.0, masses_g=(2.0, 2.1, 1.9), shares_frac=(0.08, 0.061, 0.05)),
    "clean-down": CLEAN_DOWN,
    "tufts": TuftFacts(masses_g=(0.02, 0.031, 0.018, 0.025, 0.022)),
}
RESULT = TrialResult(
    signal="share",
    pieces=(
        PieceVariance(variance=0.3249, standard_error=0.07, n_pieces=20, piece_g=1.0),
        PieceVariance(variance=-0.0012, standard_error=0.004, n_pieces=30, length_mm=10.0),
    ),
    figures=(FoundFigure("card_hold_up", 62.4, 60.4, 64.4),),
    words=("Three strips would tell more.",),
)


@pytest.mark.parametrize("kind", FACTS)
def test_facts_are_kept_in_whole_numbers_and_read_back_as_they_were(kind):
    kept = kept_facts(FACTS[kind])
    numbers = [x for value in kept.values() for x in (value if isinstance(value, list) else [value])]
    assert all(isinstance(x, int | str) for x in numbers)
    assert read_facts(kind, kept) == FACTS[kind]


def test_a_result_is_kept_in_whole_numbers_also_below_zero():
    kept = kept_result(RESULT)
    assert kept["pieces"][0] == {"variance_micro": 324_900, "se_micro": 70_000, "n": 20, "piece_mg": 1000}
    assert kept["pieces"][1]["variance_micro"] == -1200
    assert kept["figures"] == {"card_hold_up": [62_400_000, 60_400_000, 64_400_000]}
    assert read_result(kept) == RESULT


@pytest.mark.parametrize(
    ("facts", "wrong", "says"),
    [
        (PhotoFacts, {"length_mm": 300, "mm_per_px": 0}, "ruler"),
        (SampleFacts, {"masses_g": (1.0,), "length_mm": 10}, "from 2 to"),
        (SampleFacts, {"masses_g": (1.0, 0.0), "length_mm": 10}, "above zero grams"),
        (SampleFacts, {"masses_g": (1.0, 1.1)}, "share of a component"),
        (SampleFacts, {"masses_g": (1.0, 1.1), "shares_frac": (0.2, 0.3)}, "whose share"),
        (SampleFacts, {"masses_g": (1.0, 1.1), "shares_frac": (0.2,), "component": "L1"}, "each of the 2"),
        (PulseFacts, {"pulse_g": 5, "masses_g": (1, 1, 1), "shares_frac": (0.1, 0.2, 1.2)}, "100 %"),
        (CleanDownFacts, {"masses_g": ()}, "from 1 to"),
        (CleanDownFacts, {"masses_g": (60,), "actual_regain_frac": 16}, "water"),
        (TuftFacts, {"masses_g": (0.1, 0.1)}, "from 5 to"),
    ],
)
def test_facts_that_cannot_be_are_refused_with_a_sentence(facts, wrong, says):
    with pytest.raises(InputError, match=says):
        facts(**wrong)


def test_a_trial_is_shown_with_its_machine_lot_and_run(small_mill):
    facts = of_card(FACTS["samples"], lot="L001", result=RESULT, passes=2, note="off the card")
    number = record_trial(small_mill.floor, facts)
    (row,) = trials(lot="L001").rows
    assert row == one_trial(number)
    assert (row.id, row.kind, row.lot, row.machine, row.machine_name) == (
        number,
        "samples",
        "L001",
        CARD,
        "card, 0.6 m wide",
    )
    assert (row.stage, row.passes, row.note, row.person) == ("card", 2, "off the card", "Flo")
    assert (row.facts, row.result, row.counts) == (FACTS["samples"], RESULT, True)
    assert [one.id for one in trials(machine=CARD).rows] == [number]
    assert trials(machine=PICKER).rows == trials(lot="L002").rows == ()


def test_a_clean_down_ten_times_the_usual_is_asked_about(small_mill):
    heavy = of_card(CleanDownFacts(masses_g=(700.0, 720.0), actual_regain_frac=0.16))
    with pytest.raises(QuestionError, match=r"“what the card holds” is far from the usual"):
        record_trial(small_mill.floor, heavy)
    assert EvennessTrial.objects.count() == 0
    number = record_trial(small_mill.floor, heavy, confirmation="weighed twice")
    assert one_trial(number).note == "weighed twice"


@pytest.mark.parametrize(
    ("said", "error"),
    [
        ({"machine": ""}, InputError),
        ({"machine": "NONE"}, NotFoundError),
        ({"lot": "L999"}, NotFoundError),
        ({"order": "O999"}, NotFoundError),
        ({"run": "N999"}, NotFoundError),
        ({"stage": "pick"}, RefusedError),
    ],
)
def test_a_trial_names_something_that_is_there(small_mill, said, error):
    with pytest.raises(error):
        record_trial(small_mill.owner, of_card(**said))
    assert EvennessTrial.objects.count() == 0


def test_a_trial_is_not_of_tomorrow_nor_of_no_stage(small_mill):
    with pytest.raises(InputError, match="not in the future"):
        record_trial(small_mill.owner, of_card(taken_at=clock.now() + timedelta(days=1)))
    with pytest.raises(InputError, match="stage"):
        of_card(stage="polish")
    with pytest.raises(InputError, match="from 0 to 12"):
        of_card(passes=13)


def strip() -> bytes:
    """A small picture of stripes."""
    picture = Image.new("RGB", (60, 8))
    picture.putdata([(200 - 6 * (x % 12),) * 3 for _ in range(8) for x in range(60)])
    file = io.BytesIO()
    picture.save(file, "PNG")
    return file.getvalue()


def test_a_photo_of_a_strip_is_one_of_its_own_lot(small_mill, settings, tmp_path):
    settings.MEDIA_ROOT = str(tmp_path)
    photo = add_photo(small_mill.owner, "L001", data=strip())
    with pytest.raises(InputError, match="looked at again"):
        of_card(FACTS["photo"], lot="L001")
    with pytest.raises(NotFoundError, match="photo of this lot"):
        record_trial(small_mill.owner, of_card(FACTS["photo"], lot="L002", photo=photo))
    number = record_trial(small_mill.owner, of_card(FACTS["photo"], lot="L001", photo=photo))
    row = one_trial(number)
    assert (row.photo, row.facts) == (photo, FACTS["photo"])
    assert row.photo_name.endswith(".png")


def test_a_corrected_trial_stays_and_makes_figures_found_from_it_doubtful(small_mill):
    wrong = record_trial(small_mill.floor, of_card(lot="L001"))
    record_figure(small_mill.floor, CARD, measured(trials=(wrong,)))
    assert not machine_figures(CARD).figure("card_hold_up").now.is_doubtful
    again = TrialFacts(facts=CleanDownFacts(masses_g=(70.0, 71.0)), stage="card")
    new = correct_trial(small_mill.floor, wrong, again, reason="tray was not taken off")
    old, row = one_trial(wrong), one_trial(new)
    assert (old.corrected_by, old.counts, old.facts) == (new, False, CLEAN_DOWN)
    assert (row.corrects, row.note, row.lot, row.machine) == (wrong, "tray was not taken off", "L001", CARD)
    assert row.taken_at == old.taken_at
    assert machine_figures(CARD).figure("card_hold_up").now.is_doubtful
    with pytest.raises(ConflictError, match="corrected already"):
        correct_trial(small_mill.floor, wrong, again, reason="once more")
    with pytest.raises(InputError, match="reason"):
        correct_trial(small_mill.floor, new, again, reason=" ")
    with pytest.raises(NotFoundError):
        correct_trial(small_mill.floor, 999, again, reason="gone")


def test_a_figure_rests_on_trials_that_are_there(small_mill):
    with pytest.raises(NotFoundError, match="trial"):
        record_figure(small_mill.owner, CARD, measured(trials=(41,)))


def test_figures_and_trials_cannot_be_changed_by_any_program(small_mill):
    record_trial(small_mill.owner, of_card())
    record_figure(small_mill.owner, CARD, measured())
    for sql in (
        "UPDATE mill_machinefigure SET value_micro = 1",
        "DELETE FROM mill_machinefigure",
        "UPDATE mill_evennesstrial SET note = 'no'",
        "DELETE FROM mill_evennesstrial",
    ):
        with pytest.raises(IntegrityError) as caught, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
        assert "only ever added to" in str(caught.value)
    assert machine_figures(CARD).figure("card_hold_up").value == 55


def test_a_figure_outside_its_ends_is_refused_by_the_database(small_mill):
    record_figure(small_mill.owner, CARD, measured())
    row = MachineFigure.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        MachineFigure.objects.create(
            machine=row.machine,
            key="card_hold_up",
            value_micro=5,
            low_micro=6,
            high_micro=7,
            found="guess",
            made_at=row.made_at,
            person=row.person,
        )


def test_a_long_history_costs_no_more_questions(small_mill, django_assert_num_queries):
    trial = record_trial(small_mill.owner, of_card())
    for turn in range(53):
        record_figure(small_mill.owner, CARD, measured(40.0 + turn, trials=(trial,), low=1.0, high=100.0))
    with django_assert_num_queries(5):
        row = machine_figures(CARD).figure("card_hold_up")
    assert (row.value, len(row.history), row.history[-1].value) == (92, 50, 43)
    with django_assert_num_queries(1):
        assert len(trials(machine=CARD).rows) == 1


def test_what_counts_is_found_behind_fifty_newer_figures_of_another_key(small_mill):
    bin_grab = FigureFacts(key="bin_grab", value=8.0, found="samples")
    record_figure(small_mill.owner, PICKER, bin_grab)
    row = MachineFigure.objects.get()
    MachineFigure.objects.bulk_create(
        MachineFigure(
            pk=row.pk + turn,
            machine=row.machine,
            key="picker_hold_up",
            value_micro=turn,
            low_micro=turn,
            high_micro=turn,
            found="guess",
            made_at=row.made_at,
            person=row.person,
            supersedes_id=row.pk + turn - 1 if turn > 1 else None,
        )
        for turn in range(1, 401)
    )
    picker = machine_figures(PICKER)
    assert (picker.figure("bin_grab").value, picker.figure("picker_hold_up").value) == (8, 0.0004)


def figures_of(facts, **more):
    number = record_trial(Person.objects.get(name="Ada"), of_card(facts, **more))
    return one_trial(number).result.figures


def test_a_clean_down_gives_the_hold_up_as_oven_dry_fibre(small_mill):
    (found,) = figures_of(CLEAN_DOWN)
    assert (found.key, found.value) == ("card_hold_up", pytest.approx(64 / 1.16, abs=1e-6))
    assert (found.low, found.high) == (pytest.approx(0.9 * found.value), pytest.approx(1.1 * found.value))


def test_a_pulse_gives_the_hold_up_it_dies_away_with(small_mill):
    regain, tau_g, pieces = 0.15, 52.0, 60
    middles = [2.0 * piece + 1.0 for piece in range(pieces)]
    shares = tuple(0.09 * math.exp(-mass / tau_g) for mass in middles)
    pulse = PulseFacts(
        pulse_g=5.0, masses_g=(2.0 * (1 + regain),) * pieces, shares_frac=shares, actual_regain_frac=regain
    )
    (found,) = figures_of(pulse)
    assert (found.key, found.value) == ("card_hold_up", pytest.approx(tau_g, rel=1e-3))
    assert found.low < tau_g < found.high


@pytest.mark.parametrize(
    ("passes", "key"), [(0, "clump_fed"), (1, "clump_after_1"), (3, "clump_after_3"), (5, "clump_after_3")]
)
def test_tufts_give_the_clumps_after_as_many_passes(small_mill, passes, key):
    tufts = TuftFacts(masses_g=(0.1, 0.2, 0.3, 0.2, 0.2), actual_regain_frac=0.1)
    (found,) = figures_of(tufts, stage="pick", machine=PICKER, passes=passes)
    # E[m^2] / E[m] = 0.22 / 1.0 as weighed
    assert (found.key, found.value) == (key, pytest.approx(0.22 / 1.1, abs=1e-6))


def test_tufts_behind_the_card_are_no_figure_of_a_machine(small_mill):
    assert figures_of(TuftFacts(masses_g=(0.1,) * 5)) == ()


def test_samples_give_the_variance_between_them_with_its_error(small_mill):
    shares = (0.18, 0.20, 0.22, 0.24, 0.16)
    facts = SampleFacts(masses_g=(1.15,) * 5, actual_regain_frac=0.15, shares_frac=shares, component="L002")
    result = one_trial(record_trial(small_mill.floor, of_card(facts))).result
    (piece,) = result.pieces
    assert (result.signal, piece.n_pieces, piece.piece_g, piece.length_mm) == ("share", 5, 1.0, None)
    assert piece.variance == pytest.approx(10.0)  # points squared: 4, 0, 4, 16, 16 over four
    assert piece.standard_error == pytest.approx(10 * math.sqrt(2 / 4), abs=1e-6)
    by_length = SampleFacts(masses_g=(0.9, 1.0, 1.1), length_mm=300)
    result = one_trial(record_trial(small_mill.floor, of_card(by_length))).result
    assert (result.signal, result.pieces[0].length_mm) == ("mass", 300)
    assert result.pieces[0].variance == pytest.approx(100.0)  # 10 per cent of the mean


def test_a_photo_tells_what_was_read_from_it_and_nothing_by_itself(small_mill, settings, tmp_path):
    settings.MEDIA_ROOT = str(tmp_path)
    photo = add_photo(small_mill.owner, "L001", data=strip())
    told = [
        one_trial(
            record_trial(small_mill.owner, of_card(FACTS["photo"], lot="L001", photo=photo, result=one))
        )
        for one in (None, RESULT)
    ]
    assert [row.result for row in told] == [TrialResult(), RESULT]
