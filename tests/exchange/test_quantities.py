"""What people type becomes base units, or a sentence; never a guess, never another error."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.exchange.outcome import is_sentence, outcome

from doffer.errors import InputError
from doffer.exchange.numbers import Habits, maybe, parse_number
from doffer.exchange.quantities import (
    parse_length_mm,
    parse_mass_g,
    parse_micron,
    parse_micron_sd,
    parse_share,
    read_mass,
)
from doffer.pictures.wording import say

LB = 453.59237
ANYTHING = st.one_of(
    st.text(max_size=60),
    st.text(alphabet="0123456789.,'- /½¼⅞lbozkgµm%\"#~cae+∞\u202f\xa0", max_size=24),
    st.floats(),
    st.integers(),
    st.booleans(),
    st.none(),
    st.dates(),
)


@pytest.mark.parametrize(
    ("typed", "mass_g"),
    [
        ("3,5 kg", 3500),
        ("3.5", 3500),
        (3.5, 3500),
        (4, 4000),
        ("2 lb 3 oz", 2 * LB + 3 * LB / 16),
        ("7lbs. 11oz", 7 * LB + 11 * LB / 16),
        ("2 lb, 3 oz", 2 * LB + 3 * LB / 16),
        ("2 lb and 3 oz", 2 * LB + 3 * LB / 16),
        ("12 oz", 12 * LB / 16),
        ("2½ lb", 2.5 * LB),
        ("2 1/2 lb", 2.5 * LB),
        ("½ lb", LB / 2),
        ("5#", 5 * LB),
        ("850 g", 850),
        ("1 kg 500 g", 1500),
        ("1.2t", 1_200_000),
        ("1,234.5 g", 1234.5),
        ("1.234,5 g", 1234.5),
        ("1 234,5 g", 1234.5),
        ("12\u202f345 g", 12_345),
        ("5'000 g", 5000),
        ("1,234,567 g", 1_234_567),
        ("0,123 kg", 123),
        ("1.234 kg", 1234),
        (".5 kg", 500),
        ("1e3 g", 1000),
        ("0", 0),
    ],
)
def test_a_weight_is_understood_as_it_is_written(typed, mass_g):
    assert parse_mass_g(typed, unit="kg") == pytest.approx(mass_g, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("about 3 bags", "weigh the bags"),
        ("2 feed sacks", "weigh the feed sacks"),
        ("1,234", "either 1.234 or 1234"),
        ("1,230 kg", "either 1.23 or 1230"),
        ("-2 kg", "take the minus sign away"),
        ("3-4 kg", "one figure, not a range"),
        ("3 to 4 kg", "one figure, not a range"),
        ("2 lb 18 oz", "less than 16 oz"),
        ("2 lb 3", "a unit behind each number"),
        ("3 kg 2 lb", "one weight"),
        ("2 tons", "several tons"),
        ("3 stones of hay", "such as"),
        ("900 t", "look at the unit"),
        ("", "is missing"),
        (None, "is missing"),
        ("?", "is missing"),
        ("nan", "a weight such as"),
        (float("nan"), "a weight such as"),
        (float("inf"), "a weight such as"),
        ("1e999", "a weight such as"),
        (1e300, "a weight such as"),
        ("#REF!", "a weight such as"),
        ("=A1*2", "a weight such as"),
        ("1,23.4", "a weight such as"),
        ("3 1/0 kg", "a weight such as"),
        (True, "a weight such as"),
        (date(2026, 3, 2), "made a date of it"),
        ("9" * 500, "a weight such as"),
    ],
)
def test_what_is_no_weight_is_refused_with_a_sentence_that_mends_it(typed, words):
    with pytest.raises(InputError) as refused:
        parse_mass_g(typed, "gross weight", unit="kg")
    assert words in str(refused.value)
    assert str(refused.value).startswith("gross weight ")
    assert str(refused.value).endswith(".")


def test_a_number_too_long_to_print_is_refused():
    with pytest.raises(InputError, match="a very long number"):
        parse_mass_g(10**5000, unit="kg")


def test_the_whole_of_what_was_typed_stands_in_the_sentence():
    with pytest.raises(InputError, match="“2 lb 1,234 oz”"):
        parse_mass_g("2 lb 1,234 oz")


def test_a_bare_number_without_a_known_unit_is_asked_for_its_unit():
    with pytest.raises(InputError, match="say the unit too"):
        parse_mass_g("3.5")


@pytest.mark.parametrize("typed", ["ca. 4 kg", "about 4 kg", "~4kg", "approx 4 kg", "c. 4 kg", "4 kg or so"])
def test_an_estimate_is_understood_and_said_to_be_one(typed):
    read = read_mass(typed)
    assert (read.mass_g, read.is_approximate, read.is_unit_assumed) == (4000, True, False)


def test_a_weight_that_is_no_estimate_is_not_said_to_be_one():
    assert not read_mass("4 kg").is_approximate


def test_known_habits_settle_what_would_be_asked():
    assert parse_mass_g("1,234 kg", habits=Habits(decimal=",")) == 1234
    assert parse_mass_g("1,234 kg", habits=Habits(decimal=".")) == 1_234_000
    assert parse_mass_g("1.234 kg", habits=Habits(decimal=",")) == 1_234_000


def test_beside_decimal_commas_a_point_before_three_digits_is_a_question():
    with pytest.raises(InputError, match=r"either 1\.234 or 1234"):
        parse_mass_g("1.234 kg", habits=Habits(commas_seen=True))


def test_nothing_is_none_where_it_may_be_left_out():
    assert maybe(parse_mass_g, " – ", "tare") is None
    assert maybe(parse_mass_g, "3 kg", "tare") == 3000


@given(st.integers(min_value=0, max_value=40_000_000))
def test_a_weight_said_in_metric_is_read_back(mass_g):
    said = say(mass_g, "g", digits=3)
    assert parse_mass_g(said) == pytest.approx(mass_g, abs=1)


@given(st.integers(min_value=1, max_value=1_000_000))
def test_a_weight_said_in_pounds_and_ounces_is_read_back(ounces):
    mass_g = ounces * LB / 16
    assert parse_mass_g(say(mass_g, "g", "us")) == pytest.approx(mass_g, abs=0.5 * LB / 16)


@given(st.floats(min_value=5, max_value=80))
def test_a_micron_said_is_read_back(diameter_um):
    assert parse_micron(say(diameter_um, "um")) == pytest.approx(diameter_um, abs=0.051)


@given(st.floats(min_value=6, max_value=499), st.sampled_from(["metric", "us"]))
def test_a_length_said_is_read_back(length_mm, system):
    assert parse_length_mm(say(length_mm, "mm", system)) == pytest.approx(length_mm, abs=1.3)


@given(st.integers(min_value=0, max_value=1000))
def test_a_share_said_is_read_back(permille):
    assert parse_share(say(permille / 1000, "frac", digits=1)) == permille / 1000


@settings(deadline=None)
@given(ANYTHING)
def test_whatever_is_typed_gives_a_number_or_a_sentence(typed):
    for read in (parse_mass_g, parse_micron, parse_micron_sd, parse_length_mm, parse_share):
        result = outcome(read, typed)
        assert is_sentence(result) or 0 <= result < 1e9


@given(st.decimals(min_value=0, max_value=10**9, places=3))
def test_a_number_with_decimals_is_exact(value):
    assert parse_number(f"{value:f}0", "figure") == value


@pytest.mark.parametrize(
    ("typed", "length_mm"), [("4 in", 101.6), ("95mm", 95), ('4½"', 114.3), ("9,5 cm", 95), (95.0, 95)]
)
def test_a_staple_is_understood(typed, length_mm):
    assert parse_length_mm(typed) == pytest.approx(length_mm)


@pytest.mark.parametrize("typed", ["4-5 in", "12 ells", 0.2, "2 m"])
def test_a_staple_that_cannot_be_is_refused(typed):
    with pytest.raises(InputError, match="staple"):
        parse_length_mm(typed)


@pytest.mark.parametrize("typed", ["20-22", 231, "fine", "4"])
def test_a_micron_that_cannot_be_is_refused(typed):
    with pytest.raises(InputError, match="micron is"):
        parse_micron(typed)


@pytest.mark.parametrize(
    ("typed", "share"), [("58 %", 0.58), ("58", 0.58), (58.3, 0.583), ("0,5 %", 0.005), (0, 0)]
)
def test_a_share_is_understood(typed, share):
    assert parse_share(typed) == share


def test_a_small_share_without_its_sign_is_a_question():
    with pytest.raises(InputError, match=r"either 58 % or 0\.58 %"):
        parse_share("0.58")
