"""A weighing is recorded once, says what it means, and is corrected only by another one."""

import uuid

import pytest

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill.booking import Reading
from doffer.mill.commands.weigh import correct_weighing, record_weighing
from doffer.mill.models import Lot, Weighing
from doffer.mill.queries.lots import one_lot

pytestmark = pytest.mark.django_db


def test_the_same_key_with_the_same_body_gives_the_stored_weighing(small_mill):
    key = uuid.uuid4()
    reading = Reading(gross_g=10_000, tare_g=250, rh_frac=0.65)
    first = record_weighing(small_mill.floor, lot="L005", reading=reading, key=key)
    before = Weighing.objects.count()
    again = record_weighing(small_mill.floor, lot="L005", reading=reading, key=key)
    assert Weighing.objects.count() == before
    assert again.id == first.id
    assert (first.was_known, again.was_known) == (False, True)


def test_the_same_key_with_another_body_is_a_conflict(small_mill):
    key = uuid.uuid4()
    record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=10_000), key=key)
    with pytest.raises(ConflictError, match="sent before as 10000 g of L005"):
        record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=10_001), key=key)
    assert Lot.objects.get(code="L005").now_mass_mg == 10_000_000


def test_another_person_may_send_the_same_weighing_again(small_mill):
    key = uuid.uuid4()
    reading = Reading(gross_g=9_000)
    first = record_weighing(small_mill.floor, lot="L005", reading=reading, key=key)
    assert record_weighing(small_mill.office, lot="L005", reading=reading, key=key).id == first.id


def test_washed_wool_in_a_damp_room_weighs_its_dry_mass_by_absorption(small_mill):
    """Acceptance scenario 1: net 5.850 kg at 17.59 % regain is 4.975 kg oven-dry."""
    reading = Reading(gross_g=6_200, tare_g=350, rh_frac=0.75, branch="measured", measured_regain_frac=0.1759)
    done = record_weighing(small_mill.floor, lot="L005", reading=reading)
    assert done.net_g == 5_850
    assert done.dry_g == pytest.approx(4_975, abs=0.5)


def test_the_branch_of_the_air_makes_the_dry_mass(small_mill):
    damp = {"gross_g": 6_200, "tare_g": 350, "rh_frac": 0.75}
    up = record_weighing(small_mill.floor, lot="L005", reading=Reading(**damp, branch="absorption"))
    down = record_weighing(small_mill.floor, lot="L005", reading=Reading(**damp))
    assert up.dry_g == pytest.approx(4_975, abs=10)  # 17.59 % within the curve's error
    assert down.dry_g == pytest.approx(4_893, abs=10)  # 19.57 %


def test_raw_fibre_has_no_dry_mass_because_nobody_knows_its_dirt(small_mill):
    assert one_lot("L001").row.dry_mass_g is None
    assert one_lot("L001").weighings[0].net_g == 4_000


def test_wet_fibre_keeps_the_dry_mass_that_was_known(small_mill):
    known = one_lot("L005").row.dry_mass_g
    done = record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=25_000, branch="wet"))
    assert done.dry_g is None
    assert one_lot("L005").row.dry_mass_g == known
    assert one_lot("L005").row.mass_g == 25_000


def test_conditioner_is_not_fibre(small_mill):
    plain = record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=5_000, rh_frac=0.65))
    oiled = record_weighing(
        small_mill.floor, lot="L005", reading=Reading(gross_g=5_100, rh_frac=0.65, finish_g=100)
    )
    assert oiled.dry_g == plain.dry_g


def test_a_correction_is_a_new_weighing_that_names_the_old(small_mill):
    wrong = record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=9_990))
    right = correct_weighing(
        small_mill.floor, wrong.id, reading=Reading(gross_g=9_990, tare_g=250), reason="tare forgotten"
    )
    newest, before, *_ = one_lot("L005").weighings
    assert (newest.id, newest.corrects) == (right.id, wrong.id)
    assert (before.id, before.corrected_by, before.net_g) == (wrong.id, right.id, 9_990)
    assert one_lot("L005").row.mass_g == 9_740


def test_a_weighing_is_corrected_once_then_its_correction_is(small_mill):
    wrong = record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=9_990))
    correct_weighing(small_mill.floor, wrong.id, reading=Reading(gross_g=9_000), reason="typing")
    with pytest.raises(ConflictError, match="corrected already"):
        correct_weighing(small_mill.floor, wrong.id, reading=Reading(gross_g=9_500), reason="typing")


def test_on_the_floor_one_corrects_only_ones_own(small_mill):
    theirs = record_weighing(small_mill.office, lot="L005", reading=Reading(gross_g=9_990))
    with pytest.raises(RefusedError, match="Otto made it"):
        correct_weighing(small_mill.floor, theirs.id, reading=Reading(gross_g=9_000), reason="looks wrong")


def test_a_viewer_may_not_weigh(small_mill):
    with pytest.raises(RefusedError, match=r"Vic may not weigh fibre.*owner or office or floor"):
        record_weighing(small_mill.viewer, lot="L005", reading=Reading(gross_g=1))


def test_nobody_may_not_weigh(small_mill):
    with pytest.raises(RefusedError, match="Choose who you are first"):
        record_weighing(None, lot="L005", reading=Reading(gross_g=1))


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"gross_g": -3}, "weight with the container is “-3 g”; it must be zero or more."),
        ({"gross_g": 100, "tare_g": 120}, "from 0 to the 100 g weighed with it"),
        ({"gross_g": 100, "rh_frac": 6.5}, "room humidity is “650 %”; it must be from 0 to 100 %."),
        ({"gross_g": 100, "finish_g": 101}, "conditioner on the fibre"),
        ({"gross_g": 100, "branch": "damp"}, "one of absorption, desorption, wet, measured"),
    ],
)
def test_a_reading_that_cannot_be_says_why(facts, sentence):
    with pytest.raises(InputError) as caught:
        Reading(**facts)
    assert sentence in str(caught.value)


def test_a_weighing_in_the_future_is_refused(small_mill, monday):
    with pytest.raises(InputError, match="not in the future"):
        record_weighing(
            small_mill.floor, lot="L005", reading=Reading(gross_g=1, weighed_at=monday.replace(hour=12))
        )


def test_an_unknown_lot_is_said_in_words(small_mill):
    with pytest.raises(NotFoundError, match="There is no lot “L999”"):
        record_weighing(small_mill.floor, lot="L999", reading=Reading(gross_g=1))
