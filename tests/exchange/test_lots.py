"""Lists as farms send them: every line is understood, or refused with a sentence that mends it."""

import csv
import io
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.exchange.outcome import is_sentence, outcome
from tests.exchange.workbooks import farm_workbook, workbook

from doffer.errors import InputError, RefusedError
from doffer.exchange.desk import Beside
from doffer.exchange.lots import lots_of, preview_lots
from doffer.exchange.numbers import Habits
from doffer.fibre.material import Form
from doffer.tables.loader import load_tables

FILES = Path(__file__).parent / "files"
TODAY = date(2026, 3, 2)
OWNERS = {
    "Saltwhistle Croft": "C03",
    "Moonbucket Farm": "C01",
    "Three Teapots Alpacas": "C04",
    "Gribble End Smallholding": "C02",
}
TABLES = load_tables()
LB_MG = 453_592.37


def beside(**known):
    return Beside(tables=TABLES, today=TODAY, owners=OWNERS, **known)


def preview(name, **known):
    return preview_lots((FILES / name).read_bytes(), name, beside(**known))


def listed(text, **known):
    return preview_lots(text.encode(), "list.csv", beside(**{"owner": "C03", **known}))


def only(text, **known):
    (row,) = listed(text, **known).rows
    return row


def sentence(text, **known):
    row = only(text, **known)
    assert row.lot is None
    return " ".join(row.sentences)


def by_number(shown):
    return {row.number: row for row in shown.rows}


def test_the_list_in_pounds_is_understood_or_refused_line_by_line():
    shown = preview("farm_pounds.csv", owner="C03")
    rows = by_number(shown)
    assert (shown.n_understood, shown.n_refused) == (3, 8)
    assert rows[4].lot.net_mass_mg == round(12.5 * LB_MG)
    assert (rows[4].lot.diameter_um, rows[4].lot.diameter_source) == (25.0, "typical")
    assert rows[4].remarks == ("Micron is not given: 25 is usual for Shetland.",)
    assert rows[4].lot.staple_mm == 89
    assert rows[4].lot.note == "Shorn by: own shears"
    assert (rows[7].lot.fibre, rows[7].lot.breed, rows[7].lot.breed_typed) == (
        "wool",
        "bluefaced_leicester",
        "BFL",
    )
    assert rows[15].lot.net_mass_mg == round(2.5 * LB_MG)


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (5, "Lot “B-2” is also in row 11; give each bag its own number"),
        (11, "Lot “B-2” is also in row 5; give each bag its own number"),
        (6, "There is no breed or fibre “Shetlnad”. Did you mean “Shetland”?"),
        (8, "take the minus sign away"),
        (9, "weigh the bags"),
        (10, "either 1.234 or 1234"),
        (12, "one figure, not a range"),
        (13, "weigh the bag and write kilograms or pounds"),
    ],
)
def test_a_line_that_cannot_be_is_refused_with_what_mends_it(number, words):
    row = by_number(preview("farm_pounds.csv", owner="C03"))[number]
    assert row.lot is None
    assert words in " ".join(row.sentences)


def test_what_was_assumed_for_the_whole_file_is_said():
    remarks = " ".join(preview("farm_pounds.csv", owner="C03").remarks)
    for words in (
        "Line 1 stands above the headings and was not read.",
        "Kept in the note, because there is no place of their own: “Shorn by”.",
        "taken as raw fleece",
        "today will be written",
        "all lots are of C03",
    ):
        assert words in remarks


def test_the_list_with_decimal_commas_is_understood():
    shown = preview("hof_semicolon.csv")
    rows = by_number(shown)
    first = rows[3].lot
    assert (first.tag, first.owner, first.net_mass_mg, first.tare_mass_mg) == ("7", "C01", 3_700_000, 250_000)
    assert (first.diameter_um, first.staple_mm, first.received_on) == (23.1, 95, date(2026, 1, 12))
    assert first.note == 'Vlies "Biscuit"'
    assert (rows[4].lot.colour, rows[4].lot.note) == ("weiß", "für sich halten")
    assert "either 1.234 or 1234" in rows[5].sentences[0]
    assert "are the two exchanged?" in rows[6].sentences[0]
    assert "a day of the calendar" in rows[6].sentences[1]
    assert "names with accents" in shown.remarks[0]


