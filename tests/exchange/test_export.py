"""What goes out comes in again as it was, and no spreadsheet computes what somebody wrote."""

import csv
import dataclasses
import io
from datetime import UTC, date, datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.exchange.desk import Beside, clean
from doffer.exchange.export import export_lots, export_orders, export_weighings, guarded
from doffer.exchange.lots import preview_lots
from doffer.fibre.kinds import find_kind
from doffer.fibre.material import Form
from doffer.mill.import_rows import LotRow
from doffer.mill.queries.lots import WeighingRow
from doffer.mill.queries.orders import OrderRow
from doffer.tables.loader import load_tables

TABLES = load_tables()
BESIDE = Beside(tables=TABLES, today=date(2099, 12, 31))
ROW = LotRow(
    tag="L001",
    owner="C01",
    fibre="wool",
    breed="suffolk",
    breed_typed="Suffolk cross",
    colour="=white",
    net_mass_mg=8_800_001,
    gross_mass_mg=9_400_001,
    tare_mass_mg=600_000,
    rh_frac=0.583,
    diameter_um=29.5,
    diameter_sd_um=7.3,
    diameter_source="lab",
    staple_mm=70,
    received_on=date(2026, 2, 2),
    note="-5 at the door, 'quoted', \"twice\"; +ü",
)
KINDS = [(row.fibre, row.breed) for row in TABLES.breeds.values()] + [
    (key, None) for key in TABLES.fibres if find_kind(TABLES, key).breed is None
]
NANOMETRES = st.integers(min_value=100, max_value=80_000).map(lambda nm: nm / 1000)  # as the mill keeps it
WORDS = st.text(alphabet=st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30).map(clean)
SAID = WORDS.filter(
    lambda text: text.casefold() not in {"-", "--", "–", "—", "?", "/", "n/a", "na", "none", "nil"}
)


@st.composite
def lot_rows(draw):
    fibre, breed = draw(st.sampled_from(KINDS))
    tare = draw(st.none() | st.integers(min_value=0, max_value=2_000_000))
    net = draw(st.integers(min_value=1, max_value=200_000_000))
    source = draw(st.sampled_from(["lab", "estimate", "typical"]))
    return LotRow(
        tag=draw(st.none() | st.from_regex(r"[A-Z][0-9]{1,8}", fullmatch=True)),
        owner=draw(st.from_regex(r"C[0-9]{2}", fullmatch=True)),
        fibre=fibre,
        breed=breed,
        colour=draw(SAID),
        form=draw(st.sampled_from(Form)),
        gross_mass_mg=None if tare is None else net + tare,
        tare_mass_mg=tare,
        net_mass_mg=net,
        rh_frac=draw(st.none() | st.floats(min_value=0.0001, max_value=1).map(lambda x: round(x, 6))),
        diameter_um=draw(NANOMETRES.filter(lambda um: um >= 5)),
        diameter_sd_um=draw(st.none() | NANOMETRES.filter(lambda um: um <= 40)),
        diameter_source=source,
        staple_mm=draw(st.none() | st.integers(min_value=5, max_value=500)),
        received_on=draw(st.none() | st.dates(min_value=date(1990, 1, 1), max_value=date(2099, 12, 31))),
        note=draw(SAID),
    )


def back(data, name):
    shown = preview_lots(data, name, BESIDE)
    assert shown.refusals() == ()
    return [row.lot for row in shown.rows]


@settings(deadline=None, max_examples=50)
@given(st.lists(lot_rows(), min_size=1, max_size=4, unique_by=lambda row: row.tag), st.sampled_from(",;\t"))
def test_lots_that_went_out_come_in_as_they_were(rows, delimiter):
    assert back(export_lots(rows, delimiter=delimiter), "lots.csv") == rows


@settings(deadline=None, max_examples=20)
@given(st.lists(lot_rows(), min_size=1, max_size=3, unique_by=lambda row: row.tag))
def test_lots_that_went_out_as_a_workbook_come_in_as_they_were(rows):
    assert back(export_lots(rows, kind="xlsx"), "lots.xlsx") == rows


def test_a_breed_in_the_senders_words_comes_back():
    assert back(export_lots([ROW]), "lots.csv") == [ROW]


