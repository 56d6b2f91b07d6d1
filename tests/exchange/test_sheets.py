"""The first door of an import: lists come through whole, everything else is turned away with advice."""

import io
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.xml import DEFUSEDXML
from tests.exchange.outcome import is_sentence, outcome
from tests.exchange.workbooks import repacked, workbook

from doffer.errors import InputError
from doffer.exchange import sheets
from doffer.exchange.headings import known_columns
from doffer.exchange.sheets import Sheet, read_sheet

TEXT = "lot;owner;weight\nA 1;Höfchen;3,5\n\nA 2;“Ü”;4\n"
CELLS = [(1, ("lot", "owner", "weight")), (2, ("A 1", "Höfchen", "3,5")), (4, ("A 2", "“Ü”", "4"))]


def read(data, name="lots.csv"):
    return read_sheet(data, name, score=known_columns)


def cells(data, name="lots.csv"):
    return [(line.number, line.cells) for line in read(data, name).lines]


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
        TEXT.encode("cp1252"),
        TEXT.replace("\n", "\r\n").encode(),
    ],
)
def test_a_list_is_read_in_every_usual_writing(data):
    assert cells(data) == CELLS


def test_a_guessed_writing_is_said():
    assert "names with accents" in read(TEXT.encode("cp1252")).remarks[0]
    assert read(TEXT.encode()).remarks == ()


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_the_sign_between_columns_is_found_by_the_headings(sign):
    data = f'lot{sign}owner{sign}weight\n"a, b; c"{sign}x{sign}3\n'.encode()
    assert cells(data)[1] == (2, ("a, b; c", "x", "3"))


def test_a_first_line_that_names_the_sign_is_believed():
    assert cells(b"sep=;\nlot;weight\n1,5;3,5\n") == [(2, ("lot", "weight")), (3, ("1,5", "3,5"))]


def test_one_guarding_sign_is_taken_away():
    assert cells(b"lot,note\n1,'=1+1\n2,''=x\n3,'tis\n")[1:] == [
        (2, ("1", "=1+1")),
        (3, ("2", "'=x")),
        (4, ("3", "'tis")),
    ]


def test_a_cell_with_a_line_end_stays_one_cell():
    assert cells(b'lot,note\n1,"one\ntwo"\n2,x\n') == [
        (1, ("lot", "note")),
        (2, ("1", "one\ntwo")),
        (3, ("2", "x")),
    ]


def test_a_workbook_gives_numbers_dates_shares_and_text():
    data = workbook(
        [("lot", "weight", "day", "rh"), (1, 3.5, date(2026, 3, 2), 0.55), ("'=2", None, None, None)],
        percent_column="D",
    )
    assert cells(data, "x.xlsx") == [
        (1, ("lot", "weight", "day", "rh")),
        (2, (1, 3.5, datetime(2026, 3, 2), "55 %")),  # noqa: DTZ001 - spreadsheets know no time zones
        (3, ("=2",)),
    ]


def test_a_formula_comes_as_the_value_it_had():
    data = workbook([("lot", "weight"), (1, "=2*3")])
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inner = (
            packed.read("xl/worksheets/sheet1.xml")
            .replace(b"<v></v>", b"<v>6</v>")
            .replace(b"<v />", b"<v>6</v>")
        )
    assert cells(repacked(data, **{"xl/worksheets/sheet1.xml": inner}))[1] == (2, (1, 6))


def test_other_sheets_are_named_and_not_read():
    sheet = read(workbook([("lot", "weight"), (1, 2)], more=("Prices",)), "x.xlsx")
    assert (sheet.remarks, len(sheet.lines)) == (("Only the sheet “Lots” was read, not “Prices”.",), 2)


