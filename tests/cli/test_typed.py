import argparse

import pytest

from doffer.cli.typed import named_numbers, number, parts_of_water


@pytest.mark.parametrize(("text", "value"), [("2.7", 2.7), ("2,7", 2.7), ("6", 6.0), (" 3 ", 3.0)])
def test_a_point_and_a_comma_are_both_read(text, value):
    assert number(0, 10)(text) == value


@pytest.mark.parametrize("text", ["1,234", "a lot", "", "nan", "inf", "1.2.3"])
def test_what_can_be_read_in_two_ways_or_none_is_refused(text):
    with pytest.raises(argparse.ArgumentTypeError):
        number(0, 1e9)(text)


def test_a_number_out_of_range_says_the_range():
    with pytest.raises(argparse.ArgumentTypeError, match="from 0 to 20"):
        number(0, 20)("25")


def test_shares_are_read_by_name():
    assert named_numbers("wool=50, alpaca = 30.5") == {"wool": 50.0, "alpaca": 30.5}


@pytest.mark.parametrize("text", ["wool", "wool=", "=50", "wool=50,wool=20", "wool=x"])
def test_a_broken_share_is_refused(text):
    with pytest.raises(argparse.ArgumentTypeError):
        named_numbers(text)


def test_one_to_four_is_four_parts_of_water():
    assert parts_of_water("1:4") == 4.0


@pytest.mark.parametrize("text", ["4", "2:4", "1:", "1:x"])
def test_a_broken_dilution_is_refused(text):
    with pytest.raises(argparse.ArgumentTypeError):
        parts_of_water(text)
