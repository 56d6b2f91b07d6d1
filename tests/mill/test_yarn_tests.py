"""Tests of yarn: lengths weighed, turns, a wash, a loop that turns back; corrected and never changed."""

import uuid
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, record_run
from doffer.mill.commands.yarn_tests import correct_yarn_test, record_yarn_test
from doffer.mill.models import YarnTest
from doffer.mill.queries.yarn import best_settings, machine_settings, one_yarn_test, yarn_tests
from doffer.mill.queries.yarn_inputs import yarn_inputs
from doffer.mill.yarn_facts import Turns, YarnTestFacts

pytestmark = pytest.mark.django_db
MASSES_G = (2.11, 2.05, 2.16)


def bobbin(**more):
    return YarnTestFacts(**{"state": "bobbin", "masses_g": MASSES_G, **more})


def whole(**more):
    """A finished two-ply with all that can be tested of it."""
    facts = {
        "state": "finished",
        "plies": 2,
        "masses_g": (4.31, 4.37, 4.29),
        "rh_frac": 0.62,
        "actual_regain_frac": 0.155,
        "single": Turns(length_mm=500, turns=(79.5, 82)),
        "ply": Turns(length_mm=250, turns=(27.25, 27.5)),
        "before_mm": (10_000, 10_010.5),
        "after_mm": (9_600, 9_618),
        "back": Turns(length_mm=1000, turns=(52.0,)),
    }
    return YarnTestFacts(**{**facts, **more})


def test_a_whole_test_is_read_back_as_it_was_written(small_mill):
    number = record_yarn_test(small_mill.floor, whole(), lot="L005", note="first skein")
    row = one_yarn_test(number)
    assert row.facts == whole()
    assert (row.lot, row.order, row.run, row.person, row.note) == ("L005", "", "", "Flo", "first skein")
    assert (row.state_words, row.taken_at, row.counts) == ("washed, set and dry", clock.now(), True)


def test_a_test_tells_count_unevenness_twist_and_shrinkage():
    facts = whole()
    assert facts.count_tex == pytest.approx((4.31 + 4.37 + 4.29) / 3 / 10 * 1000)
    assert facts.cv_frac == pytest.approx(0.0416333 / 4.3233333, rel=1e-5)
    assert facts.single.mean_tpm == pytest.approx(161.5)
    assert facts.ply.mean_tpm == pytest.approx(109.5)
    assert facts.ply_ratio == pytest.approx(109.5 / 161.5)
    assert facts.relaxation_frac == pytest.approx(1 - 19_218 / 20_010.5)
    assert facts.back.mean_tpm == 52
    only = bobbin(masses_g=(2.1,))
    assert (only.cv_frac, only.relaxation_frac, only.ply_ratio) == (None, None, None)
    assert bobbin(masses_g=(1.05, 1.05), length_m=5).count_tex == pytest.approx(210)


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"state": "wet"}, "one of roller, bobbin, plied, finished"),
        ({"plies": 2}, "1, for it is not plied yet"),
        ({"masses_g": (2.1, 0)}, "above zero"),
        ({"masses_g": (2.1, float("nan"))}, "above zero"),
        ({"length_m": 0}, "above zero"),
        ({"rh_frac": 62}, "from 0 to 100 %"),
        ({"masses_g": ()}, "lengths weighed, turns, a length washed, or a ply-back"),
        ({"before_mm": (10_000,)}, "one for each of the 1 before"),
        ({"ply": Turns(length_mm=250, turns=(27,))}, "left out for yarn of one ply"),
    ],
)
def test_tests_that_cannot_be_are_refused_with_what_they_should_be(facts, said):
    with pytest.raises(InputError, match=said):
        bobbin(**facts)


def test_turns_without_a_length_or_without_turns_are_refused():
    with pytest.raises(InputError, match="length that was untwisted"):
        Turns(length_mm=0, turns=(20,))
    with pytest.raises(InputError, match="number of turns"):
        Turns(length_mm=250, turns=())
    with pytest.raises(InputError, match="zero or more"):
        Turns(length_mm=250, turns=(-3,))


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"masses_g": (0.05, 0.05)}, r"0.05 g in 10 m is 5 tex"),
        ({"masses_g": (2.1, 2.1, 21.0)}, r"a length weighs 21 g, and 2.1 g is in the middle"),
        ({"single": Turns(length_mm=25, turns=(80,))}, "the singles have 3200 turns per metre"),
        ({"before_mm": (10_000,), "after_mm": (10_400,)}, "4 % longer out of the wash"),
        ({"before_mm": (10_000,), "after_mm": (960,)}, r"90.4 % shorter out of the wash"),
    ],
)
def test_what_can_hardly_be_is_asked_about(small_mill, facts, said):
    with pytest.raises(QuestionError, match=said):
        record_yarn_test(small_mill.floor, bobbin(**facts), lot="L005")
    assert YarnTest.objects.count() == 0
    number = record_yarn_test(small_mill.floor, bobbin(**facts), lot="L005", confirmation="looked twice")
    assert one_yarn_test(number).note == "looked twice"