def lines(data):
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_a_list_is_csv_of_the_standard_with_units_in_its_headings():
    data = export_lots([ROW])
    assert data.count(b"\r\n") == 2
    head, row = lines(data)
    assert head[6:9] == ["gross (g)", "tare (g)", "net (g)"]
    assert row[6:12] == ["9400.001", "600", "8800.001", "58.3", "29.5", "7.3"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-5", "@x", "\tx", "\rx", "\0x", "'=1", "''-x"])
def test_text_that_would_be_computed_gets_one_sign_in_front(text):
    assert guarded(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "white", "5 - 3", "'tis", "a=b"])
def test_other_text_goes_out_as_it_is(text):
    assert guarded(text) == text


def test_a_workbook_holds_text_as_text_and_numbers_as_numbers():
    row = dataclasses.replace(ROW, note="http://example.invalid/x", colour="=2*3")
    sheet = openpyxl.load_workbook(io.BytesIO(export_lots([row], kind="xlsx"))).active
    cells = {head.value: cell for head, cell in zip(sheet[1], sheet[2], strict=True)}
    assert (cells["colour"].value, cells["colour"].data_type) == ("'=2*3", "s")
    assert cells["note"].hyperlink is None
    assert (cells["net (g)"].value, cells["net (g)"].data_type) == (8800.001, "n")
    assert cells["received"].value.date() == date(2026, 2, 2)


WEIGHING = WeighingRow(
    id=7,
    weighed_at=datetime(2026, 3, 2, 8, 30, tzinfo=UTC),
    recorded_at=datetime(2026, 3, 2, 8, 31, tzinfo=UTC),
    moment="intake",
    form="greasy",
    gross_g=2950.0,
    tare_g=250.0,
    net_g=2700.0,
    dry_mass_g=None,
    actual_regain_frac=0.147,
    rh_frac=0.58,
    branch="desorption",
    finish_g=0.0,
    scale="S150",
    tag="7Q4K2Y",
    run="",
    person="Figgo",
    source="typed",
    note="@door",
    corrects=None,
    corrected_by=9,
)
ORDER = OrderRow(
    code="O201",
    owner="C01",
    owner_name="Moonbucket Farm",
    product="2-ply yarn",
    target="250 m/100 g",
    booked_on=date(2026, 1, 12),
    promised_on=None,
    date_is_hard=True,
    state="running",
    next_stage="draw",
    note="",
)


def test_weighings_go_out_with_their_corrections():
    head, row = lines(export_weighings([WEIGHING]))
    said = dict(zip(head, row, strict=True))
    assert said["weighed at"] == "2026-03-02T08:30:00+00:00"
    assert (said["net (g)"], said["oven-dry fibre (g)"], said["water on dry fibre (%)"]) == (
        "2700.0",
        "",
        "14.7",
    )
    assert (said["note"], said["corrects weighing"], said["corrected by weighing"]) == ("'@door", "", "9")


def test_orders_go_out_with_their_promises():
    head, row = lines(export_orders([ORDER]))
    said = dict(zip(head, row, strict=True))
    assert (said["order"], said["promised"], said["date is hard"]) == ("O201", "", "yes")


@pytest.mark.parametrize(
    ("export", "row"), [(export_weighings, WEIGHING), (export_orders, ORDER), (export_lots, ROW)]
)
def test_everything_goes_out_as_a_workbook_too(export, row):
    sheet = openpyxl.load_workbook(io.BytesIO(export([row, row], kind="xlsx"))).active
    assert sheet.max_row == 3


def test_an_unknown_kind_of_file_is_refused():
    with pytest.raises(InputError, match="csv, xlsx"):
        export_lots([ROW], kind="pdf")
    with pytest.raises(InputError, match="sign between the columns"):
        export_lots([ROW], delimiter="x")


def test_an_empty_list_still_has_its_headings():
    assert lines(export_lots([])) == [[*lines(export_lots([ROW]))[0]]]


def test_a_note_that_says_not_known_comes_in_as_it_went_out():
    row = dataclasses.replace(ROW, note="not known")
    assert back(export_lots([row]), "lots.csv")[0].note == "not known"