@pytest.mark.parametrize(
    ("data", "advice"),
    [
        (b"", "this one is empty"),
        (b" \n ", "this one is empty"),
        (b"%PDF-1.7 ...", "a PDF cannot be read as a list"),
        (b"\x89PNG\r\n\x1a\n...", "type the lots in"),
        (b"\xff\xd8\xff\xe0...", "type the lots in"),
        (b"\x00\x00\x00\x18ftypheic", "save the list itself"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "save it as .xlsx"),
        (b"<!DOCTYPE html><table>", "save the list itself"),
        (b"<html><table>", "save the list itself"),
        (b"a,b\n\0\x01\x02binary", "something else"),
        (b"PK\x03\x04 not a zip at all", "damaged"),
        (b"\xff\xfea", "text is damaged"),
        (b'lot,note\n1,"' + b"x" * 200_000, "cannot be read"),
        (b"lot,note\n1," + b"x" * 3_000, "lost quotation mark"),
        (b"lot,weight\n" + b"1," * 300 + b"1\n", "at most 200 columns"),
    ],
)
def test_what_is_no_list_is_turned_away_with_advice(data, advice):
    with pytest.raises(InputError) as refused:
        read(data, "thing")
    assert advice in str(refused.value)
    assert "thing" in str(refused.value)


def test_another_kind_of_packed_document_is_turned_away():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("word/document.xml", "<x/>")
    with pytest.raises(InputError, match="another kind of document"):
        read(out.getvalue(), "letter.docx")


def test_a_file_that_is_too_large_is_not_looked_into():
    with pytest.raises(InputError, match="at most 10 MB"):
        read(b"a," * 5_000_001)


def test_a_list_that_is_too_long_is_turned_away(monkeypatch):
    monkeypatch.setattr(sheets, "MOST_ROWS", 20)
    long = "lot,weight\n" + "1,2\n" * 21
    assert len(cells(("lot,weight\n" + "1,2\n" * 20).encode())) == 21
    with pytest.raises(InputError, match="at most 20 lines"):
        read(long.encode())
    with pytest.raises(InputError, match="at most 20 lines"):
        read(workbook([("lot", "weight"), *[(1, 2)] * 21]), "x.xlsx")


def test_a_workbook_packed_to_burst_is_not_opened():
    bomb = repacked(workbook([("lot", "weight"), (1, 2)]), **{"xl/media/big.bin": bytes(30_000_000)})
    assert len(bomb) < 100_000
    with pytest.raises(InputError, match="packed so tightly"):
        read(bomb, "bomb.xlsx")


def test_a_workbook_of_too_many_parts_is_not_opened():
    parts = {f"xl/media/{n}.bin": b"x" for n in range(1_001)}
    with pytest.raises(InputError, match="packed so tightly"):
        read(repacked(workbook([("lot", "weight"), (1, 2)]), **parts), "bomb.xlsx")


def test_a_workbook_that_unfolds_its_own_text_is_turned_away():
    assert DEFUSEDXML
    data = workbook([("lot", "weight"), (1, 2)])
    xml = (
        b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
        b'<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><t>&b;</t></workbook>'
    )
    with pytest.raises(InputError, match="damaged"):
        read(repacked(data, **{"xl/workbook.xml": xml}), "laugh.xlsx")


def test_a_row_that_claims_thousands_of_columns_is_turned_away():
    book = openpyxl.Workbook()
    book.active.append(["lot", "weight"])
    book.active.cell(2, 9_000, 1)
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(InputError, match="empty columns far to the right"):
        read(out.getvalue(), "wide.xlsx")


GOOD = workbook([("lot", "weight", "owner"), (1, 2.5, "x"), (2, "3 kg", "y")])


@settings(max_examples=60, deadline=None)
@given(st.integers(min_value=0, max_value=len(GOOD) - 1), st.binary(min_size=1, max_size=40))
def test_a_damaged_workbook_is_read_or_turned_away(at, junk):
    result = outcome(read, GOOD[:at] + junk + GOOD[at + len(junk) :], "hurt.xlsx")
    assert is_sentence(result) or isinstance(result, Sheet)


@settings(deadline=None)
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
def test_any_file_is_read_or_turned_away(data):
    result = outcome(read, data, "any")
    assert is_sentence(result) or isinstance(result, Sheet)