def test_a_wrong_test_is_corrected_by_a_new_one_that_names_it(small_mill):
    at = clock.now() - timedelta(hours=2)
    wrong = record_yarn_test(small_mill.floor, bobbin(), lot="L005", taken_at=at)
    right = correct_yarn_test(small_mill.owner, wrong, bobbin(length_m=5), reason="5 m and not 10 m")
    old, new = one_yarn_test(wrong), one_yarn_test(right)
    assert (old.corrected_by, old.counts, old.facts.length_m) == (right, False, 10)
    assert (new.corrects, new.counts, new.facts.length_m, new.lot) == (wrong, True, 5, "L005")
    assert (new.taken_at, new.note, new.person) == (at, "5 m and not 10 m", "Ada")
    with pytest.raises(ConflictError, match="corrected already"):
        correct_yarn_test(small_mill.owner, wrong, bobbin(), reason="again")
    with pytest.raises(InputError, match="reason for the correction"):
        correct_yarn_test(small_mill.owner, right, bobbin(), reason=" ")
    with pytest.raises(NotFoundError, match="999"):
        correct_yarn_test(small_mill.owner, 999, bobbin(), reason="slip")


def test_tests_are_found_by_lot_run_and_order(demo_mill):
    y201 = yarn_tests(lot="Y201").rows
    assert y201
    weighed = {"branch": "measured", "measured_regain_frac": 0.15}
    done = record_run(
        demo_mill.owner,
        RunFacts(stage="spin", machine="SPN", order="O201"),
        inputs=[RunIn(lot="L001", reading=Reading(gross_g=1000, **weighed))],
        outputs=[RunOut(reading=Reading(gross_g=950, **weighed), is_product=True)],
        confirmation="yes",
    )
    of_run = record_yarn_test(demo_mill.floor, bobbin(), run=done.run)
    of_lot = record_yarn_test(demo_mill.floor, bobbin(), lot="L001")
    of_order = record_yarn_test(demo_mill.floor, bobbin(), order="O201")
    assert [row.id for row in yarn_tests(run=done.run).rows] == [of_run]
    assert [row.id for row in yarn_tests(lot=done.outputs[0].lot).rows] == [of_run]
    assert [row.id for row in yarn_tests(order="O201").rows][:3] == [of_order, of_lot, of_run]
    assert [row.id for row in yarn_tests(lot="L001").rows] == [of_lot]
    assert {of_order, of_lot, of_run} < {row.id for row in yarn_tests().rows}


def test_fifty_tests_make_a_page_and_one_query(small_mill, django_assert_num_queries):
    numbers = [record_yarn_test(small_mill.floor, bobbin(), lot="L005") for _ in range(51)]
    with django_assert_num_queries(1):
        page = yarn_tests(lot="L005")
    assert [row.id for row in page.rows] == numbers[:0:-1]
    assert page.next_after == numbers[1]
    assert [row.id for row in yarn_tests(lot="L005", after=page.next_after).rows] == numbers[:1]


def test_tests_of_nothing_of_tomorrow_or_by_a_viewer_are_refused(small_mill):
    with pytest.raises(InputError, match="a lot, an order or a run"):
        record_yarn_test(small_mill.floor, bobbin())
    with pytest.raises(InputError, match="not in the future"):
        record_yarn_test(small_mill.floor, bobbin(), lot="L005", taken_at=clock.now() + timedelta(hours=1))
    with pytest.raises(NotFoundError, match="L999"):
        record_yarn_test(small_mill.floor, bobbin(), lot="L999")
    with pytest.raises(RefusedError, match="Vic may not"):
        record_yarn_test(small_mill.viewer, bobbin(), lot="L005")
    assert YarnTest.objects.count() == 0


def test_a_test_sent_twice_is_kept_once(small_mill):
    key = uuid.uuid4()
    assert len({record_yarn_test(small_mill.floor, bobbin(), lot="L005", key=key) for _ in range(2)}) == 1
    assert YarnTest.objects.count() == 1


def test_a_kept_test_cannot_be_changed_with_a_database_tool(small_mill):
    record_yarn_test(small_mill.floor, bobbin(), lot="L005")
    with pytest.raises(IntegrityError, match="only ever added to"), transaction.atomic():
        connection.cursor().execute("UPDATE mill_yarntest SET plies = 3")
    with pytest.raises(IntegrityError, match="only ever added to"), transaction.atomic():
        connection.cursor().execute("DELETE FROM mill_yarntest")
    assert YarnTest.objects.get().plies == 1


def test_the_invented_mill_knows_its_frames_and_tested_its_yarn(demo_mill):
    frame = machine_settings("SPN")
    assert (frame.value("spindles"), frame.value("spindle_rpm"), frame.of("spindles").is_own) == (
        8,
        3000,
        True,
    )
    assert (frame.n_own, frame.of("efficiency").is_guess, len(frame.all_of("draft_teeth"))) == (12, True, 14)
    assert machine_settings("DRW").value("ends") == 6
    best = best_settings("spin", fibre="wool", diameter_um=24.5)
    # the run in the dry room is not among them: it was rated 2
    assert [one.rating for one in best] == [5, 4]
    assert best[0].of("spindle_rpm").value == 3000
    corrected = [row for row in yarn_tests(lot="Y203").rows if row.corrects]
    assert [round(row.facts.count_tex) for row in corrected] == [397]
    fibre = yarn_inputs(lots=["L005"]).fibre
    assert (fibre.strength_n_per_ktex, fibre.break_point, fibre.break_frac) == (24, "middle", 0.4)