def test_the_list_taken_on_the_telephone_is_understood_or_refused():
    rows = by_number(preview("phone_list.csv"))
    assert (rows[2].lot.owner, rows[2].lot.form, rows[2].lot.tag) == ("C02", Form.GREASY, None)
    assert "2 Mar 2026 or 3 Feb 2026" in rows[3].sentences[0]
    assert "Did you mean “Gribble End Smallholding”?" in rows[4].sentences[0]
    assert (rows[5].lot.fibre, rows[5].lot.breed, rows[5].lot.net_mass_mg) == ("angora_rabbit", None, 280_000)
    assert "is suri alpaca, but fibre says wool" in rows[6].sentences[0]
    assert len(rows[7].sentences) == 2  # all that is wrong with a line is said at once


def test_a_known_order_of_the_date_mends_the_telephone_list():
    rows = by_number(preview("phone_list.csv", habits=Habits(date_order="mdy")))
    assert rows[3].lot.received_on == date(2026, 2, 3)


def test_the_workbook_is_understood_or_refused_line_by_line():
    shown = preview_lots(farm_workbook(), "fleeces.xlsx", beside())
    rows = by_number(shown)
    first = rows[4].lot
    assert (first.tag, first.owner, first.rh_frac, first.diameter_source) == ("9", "C04", 0.55, "lab")
    assert (first.received_on, first.net_mass_mg, first.note) == (
        date(2026, 1, 26),
        6_500_000,
        "Vet paid: yes",
    )
    second = rows[5].lot
    assert (second.fibre, second.gross_mass_mg, second.received_on) == ("suri", 5_200_000, date(2026, 1, 26))
    assert "The spreadsheet's day number is 2026-01-26." in rows[5].remarks
    assert "must be a date such as" in rows[7].sentences[0]
    assert "the spreadsheet made a date of it" in rows[8].sentences[0]
    assert "Did you mean “vicuna”?" in rows[9].sentences[0]
    assert "still to come" in rows[9].sentences[1]
    assert rows[10].lot is None  # the line of totals
    assert "not “Prices”" in shown.remarks[0]


@pytest.mark.parametrize("name", ["farm_pounds.csv", "hof_semicolon.csv", "phone_list.csv"])
def test_no_line_is_both_or_neither(name):
    shown = preview(name, owner="C03")
    assert all((row.lot is None) == bool(row.sentences) for row in shown.rows)
    assert all(text.endswith((".", "?")) for row in shown.rows for text in row.sentences)
    assert shown.n_understood + shown.n_refused == len(shown.rows)


def test_nothing_is_taken_while_a_refused_line_is_left():
    shown = preview("farm_pounds.csv", owner="C03")
    with pytest.raises(RefusedError, match=r"Nothing was brought in: row 5: Lot “B-2”"):
        lots_of(shown)
    refused = [row.number for row in shown.rows if row.lot is None]
    with pytest.raises(RefusedError, match="row 13"):
        lots_of(shown, drop=refused[:-1])
    assert [number for number, _ in lots_of(shown, drop=refused)] == [4, 7, 15]


def test_only_rows_of_the_file_can_be_left_out():
    with pytest.raises(InputError, match="the number of a row of this file"):
        lots_of(preview("phone_list.csv"), drop=[99])


def test_leaving_everything_out_brings_nothing_in():
    with pytest.raises(RefusedError, match="every row is left out"):
        lots_of(listed("lot,fibre,kg\n1,wool,-2\n"), drop=[2])


