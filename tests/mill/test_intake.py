"""At the door: tag first, then the bag is opened, looked at, skirted, graded."""

import uuid

import pytest

from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.intake import (
    Bag,
    FibreFacts,
    Skirting,
    check_for_pests,
    skirt_and_grade,
    weigh_in_bag,
)
from doffer.mill.models import Lot, Run
from doffer.mill.queries.lots import list_lots, lot_by_tag, one_lot

pytestmark = pytest.mark.django_db


def wool(customer: str, **more: object) -> Bag:
    reading = Reading(gross_g=4_250, tare_g=250, rh_frac=0.6)
    return Bag(customer=customer, facts=FibreFacts(fibre="wool", colour_name="grey"), reading=reading, **more)


def test_a_bag_becomes_a_lot_whose_tag_finds_it(small_mill):
    done = weigh_in_bag(small_mill.floor, wool(small_mill.moss))
    assert (done.lot, done.net_g) == ("L006", 4_000)
    assert lot_by_tag(done.tag.lower()) == "L006"
    lot = one_lot("L006")
    assert (lot.row.owner_name, lot.row.place, lot.row.form) == ("Moss Edge Farm", "door", "greasy")
    assert [(c.tag, c.tare_g) for c in lot.containers] == [(done.tag, 250)]
    assert lot.created_by == "Flo"


def test_a_form_sent_twice_makes_one_lot(small_mill):
    key = uuid.uuid4()
    first = weigh_in_bag(small_mill.floor, wool(small_mill.moss), key=key)
    assert weigh_in_bag(small_mill.floor, wool(small_mill.moss), key=key) == first
    assert Lot.objects.count() == 6


def test_fibre_without_a_known_kind_or_owner_is_refused_with_words(small_mill):
    unknown = Bag(customer=small_mill.moss, facts=FibreFacts(fibre="wol"), reading=Reading(gross_g=3000))
    with pytest.raises(InputError, match="fibre is “wol”; it must be one of wool, alpaca"):
        weigh_in_bag(small_mill.floor, unknown)
    with pytest.raises(NotFoundError, match="There is no owner “C99”"):
        weigh_in_bag(small_mill.floor, wool("C99"))
    assert Lot.objects.count() == 5


def test_a_number_that_is_taken_is_refused(small_mill):
    with pytest.raises(InputError, match="lot number is “L001”"):
        weigh_in_bag(small_mill.floor, wool(small_mill.moss, lot="L001"))


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"vm_grade": 5}, "vegetable matter is “5”; it must be from 0 to 4."),
        ({"second_cuts": -1}, "second cuts is “-1”; it must be from 0 to 3."),
        ({"diameter_um": 230}, "fibre diameter is “230 micron”; it must be from 5 to 80 micron."),
        ({"soundness": "rotten"}, "one of unknown, sound, tender, fragile"),
        ({"lab": (120, 0, 0)}, "L from 0 to 100"),
    ],
)
def test_a_grade_that_does_not_exist_is_refused(facts, sentence):
    with pytest.raises(InputError) as caught:
        FibreFacts(fibre="wool", **facts)
    assert sentence in str(caught.value)


def test_larvae_send_the_lot_to_the_quarantine_shelf_on_hold(small_mill):
    hold = check_for_pests(small_mill.floor, "L001", seen="found", note="larvae in the neck wool")
    lot = one_lot("L001")
    assert lot.row.location == "quarantine shelf"
    assert lot.row.is_held
    assert [(h.id, h.kind, h.opened_by) for h in lot.holds] == [(hold, "moth", "Flo")]
    assert check_for_pests(small_mill.floor, "L001", seen="found") == hold


def test_a_clear_bag_is_not_held(small_mill):
    assert check_for_pests(small_mill.floor, "L001", seen="clear") is None
    assert (one_lot("L001").row.pest, one_lot("L001").row.is_held) == ("clear", False)


def test_skirting_is_a_run_with_reject_and_grade(small_mill):
    code = skirt_and_grade(
        small_mill.floor,
        "L001",
        Skirting(
            reading=Reading(gross_g=3_650, tare_g=250),
            reject_g=550,
            minutes=35,
            staple_mm=82,
            soundness="tender",
            vm_grade=2,
            second_cuts=1,
            want_waste_back=True,
        ),
    )
    lot = one_lot("L001")
    assert (lot.row.mass_g, lot.row.form, lot.row.soundness) == (3_400, "skirted", "tender")
    assert (lot.staple_mm, lot.vm_grade, lot.second_cuts, lot.want_waste_back) == (82, 2, 1, True)
    run = Run.objects.get(code=code)
    assert (run.stage, run.settings["minutes"], run.wastes.get().mass_mg) == ("skirt", 35, 550_000)
    assert lot.diameter_um == 24.0  # what was not looked at stays


def test_weight_gained_on_the_skirting_table_is_asked_about(small_mill):
    heavy = Skirting(reading=Reading(gross_g=3_900), reject_g=550, minutes=10)
    with pytest.raises(QuestionError, match="L001 gained weight on the skirting table"):
        skirt_and_grade(small_mill.floor, "L001", heavy)
    assert one_lot("L001").row.form == "greasy"


def test_a_viewer_takes_no_bags_in(small_mill):
    with pytest.raises(RefusedError, match="Vic may not take bags in"):
        weigh_in_bag(small_mill.viewer, wool(small_mill.moss))


def test_lots_are_found_by_any_word_and_by_tag(small_mill):
    tag = small_mill.bags[2].tag
    assert [row.code for row in list_lots(search="fern white").rows] == ["L004"]
    assert [row.code for row in list_lots(search=tag.lower()).rows] == ["L003"]
    assert [row.code for row in list_lots(owner=small_mill.moss).rows] == ["L002", "L001"]
    assert [row.code for row in list_lots(place="store").rows] == ["L005"]
    assert list_lots(search="peacock").rows == ()
