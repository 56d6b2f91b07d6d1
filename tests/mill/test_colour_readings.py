"""Readings keep every tuft, tell mean and spread, and never let unlike pads be compared in silence."""

import uuid
from datetime import timedelta

import numpy as np
import pytest
from django.db import IntegrityError, connection, transaction
from tests.mill.conftest import seen

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import clock, colours
from doffer.mill.bridge import current_tables
from doffer.mill.colours import Pad
from doffer.mill.commands.readings import Seen, Tuft, correct_reading, record_readings
from doffer.mill.models import ColourReading, Lot
from doffer.mill.palette import coloured
from doffer.mill.queries.bench import bench
from doffer.mill.queries.lots import one_lot
from doffer.mill.queries.readings import colour_of_lot, lot_sittings

pytestmark = pytest.mark.django_db

FLAT = tuple([0.2] * 31)


def test_tufts_of_one_sitting_give_a_mean_and_a_spread(dye_house):
    record_readings(dye_house.floor, seen=seen((50, 0, 0), (52, 0, 0), (51, 0, 0)), lot="L005")
    found = lot_sittings("L005")[0]
    assert found.n_tufts == 3
    assert found.lab[0] == pytest.approx(51, abs=0.02)
    assert found.most_de == pytest.approx(0.99, abs=0.02)  # a unit of lightness near L 50 is nearly 1
    assert found.spread_de == pytest.approx(2 / 3 * found.most_de, abs=0.02)


def test_the_mean_of_two_tufts_is_the_mean_of_their_light_not_of_their_lab(dye_house):
    record_readings(dye_house.floor, seen=seen((20, 0, 0), (90, 0, 0)), lot="L005")
    light = sum(((lightness + 16) / 116) ** 3 for lightness in (20, 90)) / 2
    assert lot_sittings("L005")[0].lab[0] == pytest.approx(116 * light ** (1 / 3) - 16, abs=0.01)


def test_a_spectrum_is_kept_as_31_whole_numbers_with_its_lab_under_three_lights(dye_house):
    done = record_readings(
        dye_house.floor, seen=Seen(tufts=(Tuft(reflectance=FLAT),), geometry="d/8"), lot="L005"
    )
    row = ColourReading.objects.get(pk=done.ids[0])
    assert row.reflectance_ppm == [200_000] * 31
    assert row.kind == "spectrum"
    labs = colours.plain_labs(row.labs_centi)
    assert set(labs) == {"D65", "A", "LED-B3"}
    assert labs["D65"] == pytest.approx((116 * 0.2 ** (1 / 3) - 16, 0, 0), abs=0.01)


def test_lab_under_two_lights_is_known_better_than_under_one(dye_house):
    two = Seen(tufts=(Tuft(labs={"D65": (50, 10, 10), "A": (52, 12, 13)}),))
    record_readings(dye_house.floor, seen=two, lot="L005")
    found = colour_of_lot("L005")
    assert found.kind == "lab2"
    known = found.known(dye_house.tables)
    assert known.error_de < dye_house.tables.colour_models["any/error_mean/read_lab"].value
    lab = colours.labs_under(known.reflectance, dye_house.tables, observer_deg=10)
    assert np.abs(np.array(lab["A"]) - (52, 12, 13)).max() < 0.5


def test_the_newest_dry_sitting_is_the_colour_of_the_lot_and_wet_ones_are_kept_beside(dye_house):
    record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005")
    record_readings(dye_house.floor, seen=seen((40, 0, 0), is_wet=True), lot="L005")
    assert colour_of_lot("L005").lab[0] == pytest.approx(50)
    assert [one.pad.is_wet for one in lot_sittings("L005")] == [True, False]
    assert one_lot("L005").row.lab == (50, 0, 0)


def test_a_photo_is_kept_as_a_sketch_and_never_counts_as_the_colour(dye_house):
    record_readings(dye_house.floor, seen=seen((55, 1, 1), is_photo=True), lot="L005")
    assert lot_sittings("L005")[0].kind == "photo"
    assert colour_of_lot("L005") is None
    assert one_lot("L005").row.lab == (84, 0.1, 9)


def test_a_correction_takes_the_place_of_one_tuft_and_both_stay(dye_house):
    first = record_readings(dye_house.floor, seen=seen((50, 0, 0), (70, 0, 0)), lot="L005")
    correct_reading(dye_house.floor, first.ids[1], seen=seen((50, 0, 0)), reason="white tile was dirty")
    found = lot_sittings("L005")[0]
    assert len(found.tufts) == 3
    assert found.n_tufts == 2
    assert found.lab[0] == pytest.approx(50)
    assert found.tufts[1].corrected_by == found.tufts[2].id
    assert "white tile" in found.tufts[2].note
    with pytest.raises(ConflictError, match="corrected already"):
        correct_reading(dye_house.floor, first.ids[1], seen=seen((51, 0, 0)), reason="again")


def test_a_reading_said_to_be_wet_afterwards_no_longer_counts_as_dry(dye_house):
    first = record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005")
    correct_reading(dye_house.floor, first.ids[0], seen=seen((50, 0, 0), is_wet=True), reason="it was wet")
    assert colour_of_lot("L005") is None


