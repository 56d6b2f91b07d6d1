"""A list of lots as a farm would send it, at the terminal; and what goes out comes in again."""

import pytest

LIST = """\
Fibre;Breed;Weight (lb);Micron;Colour;Date
Wool;Shetland;7 lb 11 oz;;moorit;2026-02-20
Alpaca;;about 3 bags;22,1;fawn;20 Feb 2026
Wool;Romney;-4;31;white;
"""


@pytest.fixture
def farm_list(tmp_path):
    path = tmp_path / "farm.csv"
    path.write_text(LIST, encoding="utf-8")
    return path


def lots(doffer):
    return doffer("export", "lots", "--json").json


def test_every_line_is_understood_or_refused_and_nothing_is_kept_by_looking(doffer, mill, farm_list):
    answer = doffer("import", farm_list, "--owner", "C01")
    assert answer.code == 1
    assert "1 understood, 2 refused" in answer.out
    assert "about 3 bags" in answer.out
    assert lots(doffer) == []


def test_a_list_with_a_refused_line_is_not_half_kept(doffer, mill, farm_list):
    answer = doffer("import", farm_list, "--owner", "C01", "--keep")
    assert answer.code == 1
    assert answer.err.startswith("doffer: ")
    assert lots(doffer) == []


def test_lines_left_out_by_name_let_the_rest_in(doffer, mill, farm_list):
    answer = doffer("import", farm_list, "--owner", "C01", "--keep", "--drop", "3,4", "--json")
    assert answer.code == 0, answer.err
    kept = lots(doffer)
    assert [(lot["fibre"], lot["breed"], lot["net_mass_mg"]) for lot in kept] == [
        ("wool", "shetland", 3486991)
    ]


def test_a_list_that_went_out_is_understood_and_its_taken_numbers_are_noticed(
    doffer, mill, farm_list, tmp_path
):
    doffer("import", farm_list, "--owner", "C01", "--keep", "--drop", "3,4")
    assert doffer("export", "lots", "--to", tmp_path / "out.xlsx").code == 0
    (row,) = doffer("import", tmp_path / "out.xlsx", "--json").json["preview"]["rows"]
    assert row["lot"] is None
    assert [sentence for sentence in row["sentences"] if "L001" not in sentence] == []


def test_a_file_is_never_written_over_another(doffer, mill, tmp_path):
    (tmp_path / "out.csv").write_text("mine")
    answer = doffer("export", "lots", "--to", tmp_path / "out.csv")
    assert answer.code == 1
    assert "exists already" in answer.err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("import", "nowhere.csv"), "There is no file “nowhere.csv”"),
        (("export", "weighings"), "--lot is missing"),
        (("export", "weighings", "--lot", "L999"), "L999"),
    ],
)
def test_what_cannot_be_done_is_said(doffer, mill, words, sentence):
    answer = doffer(*words)
    assert answer.code == 1
    assert sentence in answer.err