def test_a_line_that_repeats_another_word_for_word_is_refused_alone():
    shown = listed("lot,fibre,kg\n1,wool,2\n1,wool,2\n")
    assert [row.is_understood for row in shown.rows] == [True, False]
    assert shown.refusals() == ("Row 3: This row repeats row 2 word for word; leave it out.",)


def test_a_number_is_written_as_tags_can_carry_it():
    shown = listed("lot,fibre,kg\nBag 12,wool,2\n2026/3,wool,2\nbag-12,wool,3\n")
    assert [row.tag for row in shown.rows] == ["Bag-12", "2026-3", "bag-12"]
    assert "Lot “2026/3” is written “2026-3” here." in shown.rows[1].remarks
    assert "Lot “Bag-12” is also in row 4" in shown.rows[0].sentences[0]


def test_a_number_that_a_refused_line_has_too_is_refused():
    shown = listed("lot,fibre,kg\n1,wool,2\n1,wool,-2\n")
    assert "Lot “1” is also in row 3" in shown.rows[0].sentences[0]
    assert len(shown.rows[1].sentences) == 2


def test_a_number_the_mill_has_already_is_refused():
    assert "is in the mill already" in sentence("lot,fibre,kg\nl001,wool,2\n", taken_tags=frozenset({"L001"}))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("1,wool,5,1,", ""),
        ("1,wool,5,,4.1", ""),
        ("1,wool,5,1,4.015", ""),
        ("1,wool,5,1,3", "is not gross kg less the empty bag"),
        ("1,wool,5,,6", "is not gross kg less the empty bag"),
        ("1,wool,1,5,", "are the two exchanged?"),
        ("1,wool,,,0", "The weight is 0"),
        ("1,wool,,,", "The weight is missing"),
        ("№1,wool,,,3", "letters a to z and digits"),
        (",,,,3", "The fibre is missing"),
        ("x" * 21 + ",wool,,,3", "21 signs; 20 fit"),
        ("1,wool,,,3,5", "There are 6 cells under 5 headings"),
    ],
)
def test_weights_agree_with_each_other_and_words_fit(line, words):
    row = only(f"lot,fibre,gross kg,tare kg,net kg\n{line}\n")
    assert row.is_understood is not bool(words)
    assert words in " ".join(row.sentences)


def test_a_bag_whose_empty_weight_is_unknown_is_said_to_be_so():
    row = only("lot,fibre,gross kg\n1,wool,5\n")
    assert (row.lot.net_mass_mg, row.lot.tare_mass_mg) == (5_000_000, None)
    assert "The empty bag was not weighed: its weight counts as fibre." in row.remarks


def test_an_unusual_weight_is_asked_about():
    assert "That is heavy for one bag: look at the unit." in only("lot,fibre,kg\n1,wool,850\n").remarks
    assert "That is very light for a bag: look at the unit." in only("lot,fibre,g\n1,wool,8.5\n").remarks


def test_an_assumed_unit_is_said():
    metric, us = only("lot,fibre,weight\n1,wool,5\n"), only("lot,fibre,weight\n1,wool,5\n", units="us")
    assert metric.lot.net_mass_mg == 5_000_000
    assert us.lot.net_mass_mg == round(5 * LB_MG)
    assert "weight “5” has no unit: taken as kilograms." in metric.remarks
    assert "weight “5” has no unit: taken as pounds." in us.remarks


def test_an_estimated_weight_is_understood_and_kept_in_words():
    row = only("lot,fibre,weight,note\n1,wool,ca. 5 kg,dry\n")
    assert row.lot.note == "dry; weight given as ca. 5 kg"
    assert "weigh the bag at the door" in " ".join(row.remarks)


def test_under_pounds_and_ounces_a_bare_number_is_asked_about():
    assert only("lot,fibre,weight lb/oz\n1,wool,4 lb 2 oz\n").is_understood
    assert "say the unit too" in sentence("lot,fibre,weight lb/oz\n1,wool,4.2\n")


