"""The tables load whole, refuse broken cells with a sentence, and take a mill's own figures."""

from __future__ import annotations

import dataclasses
from importlib import resources

import pytest

from doffer.errors import TableError
from doffer.tables.catalogue import TABLES as CATALOGUE
from doffer.tables.loader import Override, columns, load_tables, row_key, tables_from_texts
from doffer.working import Status

TABLES = load_tables()
DATA_TABLES = [name for name in CATALOGUE if name != "sources"]


@pytest.fixture
def texts():
    folder = resources.files("doffer.tables")
    return {name: (folder / f"{name}.csv").read_text(encoding="utf-8") for name in CATALOGUE}


def _broken(texts, table, old, new):
    assert old in texts[table]
    return texts | {table: texts[table].replace(old, new, 1)}


@pytest.mark.parametrize("name", DATA_TABLES)
def test_every_row_names_a_known_source_and_how_far_to_trust_it(name):
    table = TABLES.table(name)
    assert table
    for key, row in table.items():
        assert key == row_key(row)
        assert row.source in TABLES.sources
        assert row.status in (Status.SOURCE, Status.MEMORY, Status.PRACTICE, Status.COMPUTED)


@pytest.mark.parametrize("name", DATA_TABLES)
def test_nothing_is_called_published_that_was_not_read(name):
    for key, row in TABLES.table(name).items():
        source = TABLES.sources[row.source]
        if row.status is Status.SOURCE:
            assert source.seen != "no" or source.kind == "definition", key
        if row.status is Status.PRACTICE:
            assert row.source == "practice", key


@pytest.mark.parametrize("name", DATA_TABLES)
def test_every_number_lies_in_its_range(name):
    row_type = CATALOGUE[name].row_type
    for row in TABLES.table(name).values():
        for field in dataclasses.fields(row_type):
            rule, value = field.metadata["rule"], getattr(row, field.name)
            if rule.is_number and value is not None:
                assert rule.low <= value <= rule.high


def test_known_figures_are_where_others_look_for_them():
    assert TABLES.regain["wool/carded/eu_agreed"].regain_pct == 17
    assert TABLES.regain["wool/desorption/physical_20c_65rh"].regain_low_pct == 16
    assert TABLES.stage_losses["card/alpaca"].dry_loss_mode_pct == 12
    assert TABLES.scour_yields["alpaca_huacaya"].yield_mode_pct == 87
    assert TABLES.wool_grades["64s"].diameter_sd_max_um == 5.19
    assert len(TABLES.ciede2000) == 34
    assert len(TABLES.tristimulus) == 31 * 4 * 2


def test_white_has_a_luminance_of_100_under_every_light():
    for illuminant in ("D65", "A", "LED-B3", "FL11"):
        for observer in (2, 10):
            rows = [
                row.y
                for row in TABLES.tristimulus.values()
                if row.illuminant == illuminant and row.observer_deg == observer
            ]
            assert sum(rows) == pytest.approx(100, abs=1e-3)


def test_every_stage_has_a_caution():
    stages = "skirt tumble wash extract dry dye pick rest dehair card draw spin ply set skein"
    assert set(stages.split()) <= {row.stage for row in TABLES.cautions.values()}


def test_count_factors_follow_from_the_exact_yard_and_pound():
    for system, yards in (
        ("ne_cotton", 840),
        ("new_worsted", 560),
        ("woollen_run", 1600),
        ("woollen_cut", 300),
    ):
        assert TABLES.counts[system].factor == pytest.approx(453592.37 / (yards * 0.9144), rel=1e-14)


@pytest.mark.parametrize(
    ("table", "old", "new", "column", "words"),
    [
        ("regain", "wool,carded,eu_agreed,17,", "wool,carded,eu_agreed,170,", "regain_pct", "from 0 to 40"),
        ("regain", "wool,carded,eu_agreed,17,", "wool,carded,eu_agreed,nan,", "regain_pct", "a number"),
        ("regain", "wool,carded,eu_agreed,17,", "wool,carded,eu_agreed,,", "regain_pct", "empty"),
        ("regain", "wool,carded,eu_agreed,", "wool,carded,eu,", "basis", "one of eu_agreed"),
        ("regain", "wool,combed,eu_agreed", "wool,carded,eu_agreed", "key", "twice"),
        ("regain", "eu_1007_2011_quoted", "hearsay", "source", "sources.key"),
        ("regain", 'quoted",source,', 'quoted",rumour,', "status", "one of"),
        ("regain", 'quoted",source,', 'quoted",own,', "status", "one of"),
        ("scour_yields", "40,50,65", "40,50,45", "yield_high_pct", "at least 50"),
        ("fibres", ",yes,", ",perhaps,", "slippery", "yes or no"),
        ("breeds", "Merino,wool,fine_wool", "Merino,wool,finest", "yields_as", "scour_yields.kind"),
    ],
)
def test_a_broken_cell_is_named_with_what_was_expected(texts, table, old, new, column, words):
    with pytest.raises(TableError) as caught:
        tables_from_texts(_broken(texts, table, old, new))
    assert (caught.value.table, caught.value.column) == (table, column)
    assert words in str(caught.value)
    assert str(caught.value).endswith(".")


