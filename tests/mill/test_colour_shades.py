"""A shade is held against its standard for years, and unlike readings are refused with a sentence."""

from datetime import date

import pytest
from tests.mill.conftest import FERN, seen

from doffer.errors import ConflictError, InputError, RefusedError
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.mill.booking import QuestionError
from doffer.mill.commands.readings import record_readings
from doffer.mill.commands.shades import (
    TargetFacts,
    add_batch,
    add_shade,
    archive_shade,
    judge_batch,
    restate_shade,
    restore_shade,
)
from doffer.mill.models import ShadeVersion
from doffer.mill.queries.shades import list_shades, one_shade

pytestmark = pytest.mark.django_db


def old_batch(house, label, lab, made_on):
    batch = add_batch(house.owner, shade=house.shade, label=label, made_on=made_on)
    record_readings(house.owner, seen=seen(lab), batch=batch)
    return batch


def test_a_batch_near_the_standard_passes_and_one_far_off_fails_with_words(dye_house):
    near = judge_batch(dye_house.floor, old_batch(dye_house, "one", (46.8, -20.6, 19.0), date(2025, 3, 1)))
    assert near.verdict == "pass"
    assert near.de == pytest.approx(0.29, abs=0.05)
    far = judge_batch(dye_house.floor, old_batch(dye_house, "two", (42, -24, 14), date(2025, 4, 1)))
    assert far.verdict == "fail"
    assert far.de == pytest.approx(5.8, abs=0.05)
    assert "darker" in far.words


def test_between_pass_and_fail_a_person_decides_with_a_note(dye_house):
    batch = old_batch(dye_house, "one", (48.1, -20.9, 19.2), date(2025, 3, 1))
    asked = judge_batch(dye_house.floor, batch)
    assert asked.verdict == "ask"
    with pytest.raises(InputError, match="with a note"):
        judge_batch(dye_house.owner, batch, decision="pass")
    decided = judge_batch(dye_house.owner, batch, decision="pass", note="goes to felting kits")
    assert (decided.verdict, decided.is_decided) == ("pass", True)
    verdicts = one_shade(dye_house.shade).batches[0].verdicts
    assert [row.verdict for row in verdicts] == ["ask", "pass"]


def test_a_plain_fail_is_not_talked_into_a_pass(dye_house):
    batch = old_batch(dye_house, "one", (42, -24, 14), date(2025, 3, 1))
    with pytest.raises(RefusedError, match="plain fail"):
        judge_batch(dye_house.owner, batch, decision="pass", note="nobody will see")


def test_a_batch_that_was_only_read_wet_is_not_judged(dye_house):
    batch = add_batch(dye_house.owner, shade=dye_house.shade, lot="L005", anyhow="dyed this morning")
    record_readings(dye_house.floor, seen=seen(FERN, is_wet=True), lot="L005")
    with pytest.raises(RefusedError, match="only read wet"):
        judge_batch(dye_house.owner, batch, anyhow="in a hurry")


def test_a_batch_that_was_only_photographed_is_not_judged(dye_house):
    batch = add_batch(dye_house.owner, shade=dye_house.shade, lot="L005", anyhow="dyed this morning")
    record_readings(dye_house.floor, seen=seen(FERN, is_photo=True), lot="L005")
    with pytest.raises(RefusedError, match="first guess"):
        judge_batch(dye_house.owner, batch)


def test_another_geometry_is_refused_unless_somebody_says_why(dye_house):
    batch = add_batch(dye_house.owner, shade=dye_house.shade, lot="L005", anyhow="dyed this morning")
    record_readings(dye_house.floor, seen=seen(FERN, geometry="d/8"), lot="L005")
    with pytest.raises(RefusedError, match="45/0 and the other with d/8"):
        judge_batch(dye_house.owner, batch)
    assert one_shade(dye_house.shade).batches[0].why_not
    judged = judge_batch(dye_house.owner, batch, anyhow="both checked on the same tile")
    assert judged.verdict == "pass"
    point = one_shade(dye_house.shade).batches[0]
    assert not point.why_not
    assert "same tile" in point.verdicts[0].note


def test_drift_shows_against_the_standard_though_each_batch_is_near_the_last(dye_house):
    labs = [(46.8, -20.6, 19.0), (46.4, -20.3, 19.8), (46.1, -19.8, 20.3), (45.8, -19.3, 20.8)]
    for number, lab in enumerate(labs, start=1):
        old_batch(dye_house, f"batch {number}", lab, date(2025, number, 1))
    book = one_shade(dye_house.shade)
    assert all(point.to_last.de2000 < 0.8 for point in book.batches[1:])
    apart = [point.to_standard.de2000 for point in book.batches]
    assert apart == sorted(apart)
    assert book.batches[-1].to_standard.de2000 > 1.5
    assert book.drift_de_a_batch == pytest.approx((apart[-1] - apart[0]) / 3, abs=0.1)
    assert "yellower" in book.drift.words


