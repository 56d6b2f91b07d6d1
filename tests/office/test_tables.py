"""The tables on pages: sources in words, own figures beside the shipped ones."""

import pytest
from tests.office.page_words import words

from doffer.mill import bridge
from doffer.mill.queries.tables import current_tables, own_figures
from doffer.office.tables import column_of
from doffer.tables.catalogue import TABLES
from doffer.tables.loader import Override

ROW = "/records/tables/scour_yields/row/?key=fine_wool"


def row_form(key: str, **changed: str) -> dict[str, str]:
    row = current_tables().scour_yields["fine_wool"]
    form = {
        "name": row.name,
        "yield_low_pct": f"{row.yield_low_pct:g}",
        "yield_mode_pct": f"{row.yield_mode_pct:g}",
        "yield_high_pct": f"{row.yield_high_pct:g}",
        "reason": "twelve lots",
        "key": key,
    }
    return {**form, **changed}


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_shown_with_at_most_fifty_rows(client, people, name):
    page = client.get(f"/records/tables/{name}/")
    text = page.content.decode()
    assert page.status_code == 200
    assert 1 <= text.count('<th scope="row">') <= 50
    assert TABLES[name].title in words(page)


@pytest.mark.parametrize("name", [name for name in TABLES if name != "sources"])
def test_the_first_row_of_every_table_can_be_opened(client, people, name):
    key = next(iter(current_tables().table(name)))
    assert client.get(f"/records/tables/{name}/row/", {"key": key}).status_code == 200


def test_the_list_says_what_each_table_is_for(client, people):
    text = words(client.get("/records/tables/"))
    assert "Regain Water per dry fibre by law, by contract and by physics. 103" in text


def test_a_row_says_on_whose_word_it_stands(client, people):
    text = words(client.get("/records/tables/regain/?search=wool+carded+eu"))
    assert "published" in text
    assert "1 to 2 of 2 rows" in text or "1 to 1 of 1 rows" in text


def test_the_rows_after_fifty_are_on_the_next_page(client, people):
    assert "1 to 50 of 103 rows" in words(client.get("/records/tables/regain/"))
    assert "51 to 100 of 103 rows" in words(client.get("/records/tables/regain/?from=50"))
    assert "No row holds these words" in words(client.get("/records/tables/regain/?search=granite"))


def test_unknown_tables_and_rows_are_said(client, people):
    assert client.get("/records/tables/weather/").status_code == 404
    answer = client.get("/records/tables/regain/row/?key=moss")
    assert answer.status_code == 404
    assert "There is no row in the table Regain “moss”" in words(answer)


def test_low_usual_and_high_are_put_in_together_and_shown_beside_the_shipped_ones(client_of, people, key):
    client = client_of(people.office)
    form = row_form(key, yield_low_pct="70", yield_mode_pct="75,5", yield_high_pct="80")
    for _ in range(2):
        assert client.post(ROW, form).url == "/records/tables/scour_yields/"
    row = current_tables().scour_yields["fine_wool"]
    assert (row.yield_low_pct, row.yield_mode_pct, row.yield_high_pct) == (70, 75.5, 80)
    assert len(own_figures()) == 3
    text = words(client.get("/records/tables/scour_yields/"))
    assert "75.5 shipped 50" in text
    assert "the mill's own figure" in text
    assert "twelve lots" in text


def test_a_figure_that_cannot_be_is_said_beside_its_field_and_nothing_is_kept(client_of, people, key):
    client = client_of(people.office)
    answer = client.post(ROW, row_form(key, yield_low_pct="70", yield_high_pct="lots"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'id="yield_high_pct-error"' in text
    assert 'value="lots"' in text
    assert 'value="70"' in text
    falling = client.post(ROW, row_form(key, yield_low_pct="70"))
    assert falling.status_code == 422
    assert "expected at least 70" in words(falling)
    assert own_figures() == ()


def test_a_form_in_which_nothing_was_changed_says_so(client_of, people, key):
    answer = client_of(people.office).post(ROW, row_form(key))
    assert answer.status_code == 422
    assert "at least one cell that differs" in words(answer)


def test_the_shipped_figures_count_again_when_the_own_ones_are_taken_back(client_of, people, key):
    client = client_of(people.office)
    shipped = current_tables().scour_yields["fine_wool"]
    client.post(ROW, row_form(key, yield_mode_pct="55"))
    assert "Let the shipped figures count again" in words(client.get(ROW))
    way = "/records/tables/scour_yields/row/withdraw/?key=fine_wool"
    assert client.get(way).status_code == 405
    assert client.post(way, {"reason": "too few"}).status_code == 302
    assert current_tables().scour_yields["fine_wool"] == shipped
    assert client.post(way).status_code == 404
    assert "as shipped again" in words(client.get(ROW))


def test_the_floor_puts_no_figures_into_the_tables(client_of, people, key):
    client = client_of(people.floor)
    assert client.post(ROW, row_form(key, yield_mode_pct="55")).status_code == 422
    assert "Let these figures count" not in words(client.get(ROW))
    assert own_figures() == ()


def test_sources_stay_as_they_are(client_of, people, key):
    client = client_of(people.owner)
    source = next(iter(current_tables().sources))
    way = f"/records/tables/sources/row/?key={source}"
    assert "Sources stay as they are" in words(client.get(way))
    assert client.post(way, {"title": "Mine", "key": key}).status_code == 422


def test_column_names_become_words_with_their_unit():
    assert (column_of("yield_low_pct").title, column_of("yield_low_pct").unit) == ("Yield low", "%")
    assert (column_of("rate_wool_kg_per_h").title, column_of("rate_wool_kg_per_h").unit) == (
        "Rate wool",
        "kg/h",
    )
    assert (column_of("agreed_as").title, column_of("agreed_as").unit) == ("Agreed as", "")


def test_a_figure_that_no_longer_fits_is_said_on_the_page(client, small_mill, monkeypatch):
    stale = Override("constants", "gone_since_the_update", "value", "5")
    monkeypatch.setattr(bridge, "overrides_in_force", lambda: (stale,))
    page = client.get("/records/tables/").content.decode()
    assert "A figure of yours no longer fits" in page
    assert "gone_since_the_update" in page
