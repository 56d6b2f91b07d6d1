"""Fibres and breeds are found by what people type."""

from __future__ import annotations

import pytest

from doffer.errors import NotFoundError
from doffer.fibre.kinds import Kind, find_breed, find_fibre, find_kind, guess_words, kind_of
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
        ("Romney wool", "wool", "romney"),
        ("huacaya alpaca fleece", "alpaca", "huacaya"),
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


@pytest.mark.parametrize(
    ("typed", "fibre", "unlisted"),
    [
        ("Zwartbles wool", "wool", "Zwartbles"),
        ("wool (Zwartbles)", "wool", "Zwartbles"),
        ("sheep's wool", "wool", ""),
        ("Wools", "wool", ""),
        ("Romney wool", "wool", ""),
    ],
)
def test_a_breed_that_is_in_no_table_keeps_its_name_beside_its_fibre(typed, fibre, unlisted):
    kind = find_kind(TABLES, typed)
    assert (kind.fibre.fibre, kind.unlisted) == (fibre, unlisted)


def test_what_is_assumed_of_an_unlisted_breed_is_said():
    zwartbles = find_kind(TABLES, "Zwartbles wool")
    said = "“Zwartbles” is not in our list: taken as wool of unknown breed"
    assert guess_words(zwartbles) == f"{said}, 27 micron guessed until measured"
    assert guess_words(zwartbles, diameter_um=28.5) == said
    assert guess_words(Kind(TABLES.fibres["wool"])) == ""


def test_an_unknown_breed_is_answered_with_what_can_be_done():
    with pytest.raises(NotFoundError, match="as in “Zwartbles wool”") as caught:
        find_kind(TABLES, "Zwartbles")
    assert "add your own" not in str(caught.value)
