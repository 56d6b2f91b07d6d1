"""Fibres and breeds are found by what people type."""

from __future__ import annotations

import pytest

from doffer.errors import NotFoundError
from doffer.fibre.kinds import find_breed, find_fibre, find_kind, kind_of
from doffer.tables.loader import load_tables

TABLES = load_tables()


@pytest.mark.parametrize(
    ("typed", "fibre", "breed"),
    [
        ("Wool", "wool", None),
        ("  NYLON ", "polyamide", None),
        ("vicuña", "vicuna", None),
        ("BFL", "wool", "bluefaced_leicester"),
        ("blue-faced leicester", "wool", "bluefaced_leicester"),
        ("Suffolk cross", "wool", "suffolk"),
        ("Romney x something", "wool", "romney"),
        ("Jacobs", "wool", "jacob"),
        ("suri", "suri", "suri"),
        ("kid mohair", "mohair", "kid_mohair"),
        ("angora", "angora_rabbit", None),
        ("tussah staple", "silk", "tussah_silk"),
        ("bought in, huacaya", "alpaca", "huacaya"),
    ],
)
def test_what_people_type_is_understood(typed, fibre, breed):
    kind = find_kind(TABLES, typed)
    assert (kind.fibre.fibre, kind.breed and kind.breed.breed) == (fibre, breed)
    assert find_fibre(TABLES, typed) == kind.fibre


@pytest.mark.parametrize("key", TABLES.breeds)
def test_every_breed_is_found_by_its_own_name(key):
    assert find_breed(TABLES, TABLES.breeds[key].name).breed == key


def test_a_slip_of_the_finger_gets_a_suggestion():
    with pytest.raises(NotFoundError, match="Did you mean “alpaca”"):
        find_fibre(TABLES, "alpacca")
    with pytest.raises(NotFoundError, match="Did you mean “Corriedale”"):
        find_breed(TABLES, "coriedale")


@pytest.mark.parametrize("typed", ["", "xyzzy", "merino and alpaca"])
def test_nonsense_and_mixtures_are_not_guessed(typed):
    with pytest.raises(NotFoundError):
        find_kind(TABLES, typed)


@pytest.mark.parametrize(
    ("fibre", "breed", "found"),
    [
        ("alpaca", "suri", ("suri", "suri")),
        ("alpaca", "guild mix 3", ("alpaca", None)),
        ("wool", "guild mix 1", ("wool", "mixed_wool")),
        ("mohair", "adult", ("mohair", "adult_mohair")),
        ("silk", "", ("silk", None)),
        ("wool", "never heard of", ("wool", None)),
    ],
)
def test_two_columns_of_a_lot_become_one_kind(fibre, breed, found):
    kind = kind_of(TABLES, fibre=fibre, breed=breed)
    assert (kind.fibre.fibre, kind.breed and kind.breed.breed) == found