def test_bought_fibre_is_taken_as_clean():
    row = only("lot,fibre,kg\n1,mulberry silk,2\n")
    assert (row.lot.form, row.lot.breed) == (Form.SCOURED, "mulberry_silk")


def test_a_mix_without_a_breed_is_taken_as_its_fibre():
    row = only("lot,fibre,breed,kg\n1,alpaca,guild mix 3,2\n")
    assert (row.lot.fibre, row.lot.breed, row.lot.breed_typed) == ("alpaca", None, "guild mix 3")
    assert "“guild mix 3” names no breed: taken as alpaca." in row.remarks


def test_a_humidity_under_a_percent_heading_is_percent():
    assert only("lot,fibre,kg,RH %\n1,wool,2,0.8\n").lot.rh_frac == 0.008
    assert only("lot,fibre,kg,RH\n1,wool,2,58\n").lot.rh_frac == 0.58
    assert "either 58 % or 0.58 %" in sentence("lot,fibre,kg,RH\n1,wool,2,0.58\n")


def test_a_note_that_would_not_fit_is_refused_not_cut():
    assert "400 fit" in sentence(f"lot,fibre,kg,colour,wish\n1,wool,2,red,{'x' * 401}\n")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,2,3\n4,5,6\n", "whose first line names the columns"),
        ("lot,owner\n1,C03\n", "a column fibre or breed and a column weight"),
        ("lot,fibre,kg\n", "at least one lot below the headings"),
    ],
)
def test_a_file_without_the_needed_columns_is_refused_whole(text, words):
    with pytest.raises(InputError, match=words):
        listed(text)


def test_a_file_without_owners_needs_one_for_all():
    with pytest.raises(InputError, match="choose one owner for the whole file"):
        listed("lot,fibre,kg\n1,wool,2\n", owner="")


def test_cells_beyond_the_headings_of_a_workbook_are_kept():
    data = workbook([("lot", "fibre", "kg"), (1, "wool", 2, "from the barn")])
    (row,) = preview_lots(data, "x.xlsx", beside(owner="C03")).rows
    assert row.lot.note == "column 4: from the barn"


HEADINGS = (
    "lot,owner,fibre,breed,colour,form,gross kg,tare,weight lb/oz,RH,micron,sd,tested,staple,date,note,price"
)
CELL = st.one_of(
    st.sampled_from(
        ["", "wool", "suri", "guild mix", "C03", "3,5 kg", "-1", "58 %", "lab", "yes", "2/3/2026", "?"]
    ),
    st.text(max_size=12),
    st.text(alphabet="0123456789.,-/½ kglboz", max_size=8),
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.lists(CELL, min_size=1, max_size=18), min_size=1, max_size=3))
def test_whatever_stands_in_a_line_it_is_understood_or_refused(lines):
    out = io.StringIO()
    csv.writer(out).writerows([HEADINGS.split(","), *lines])
    shown = outcome(preview_lots, out.getvalue().encode(), "any.csv", beside(owner="C03"))
    if isinstance(shown, str):
        assert is_sentence(shown)
        return
    for row in shown.rows:
        assert (row.lot is None) == bool(row.sentences)
        assert row.lot is None or (
            row.lot.net_mass_mg > 0 and row.lot.owner and row.lot.fibre in TABLES.fibres
        )


def test_a_unit_in_a_column_of_its_own_counts():
    shown = listed("lot,breed,weight,unit\nA1,Shetland,5.4,lb\nA2,Shetland,1234,g\nA3,Shetland,2.5,kg\n")
    assert [row.lot.net_mass_mg for row in shown.rows] == [2_449_399, 1_234_000, 2_500_000]
    assert not any("has no unit" in remark for row in shown.rows for remark in row.remarks)


def test_a_unit_that_is_none_is_refused_with_what_to_write():
    shown = listed("lot,breed,weight,unit\nA1,Shetland,5.4,stone\n")
    assert shown.rows[0].lot is None
    assert "write kg, g, lb or oz" in " ".join(shown.rows[0].sentences)
