"""A bag that nobody looked into for moth goes through no machine and onto no shelf of the store."""

import pytest

from doffer.errors import RefusedError
from doffer.mill.booking import Reading
from doffer.mill.commands.intake import (
    Bag,
    FibreFacts,
    Skirting,
    check_for_pests,
    skirt_and_grade,
    weigh_in_bag,
)
from doffer.mill.commands.looked import NobodyLookedError
from doffer.mill.commands.lots import move_lot
from doffer.mill.commands.run_stage import RunFacts, RunIn, RunOut, begin_run, record_run
from doffer.mill.models import Hold, Lot, Run, RunInput

pytestmark = pytest.mark.django_db
UNSEEN = "Nobody has looked for moth in L006 yet"


@pytest.fixture
def unseen(small_mill):
    """L006 has just been weighed and is still closed."""
    bag = Bag(customer=small_mill.moss, facts=FibreFacts(fibre="wool"), reading=Reading(gross_g=4000))
    assert weigh_in_bag(small_mill.floor, bag).lot == "L006"
    return small_mill


def wash(mill, **more):
    return record_run(
        mill.floor,
        RunFacts(stage="wash"),
        inputs=[RunIn(lot="L006")],
        outputs=[RunOut(reading=Reading(gross_g=2000, rh_frac=0.65))],
        **more,
    )


def test_no_word_lets_a_bag_through_that_nobody_looked_into(unseen):
    for confirmation in ("", "it is right"):
        with pytest.raises(NobodyLookedError, match=UNSEEN) as asked:
            wash(unseen, confirmation=confirmation)
        assert asked.value.lots == ("L006",)
        with pytest.raises(NobodyLookedError, match=UNSEEN):
            begin_run(unseen.floor, RunFacts(stage="wash"), [RunIn(lot="L006")], confirmation=confirmation)
    assert not Run.objects.exists()
    assert Lot.objects.get(code="L006").now_mass_mg == 4_000_000


def test_it_does_not_go_on_the_skirting_table_or_into_the_store(unseen):
    skirting = Skirting(reading=Reading(gross_g=3500), reject_g=400, minutes=10, confirmation="it is right")
    with pytest.raises(NobodyLookedError, match=UNSEEN):
        skirt_and_grade(unseen.floor, "L006", skirting)
    with pytest.raises(NobodyLookedError, match="does not go into the store"):
        move_lot(unseen.floor, "L006", place="store", location="own bin 3")
    move_lot(unseen.floor, "L006", place="door", location="door shelf")
    assert Lot.objects.get(code="L006").location == "door shelf"


def test_once_it_was_looked_into_it_goes_on(unseen):
    check_for_pests(unseen.floor, "L006", seen="clear")
    assert wash(unseen).run
    move_lot(unseen.floor, "L006", place="store", location="own bin 3")


def test_larvae_send_it_to_the_quarantine_shelf_on_hold(unseen):
    check_for_pests(unseen.floor, "L006", seen="found", note="larvae at the neck")
    with pytest.raises(RefusedError, match="L006 is on hold, moth: larvae at the neck"):
        wash(unseen)
    assert Lot.objects.get(code="L006").location == "quarantine shelf"


def test_every_lot_of_the_invented_mill_that_went_through_a_machine_was_looked_into(demo_mill):
    used = Lot.objects.filter(pk__in=RunInput.objects.values("lot"))
    assert used.exists()
    assert not used.filter(pest="unchecked").exists()
    assert Hold.objects.filter(order__code="O202", kind="moth").exists()