def test_parts_of_a_difference_add_up_to_the_plain_distance(dye_house):
    old_batch(dye_house, "one", (44, -24, 14), date(2025, 3, 1))
    step = one_shade(dye_house.shade).batches[0].to_standard
    plain = sum((a - b) ** 2 for a, b in zip((44, -24, 14), FERN, strict=True)) ** 0.5
    assert (step.d_l**2 + step.d_c**2 + step.d_h**2) ** 0.5 == pytest.approx(plain)
    assert step.d_l == pytest.approx(-2.6)
    assert step.d_h > 0  # from yellow-green towards blue-green: the hue angle grows


def test_a_new_standard_supersedes_and_old_batches_stay_with_the_old_one(dye_house):
    batch = old_batch(dye_house, "one", FERN, date(2025, 3, 1))
    judge_batch(dye_house.owner, batch)
    version = restate_shade(
        dye_house.owner,
        dye_house.shade,
        reason="old tuft had faded",
        target=TargetFacts(labs={"D65": (50, -21, 20)}, geometry="45/0"),
    )
    book = one_shade(dye_house.shade)
    assert version == 2
    assert [row.version for row in book.standards] == [2, 1]
    assert book.standard.pass_de == 1.2
    assert book.batches[0].version == 1
    assert book.batches[0].to_standard.de2000 == pytest.approx(0, abs=0.01)
    assert ShadeVersion.objects.get(version=1).labs_centi["D65"] == [4660, -2090, 1920]


def test_a_new_tolerance_keeps_the_colour(dye_house):
    restate_shade(
        dye_house.owner, dye_house.shade, reason="heather", tolerance=Tolerance(Formula.CMC, 1.5, 2.0)
    )
    standard = one_shade(dye_house.shade).standard
    assert (standard.formula, standard.pass_de, standard.ask_de) == ("cmc", 1.5, 2.0)
    assert standard.lab == FERN


def test_the_usual_tolerance_is_cmc_one(dye_house):
    code = add_shade(dye_house.owner, name="Slate", target=TargetFacts(labs={"D65": (41, -1, -6)}))
    standard = one_shade(code).standard
    assert (standard.formula, standard.pass_de, standard.ask_de) == ("cmc", 1.0, 1.5)


def test_two_shades_do_not_share_a_name_and_the_floor_sets_none(dye_house):
    with pytest.raises(ConflictError, match="shade fern already"):
        add_shade(dye_house.owner, name="fern", target=TargetFacts(labs={"D65": FERN}))
    with pytest.raises(RefusedError, match="may not set standard shades"):
        add_shade(dye_house.floor, name="Moss", target=TargetFacts(labs={"D65": FERN}))


def test_the_book_lists_shades_with_their_newest_batch(dye_house):
    judge_batch(dye_house.owner, old_batch(dye_house, "one", FERN, date(2025, 3, 1)))
    row = list_shades().rows[0]
    assert (row.name, row.n_batches, row.last_batch, row.last_verdict) == ("Fern", 1, "one", "pass")
    archive_shade(dye_house.owner, dye_house.shade)
    assert list_shades().rows == ()
    assert list_shades(standing="archived").rows[0].code == dye_house.shade
    restore_shade(dye_house.owner, dye_house.shade)
    assert [row.code for row in list_shades().rows] == [dye_house.shade]
    with pytest.raises(ConflictError, match="is in the book"):
        restore_shade(dye_house.owner, dye_house.shade)


def test_the_invented_mill_tells_of_a_shade_that_drifts(demo_mill):
    by_name = {row.name: row for row in list_shades().rows}
    assert set(by_name) == {"Fern", "Madder", "Slate", "Oat"}
    fern = one_shade(by_name["Fern"].code)
    assert [point.verdict for point in fern.batches] == ["pass", "pass", "ask", "fail"]
    assert fern.drift_de_a_batch > 0.3
    madder = one_shade(by_name["Madder"].code)
    assert madder.batches[-1].lot == "L037"
    assert madder.batches[-1].verdict == "pass"
    assert abs(madder.drift_de_a_batch) < 0.3
    assert fern.dye_recipe_versions == (1,)


def test_a_lot_that_hardly_can_be_this_shade_is_asked_about(dye_house):
    def asked(lot):
        with pytest.raises(QuestionError) as question:
            add_batch(dye_house.owner, shade=dye_house.shade, lot=lot)
        return str(question.value)

    raw = asked("L001")
    assert "greasy fibre" in raw
    assert "fibre of Moss Edge Farm" in raw
    assert "written down as" in raw
    assert "another colour" not in raw
    add_batch(dye_house.owner, shade=dye_house.shade, lot=dye_house.lots["G1"])
    assert "it is alpaca, but Fern was of wool so far" in asked("L004")
    yellow = asked(dye_house.lots["yellow"])
    assert "it was read 3" in yellow
    assert "yellower" in yellow or "lighter" in yellow
    assert "fibre of" not in yellow
    assert len(one_shade(dye_house.shade).batches) == 1
    add_batch(dye_house.owner, shade=dye_house.shade, lot="L004", note="alpaca kit", anyhow="dyed next door")
    assert one_shade(dye_house.shade).batches[-1].note == "alpaca kit; dyed next door"
