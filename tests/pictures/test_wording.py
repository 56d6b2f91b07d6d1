import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.pictures import wording
from doffer.pictures.wording import say, say_count, say_duration, say_range, say_short_mass, say_spread


def plain(text: str) -> str:
    return text.replace(wording.THIN, " ")


@pytest.mark.parametrize(
    ("mass_g", "said"),
    [
        (0, "0 g"),
        (0.04, "0.04 g"),
        (3.217, "3.22 g"),
        (32.13, "32.1 g"),
        (50, "50 g"),
        (418, "418 g"),
        (999.4, "999 g"),
        (999.6, "1.00 kg"),
        (1770, "1.77 kg"),
        (16_340, "16.34 kg"),
        (123_456, "123.5 kg"),
        (-3.2, "−3.20 g"),
    ],
)
def test_weights_are_grams_below_a_kilogram_and_kilograms_above(mass_g, said):
    assert plain(say(mass_g, "g")) == said


@pytest.mark.parametrize(
    ("mass_g", "said"),
    [
        (1984.5, "4 lb 6 oz"),
        (453.59237, "1 lb 0 oz"),
        (453.0, "1 lb 0 oz"),
        (226.796185, "8.0 oz"),
        (10, "0.35 oz"),
        (13_517, "29 lb 13 oz"),
        (-1984.5, "−4 lb 6 oz"),
    ],
)
def test_american_weights_are_pounds_and_ounces_as_a_farmer_writes_them(mass_g, said):
    assert plain(say(mass_g, "g", "us")) == said


@pytest.mark.parametrize(
    ("value", "unit", "system", "said"),
    [
        (0.1435, "frac", "metric", "14.4 %"),
        (0.6, "frac", "metric", "60 %"),
        (400, "tex", "metric", "400 tex"),
        (400, "tex", "us", "1240 yd/lb"),
        (23.14, "um", "metric", "23.1 micron"),
        (95, "mm", "us", "3.7 in"),
        (250, "m", "us", "273 yd"),
        (12_345, "m", "metric", "12 345 m"),
        (320, "tpm", "us", "8.1 turns/in"),
        (60, "c", "us", "140 °F"),
        (84, "ml", "us", "84 mL"),
        (12.5, "l", "metric", "12.5 L"),
        (12, "count", "metric", "12"),
        (140, "min", "metric", "2 h 20 min"),
        (2.5, "h", "metric", "2 h 30 min"),
        (2.5, "kg", "metric", "2.50 kg"),
        (3.55, "kg_per_h", "metric", "3.55 kg/h"),
        (None, "g", "metric", "–"),
        ("wool", "g", "metric", "wool"),
        (math.nan, "g", "metric", "not known"),
    ],
)
def test_every_unit_is_said_in_its_own_way(value, unit, system, said):
    assert plain(say(value, unit, system)) == said


def test_digits_fix_the_decimals_of_the_shown_unit():
    assert plain(say(1984.5, "g", digits=3)) == "1.985 kg"
    assert plain(say(1984.5, "g", "us", digits=1)) == "4 lb 6.0 oz"
    assert plain(say(0.6, "frac", digits=1)) == "60.0 %"


def test_a_tiny_fraction_is_not_said_as_nothing():
    assert plain(say(0.00004, "frac")) == "0.004 %"


def test_a_conversion_that_runs_out_of_numbers_is_not_known():
    assert say(5e-324, "tex", "us") == "not known"
    assert say(1e308, "frac") == "not known"


def test_number_and_unit_cannot_be_torn_apart():
    assert say(1770, "g") == "1.77\u202fkg"


def test_a_range_says_its_unit_once_and_keeps_one_scale():
    assert plain(say_range(1610, 1950, "g")) == "1.61 to 1.95 kg"
    assert plain(say_range(950, 1050, "g")) == "0.95 to 1.05 kg"
    assert plain(say_range(0.1, 0.2, "frac")) == "10 to 20 %"
    assert plain(say_range(1610, 1950, "g", "us")) == "3 lb 9 oz to 4 lb 5 oz"
    assert plain(say_range(30, 90, "min")) == "30 min to 1 h 30 min"


def test_a_range_of_nothing_is_one_value():
    assert plain(say_range(418, 418, "g")) == "418 g"


def test_a_spread_says_what_is_expected_and_how_sure_it_is():
    assert plain(say_spread(1770, 1610, 1950, "g")) == "1.77 kg, 90 %: 1.61 to 1.95 kg"


def test_a_count_says_length_per_weight_with_tex_beside():
    assert plain(say_count(400)) == "250 m/100 g (400 tex)"
    assert plain(say_count(400, "us")) == "1240 yd/lb (400 tex)"


def test_short_weights_have_one_decimal():
    assert plain(say_short_mass(58_200)) == "58.2 kg"
    assert plain(say_short_mass(350)) == "350 g"
    assert plain(say_short_mass(58_200, "us")) == "128.3 lb"


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (0.5, "30 s"),
        (20, "20 min"),
        (60, "1 h"),
        (59.7, "1 h"),
        (140, "2 h 20 min"),
        (2880, "2 days"),
        (3000, "2 days 2 h"),
    ],
)
def test_time_is_said_as_people_count_it(minutes, said):
    assert plain(say_duration(minutes)) == said


def test_an_unknown_unit_is_refused_with_what_is_known():
    with pytest.raises(InputError, match=r"unit is “furlong”; it must be one of .*tex"):
        say(3, "furlong")
    with pytest.raises(InputError, match="units is “imperial”; it must be metric or us"):
        say(3, "g", "imperial")


def grams(said: str) -> float:
    """Read back what was said."""
    text = said.replace(wording.MINUS, "-").replace(" ", wording.THIN)
    text = re.sub(rf"(\d){wording.THIN}(?=\d{{3}}(\D|$))", r"\1", text)
    size = {"g": 1, "kg": 1000, "lb": wording.G_PER_LB, "oz": wording.G_PER_OZ}
    found = re.findall(rf"([\d.]+){wording.THIN}(kg|g|lb|oz)", text)
    return (-1 if "-" in text else 1) * sum(float(number) * size[unit] for number, unit in found)


@given(mass_g=st.floats(-2e6, 2e6), system=st.sampled_from(wording.SYSTEMS))
def test_what_is_said_reads_back_within_its_precision(mass_g, system):
    said = say(mass_g, "g", system)
    size = abs(mass_g)
    if system == "us":
        half_digit = wording.G_PER_OZ * (0.5 if size >= 15.9 * wording.G_PER_OZ else 0.05)
    else:
        half_digit = 50 if size >= 99_999 else 5 if size >= 999 else 0.5 if size >= 99 else 0.05
    assert abs(grams(said) - mass_g) <= half_digit * 1.001


@given(
    value=st.floats(-1e9, 1e9),
    unit=st.sampled_from(sorted(wording.METRIC)),
    system=st.sampled_from(wording.SYSTEMS),
)
def test_nothing_is_ever_said_with_an_exponent_or_a_comma(value, unit, system):
    number = say(value, unit, system).removesuffix(wording.METRIC[unit].word)
    assert "e" not in re.sub(r"[a-z/%°]+$", "", number)
    assert "," not in number


@given(a=st.floats(0, 1e6), b=st.floats(0, 1e6))
def test_a_heavier_weight_is_never_said_lighter(a, b):
    low, high = sorted((a, b))
    assert grams(say(low, "g")) <= grams(say(high, "g")) + 1e-9
