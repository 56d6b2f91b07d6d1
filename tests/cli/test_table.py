import pytest


def test_all_tables_are_listed_with_their_purpose(doffer):
    listed = {table["table"]: table["purpose"] for table in doffer("table", "--json").json}
    assert "regain" in listed
    assert all(listed.values())


def test_every_row_shows_its_source_and_status(doffer):
    rows = doffer("table", "show", "regain", "--json").json
    assert all(row["source"] and row["status"] for row in rows)


def test_a_row_is_shown_with_every_cell(doffer):
    row = doffer("table", "show", "regain", "wool/carded/eu_agreed", "--json").json
    assert (row["regain_pct"], row["source"]) == (17.0, "eu_1007_2011_quoted")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("table", "show", "weather"), "one of the tables"),
        (("table", "show", "regain", "wool"), "Did you mean wool/carded/eu_agreed"),
    ],
)
def test_what_is_not_there_is_said_with_a_way_out(doffer, words, sentence):
    answer = doffer(*words)
    assert answer.code == 1
    assert sentence in answer.err