def test_a_missing_column_and_a_short_row_are_named(texts):
    with pytest.raises(TableError, match="the columns fibre,form"):
        tables_from_texts(_broken(texts, "regain", "fibre,form", "fiber,form"))
    with pytest.raises(TableError, match=r"line .*cells, not 2"):
        tables_from_texts(texts | {"regain": texts["regain"] + "wool,carded\n"})
    with pytest.raises(TableError, match="heading"):
        tables_from_texts(texts | {"regain": ""})


def test_a_source_that_nobody_uses_is_a_leftover(texts):
    with pytest.raises(TableError, match="some row names"):
        tables_from_texts(texts | {"sources": texts["sources"] + "stray,book,Stray,,,,,no\n"})


def test_a_mill_puts_its_own_figure_over_a_shipped_one_and_both_stay_known():
    own = TABLES.override([Override("regain", "wool/carded/eu_agreed", "regain_pct", "16.5")])
    row = own.regain["wool/carded/eu_agreed"]
    assert (row.regain_pct, row.status, row.source) == (16.5, Status.OWN, "own")
    assert "regain_pct was 17 (published" in row.note
    assert own.original is TABLES
    assert TABLES.regain["wool/carded/eu_agreed"].regain_pct == 17
    assert own.sha256 != TABLES.sha256


def test_overrides_may_follow_each_other_and_the_first_shipped_row_stays_reachable():
    once = TABLES.override([Override("machine_kinds", "card", "hold_up_g", "80")])
    twice = once.override(
        [Override("machine_kinds", "card", "setup_min", "20"), Override("fibres", "suri", "slippery", "no")]
    )
    assert (twice.machine_kinds["card"].hold_up_g, twice.machine_kinds["card"].setup_min) == (80, 20)
    assert twice.fibres["suri"].slippery is False
    assert twice.original is TABLES
    assert TABLES.override([]) is TABLES


def test_low_usual_and_high_of_one_row_may_be_moved_together_in_any_order():
    shipped = TABLES.scour_yields["fine_wool"]
    columns = ("yield_low_pct", "yield_mode_pct", "yield_high_pct")
    values = ("70", "75", "80")
    assert shipped.yield_high_pct < 70, "each value alone would stand against the shipped ones"
    for order in ((0, 1, 2), (2, 1, 0), (1, 0, 2)):
        own = TABLES.override([Override("scour_yields", "fine_wool", columns[i], values[i]) for i in order])
        row = own.scour_yields["fine_wool"]
        assert (row.yield_low_pct, row.yield_mode_pct, row.yield_high_pct) == (70, 75, 80)
        assert (row.status, own.original) == (Status.OWN, TABLES)


def test_values_given_together_that_do_not_rise_are_refused():
    changes = [
        Override("scour_yields", "fine_wool", "yield_low_pct", "90"),
        Override("scour_yields", "fine_wool", "yield_high_pct", "80"),
    ]
    with pytest.raises(TableError, match="at least 90"):
        TABLES.override(changes)


@pytest.mark.parametrize(
    ("override", "words"),
    [
        (Override("weather", "x", "y", "1"), "one of the tables"),
        (Override("regain", "wool/felted/eu_agreed", "regain_pct", "16"), "a row that exists"),
        (Override("regain", "wool/carded/eu_agreed", "regain_pct", "170"), "from 0 to 40"),
        (Override("regain", "wool/carded/eu_agreed", "status", "source"), "one of regain_pct"),
        (Override("regain", "wool/carded/eu_agreed", "fibre", "silk"), "one of regain_pct"),
        (Override("regain", "wool/carded/eu_agreed", "colour", "red"), "one of regain_pct"),
        (Override("scour_yields", "fine_wool", "yield_low_pct", "60"), "at least 60"),
        (Override("breeds", "merino", "yields_as", "nothing"), "scour_yields.kind"),
        (Override("sources", "practice", "title", "Law"), "sources stay"),
    ],
)
def test_a_wrong_override_is_refused_with_a_sentence(override, words):
    with pytest.raises(TableError, match=words):
        TABLES.override([override])


def test_the_fingerprint_depends_on_every_cell_and_is_the_same_each_time(texts):
    assert tables_from_texts(texts).sha256 == TABLES.sha256
    changed = _broken(texts, "regain", "wool,carded,eu_agreed,17,", "wool,carded,eu_agreed,17.01,")
    assert tables_from_texts(changed).sha256 != TABLES.sha256


def test_tables_cannot_be_changed_in_place():
    with pytest.raises(TypeError):
        TABLES.regain["wool/carded/eu_agreed"] = None
    with pytest.raises(dataclasses.FrozenInstanceError):
        TABLES.regain["wool/carded/eu_agreed"].regain_pct = 1.0


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_table_has_a_title_a_sentence_and_closing_columns(name):
    info = CATALOGUE[name]
    assert info.title
    assert info.purpose.endswith(".")
    if name != "sources":
        assert columns(info.row_type)[-4:] == ["source", "place", "status", "note"]
