"""How far off predictions are: as printed, or as the mill's own left-out samples say."""

import pytest

from doffer.planning.shade.ways import fitted_ways, usual_ways
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()


def fitted(n_samples, left_out_de):
    usual = usual_ways(TABLES)
    return fitted_ways(usual, m=0.2, ln_m_sd=0.1, n_samples=n_samples, left_out_de=left_out_de)


def test_without_own_samples_the_printed_error_is_told_and_that_the_card_is_not_known():
    words = usual_ways(TABLES).error_words(TABLES)
    assert "off by 1.0 to 1.2 on average, at worst 4.1" in words
    assert "does not know the mill’s own card yet" in words


def test_a_fit_quotes_its_own_left_out_error_and_not_the_printed_one():
    words = fitted(6, 0.84).error_words(TABLES)
    assert "off by 0.8 on average." in words
    assert "1.2" not in words
    assert "settle" not in words
    assert "0.5 or less" in fitted(6, 0.2).error_words(TABLES)


@pytest.mark.parametrize(("n_samples", "left_out_de"), [(2, 0.4), (3, 0.8), (6, 2.3)])
def test_the_warning_stays_until_enough_samples_settle_it(n_samples, left_out_de):
    ways = fitted(n_samples, left_out_de)
    assert not ways.is_settled(TABLES)
    assert "do not settle yet how the mill’s own card mixes" in ways.error_words(TABLES)


def test_how_many_samples_are_enough_is_the_mills_to_set():
    ways = fitted(6, 0.84)
    assert ways.is_settled(TABLES)
    strict = TABLES.override([Override("constants", "shade_enough_samples", "value", "8")])
    assert not ways.is_settled(strict)
