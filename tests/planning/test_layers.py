"""Layers: scenario 8 of the acceptance list (whole grams; common practice)."""

from hypothesis import given
from hypothesis import strategies as st

from doffer.planning.layers import feed_sheet, layer_portions

TOTALS = {"wool": 3342, "alpaca": 2110, "silk": 1290}


def test_six_layers_in_whole_grams():
    portions = layer_portions(TOTALS, n_layers=6)
    assert portions["wool"] == (557,) * 6
    assert portions["alpaca"] == (352,) * 4 + (351,) * 2
    assert portions["silk"] == (215,) * 6


def test_the_largest_component_begins_and_ends_with_half_a_layer():
    sheet = feed_sheet(layer_portions(TOTALS, n_layers=6))
    assert (sheet[0].name, sheet[0].mass_g) == ("wool", 278)
    assert (sheet[-1].name, sheet[-1].mass_g) == ("wool", 279)
    assert [layer.mass_g for layer in sheet if layer.name == "wool"][1:-1] == [557] * 5
    assert [layer.place for layer in sheet] == list(range(1, len(sheet) + 1))


def test_a_single_fibre_is_simply_laid_in_portions():
    sheet = feed_sheet(layer_portions({"wool": 10}, n_layers=3))
    assert [layer.mass_g for layer in sheet] == [4, 3, 3]


@given(
    st.dictionaries(st.sampled_from("abcdef"), st.integers(0, 9000), min_size=1, max_size=5),
    st.integers(1, 12),
)
def test_the_feed_sheet_lays_every_gram_and_no_gram_twice(totals, n_layers):
    sheet = feed_sheet(layer_portions(totals, n_layers=n_layers))
    laid = {name: sum(layer.mass_g for layer in sheet if layer.name == name) for name in totals}
    assert laid == totals