def test_a_correction_needs_a_reason(dye_house):
    first = record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005")
    with pytest.raises(InputError, match="reason for the correction is missing"):
        correct_reading(dye_house.floor, first.ids[0], seen=seen((51, 0, 0)), reason=" ")


def test_the_same_key_records_a_sitting_once(dye_house):
    key = uuid.uuid4()
    first = record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005", key=key)
    again = record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005", key=key)
    assert again == first
    assert len(lot_sittings("L005")) == 1
    with pytest.raises(ConflictError, match="sent before"):
        record_readings(dye_house.floor, seen=seen((51, 0, 0)), lot="L005", key=key)


@pytest.mark.parametrize(
    ("tuft", "sentence"),
    [
        (Tuft(reflectance=(*FLAT[:30], 1.3)), "at most 1.2"),
        (Tuft(reflectance=(*FLAT[:30], -0.01)), "zero or more"),
        (Tuft(reflectance=(*FLAT[:30], float("nan"))), "a number at every wavelength"),
        (Tuft(reflectance=FLAT[:30]), "31 values"),
        (Tuft(labs={"D65": (101, 0, 0)}), "at most 100"),
        (Tuft(labs={"D65": (50, 200, 0)}), "from -130 to 130"),
        (Tuft(labs={"D65": (50, float("nan"), 0)}), "from -130 to 130"),
        (Tuft(), "a spectrum, or L, a and b"),
    ],
)
def test_what_no_pad_can_show_is_refused_and_nothing_is_kept(dye_house, tuft, sentence):
    before = ColourReading.objects.count()
    with pytest.raises(InputError, match=sentence):
        record_readings(dye_house.floor, seen=Seen(tufts=(Tuft(labs={"D65": (50, 0, 0)}), tuft)), lot="L005")
    assert ColourReading.objects.count() == before


def test_an_unknown_light_is_refused(dye_house):
    with pytest.raises(NotFoundError, match="no light"):
        record_readings(dye_house.floor, seen=Seen(tufts=(Tuft(labs={"F2": (50, 0, 0)}),)), lot="L005")


def test_exactly_one_thing_is_read(dye_house):
    with pytest.raises(InputError, match="one lot, one standard"):
        record_readings(dye_house.floor, seen=seen((50, 0, 0)), lot="L005", shade=dye_house.shade)
    with pytest.raises(InputError, match="one lot, one standard"):
        record_readings(dye_house.floor, seen=seen((50, 0, 0)))


def test_a_reading_of_tomorrow_is_refused(dye_house):
    tomorrow = clock.now() + timedelta(days=1)
    with pytest.raises(InputError, match="not in the future"):
        record_readings(dye_house.floor, seen=seen((50, 0, 0), taken_at=tomorrow), lot="L005")


def test_a_viewer_records_nothing(dye_house):
    with pytest.raises(RefusedError, match="may not record a colour reading"):
        record_readings(dye_house.viewer, seen=seen((50, 0, 0)), lot="L005")


def test_readings_cannot_be_changed_with_a_database_tool(dye_house):
    with (
        pytest.raises(IntegrityError, match="only ever added to"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("UPDATE mill_colourreading SET is_wet = is_behind_glass")


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        (Pad(geometry="d/8"), "45/0 and the other with d/8"),
        (Pad(geometry="45/0", is_behind_glass=True), "behind glass"),
        (Pad(geometry="45/0", form="yarn"), "loose pad and the other a yarn"),
        (Pad(geometry="45/0", observer_deg=2), "10° observer"),
        (Pad(geometry="45/0", is_wet=True), "read wet"),
        (Pad(), "a geometry nobody wrote down"),
    ],
)
def test_unlike_pads_are_not_compared_and_the_reason_is_said(other, reason):
    with pytest.raises(RefusedError, match=reason):
        colours.check_alike(Pad(geometry="45/0"), other, "These are not compared")


def test_a_person_may_compare_unlike_pads_for_a_reason_but_never_wet_with_dry():
    colours.check_alike(Pad(geometry="45/0"), Pad(geometry="d/8"), "x", anyhow="same instrument family")
    with pytest.raises(RefusedError, match="wet"):
        colours.check_alike(Pad(), Pad(is_wet=True), "x", anyhow="in a hurry")


def test_of_two_readings_the_one_read_like_the_others_counts_on_the_bench(dye_house):
    lot = dye_house.lots["G1"]
    record_readings(dye_house.floor, seen=seen((30, -5, 5), form="yarn"), lot=lot)
    for shade in (dye_house.shade, ""):
        found = bench(shade=shade).lot(lot)
        assert found.why_not == ()
        assert found.pad.form == "loose"
    record_readings(dye_house.floor, seen=seen((44, -21, 17)), lot=lot)
    assert bench(shade=dye_house.shade).lot(lot).lab[0] == pytest.approx(44, abs=0.1)
    row = Lot.objects.get(code=lot)
    pad = Pad(form="loose", geometry="45/0")
    (one,) = coloured([row], current_tables(), pad=pad, act="The recipe is not kept")
    assert one.sitting.lab[0] == pytest.approx(44, abs=0.1)
