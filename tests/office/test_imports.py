"""Lots from a file: seen row by row, kept all or none, and once."""

import base64
import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook
from tests.office.page_words import words

from doffer.mill.queries.known import lot_numbers, owner_names
from doffer.mill.queries.lots import one_lot
from doffer.office.imports import MOST_BYTES

GOOD = """tag,owner,fibre,breed,colour,weight,micron
M1,Moss Edge Farm,wool,Shetland,moorit,"3,5 kg",25.2
M2,C02,alpaca,huacaya,fawn,2 lb 3 oz,
"""
MIXED = GOOD + "M3,C02,wool,Shetland,white,about 3 bags,\nM4,Nobody,wool,,white,2 kg,\n"


def upload(client, text: str | bytes, name: str = "farm.csv", **more: str):
    data = text.encode() if isinstance(text, str) else text
    return client.post("/records/import/look/", {"file": SimpleUploadedFile(name, data), **more})


def keep(client, text: str, key: str, **more: str):
    form = {"data": base64.b64encode(text.encode()).decode(), "file_name": "farm.csv", "key": key}
    return client.post("/records/import/keep/", {**form, **more})


@pytest.fixture
def office(client_of, small_mill):
    return client_of(small_mill.office)


def test_every_row_is_shown_as_what_it_becomes_before_anything_is_kept(office):
    text = words(upload(office, GOOD))
    assert "All two rows understood. Nothing is kept so far." in text
    assert "3.50 kg" in text
    assert "992 g" in text
    assert "Bring in two lots" in text
    assert len(lot_numbers()) == 5


def test_the_list_comes_in_once_however_often_it_is_sent(office, key):
    ways = {keep(office, GOOD, key).url for _ in range(2)}
    assert ways == {"/records/import/done/?lots=M1,M2"}
    assert len(lot_numbers()) == 7
    lot = one_lot("M1")
    assert (lot.row.owner, lot.row.breed, lot.row.mass_g) == ("C02", "shetland", 3500)
    assert lot.weighings[0].source == "import"
    text = words(office.get(ways.pop()))
    assert "Two lots came in" in text
    assert "Tag of M2" in text


def test_refused_rows_say_how_to_mend_them_and_nothing_comes_in(office, key):
    shown = words(upload(office, MIXED))
    assert "Two rows understood, two rows not yet." in shown
    assert "about 3 bags" in shown
    assert "weigh the bags" in shown
    assert "Nobody" in shown
    answer = keep(office, MIXED, key)
    assert answer.status_code == 422
    assert "Nothing was brought in" in words(answer)
    assert len(lot_numbers()) == 5


def test_refused_rows_are_left_out_only_when_a_person_says_so(office, key):
    assert keep(office, MIXED, key, leave_out="4,5").url == "/records/import/done/?lots=M1,M2"
    assert len(lot_numbers()) == 7


def test_a_number_that_is_taken_is_refused(office, key):
    assert "lot number is “L001”" in words(keep(office, GOOD.replace("M1", "L001"), key))
    assert len(lot_numbers()) == 5
    assert "L001" in words(upload(office, GOOD.replace("M1", "L001")))
    assert "One row understood, one row not yet" in words(upload(office, GOOD.replace("M1", "L001")))


def test_an_excel_list_is_read_like_a_csv(office):
    book = Workbook()
    book.active.append(["tag", "owner", "fibre", "weight"])
    book.active.append(["X1", "C02", "mohair", 4.2])
    out = io.BytesIO()
    book.save(out)
    text = words(upload(office, out.getvalue(), "farm.xlsx"))
    assert "All one row understood" in text
    assert "4.20 kg" in text


def test_the_owner_chosen_beside_the_file_owns_rows_without_one_and_lends_their_units(office):
    text = words(upload(office, "fibre,weight\nalpaca,10\n", owner="C03"))
    assert "4.54 kg" in text, "Fern Bank Alpacas weigh in pounds"
    assert "next number" in text


def test_no_file_a_strange_one_and_one_too_large_are_said(office):
    answer = office.post("/records/import/look/", {"owner": "C02"})
    assert answer.status_code == 422
    assert "Choose a file first" in words(answer)
    assert 'value="C02" selected' in answer.content.decode()
    strange = upload(office, b"%PDF-1.7 nothing", "farm.pdf")
    assert strange.status_code == 422
    assert "cannot be read yet" in words(strange)
    assert "at most 1 MB" in words(upload(office, b"a" * (MOST_BYTES + 1)))


def test_a_file_that_came_through_broken_is_asked_for_again(office, key):
    answer = office.post("/records/import/keep/", {"data": "???", "key": key})
    assert answer.status_code == 422
    assert "Choose it again" in words(answer)


def test_the_floor_brings_no_lists_in(client_of, small_mill):
    floor = client_of(small_mill.floor)
    answer = keep(floor, GOOD, str(uuid.uuid4()))
    assert answer.status_code == 422
    assert "Flo may not import lots from a file" in words(answer)
    assert len(lot_numbers()) == 5
    assert "Look at every row" not in words(floor.get("/records/import/"))
    assert floor.get("/records/import/look/").status_code == 405


def test_what_a_list_is_held_against(small_mill):
    assert owner_names()["Moss Edge Farm"] == "C02"
    assert lot_numbers() == {"L001", "L002", "L003", "L004", "L005"}


def test_only_lot_numbers_are_shown_as_brought_in(client, people):
    text = client.get("/records/import/done/?lots=L001,<b>x</b>,").content.decode()
    assert "/lots/L001/" in text
    assert "<b>x" not in text
    assert "Nothing is named here" in words(client.get("/records/import/done/"))
