"""Blends as they are said on the telephone."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.exchange.outcome import is_sentence, outcome

from doffer.errors import InputError
from doffer.exchange.blends import parse_blend, parse_shares
from doffer.tables.loader import load_tables

TABLES = load_tables()
WISH = {"wool": 0.5, "alpaca": 0.3, "silk": 0.2}


@pytest.mark.parametrize(
    "typed",
    [
        "50 wool 30 alpaca 20 silk",
        "50/30/20 wool/alpaca/silk",
        "50% BFL, 30 % huacaya and 20 % silk",
        "wool=50,alpaca=30,silk=20",
        "wool 50 / alpaca 30 / silk 20",
        "0.5 wool 0.3 alpaca 0.2 silk",
    ],
)
def test_a_blend_is_understood_in_any_writing(typed):
    assert parse_blend(typed, TABLES) == pytest.approx(WISH)


def test_a_fibre_alone_is_all_of_it():
    assert parse_blend("kid mohair", TABLES) == {"mohair": 1.0}


def test_two_names_of_one_fibre_are_added_up():
    assert parse_blend("40 merino 40 shetland 20 suri", TABLES) == pytest.approx({"wool": 0.8, "alpaca": 0.2})


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("50 wool 30 alpaca", "these sum to 80"),
        ("60 20 20", "a share for each fibre"),
        ("50 wol 50 silk", "Did you mean “wool”"),
        ("1,234 wool", r"1\.234 or 1234"),
        ("", "is missing"),
    ],
)
def test_a_blend_that_does_not_add_up_is_refused(typed, words):
    with pytest.raises(InputError, match=words):
        parse_blend(typed, TABLES)


def test_thirds_rounded_to_a_decimal_are_thirds():
    assert parse_shares("33.3/33.3/33.3") == pytest.approx((1 / 3, 1 / 3, 1 / 3))


@given(st.lists(st.integers(min_value=1, max_value=99), min_size=1, max_size=6))
def test_shares_sum_to_one_or_are_refused(parts):
    typed = "/".join(map(str, parts))
    if sum(parts) in (1, 100):
        assert math.fsum(parse_shares(typed)) == pytest.approx(1)
    else:
        with pytest.raises(InputError, match="sum to"):
            parse_shares(typed)


@settings(deadline=None)
@given(st.one_of(st.text(max_size=50), st.text(alphabet="0123456789/,.% woladnsik=", max_size=30)))
def test_whatever_is_typed_gives_a_blend_or_a_sentence(typed):
    result = outcome(parse_blend, typed, TABLES)
    assert is_sentence(result) or math.fsum(result.values()) == pytest.approx(1)
