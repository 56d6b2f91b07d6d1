"""Grades by mean and spread."""

from __future__ import annotations

import pytest

from doffer.errors import InputError, NotFoundError
from doffer.fibre.grades import alpaca_class, mohair_grade, wool_grade
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()


@pytest.mark.parametrize(
    ("mean", "grade"),
    [
        (15, "finer than 80s"),
        (17.69, "finer than 80s"),
        (17.695, "80s"),
        (21, "64s"),
        (30.99, "50s"),
        (45, "coarser than 36s"),
    ],
)
def test_the_mean_finds_the_wool_grade_without_gaps(mean, grade):
    assert wool_grade(TABLES, diameter_um=mean).grade == grade


def test_too_wide_a_spread_drops_one_grade_and_says_why():
    even, uneven = (wool_grade(TABLES, diameter_um=21.0, diameter_sd_um=sd) for sd in (5.0, 5.5))
    assert (even.grade, uneven.grade) == ("64s", "62s")
    assert "5.19" in uneven.reason
    assert "from memory" in uneven.reason


def test_the_status_is_that_of_the_row():
    assert wool_grade(TABLES, diameter_um=21.0).status is Status.SOURCE
    assert wool_grade(TABLES, diameter_um=39.0).status is Status.MEMORY
    assert mohair_grade(TABLES, diameter_um=26.0).status is Status.MEMORY


@pytest.mark.parametrize(
    ("mean", "scheme", "grade"),
    [
        (25.4, "us_grease", "36s"),
        (25, "uk_breed_society", "super fine kid"),
        (20, "uk_breed_society", "outside the scale"),
        (42, "uk_breed_society", "outside the scale"),
    ],
)
def test_mohair_is_graded_by_the_scheme_asked_for(mean, scheme, grade):
    assert mohair_grade(TABLES, diameter_um=mean, scheme=scheme).grade == grade


def test_trade_schemes_of_alpaca_disagree_and_both_say_so():
    north = alpaca_class(TABLES, diameter_um=21.4)
    south = alpaca_class(TABLES, diameter_um=21.4, scheme="peru_trade_4")
    assert (north.grade, south.grade) == ("superfine", "baby")
    assert "not a standard" in north.working.note


def test_what_cannot_be_graded_is_refused():
    with pytest.raises(InputError):
        wool_grade(TABLES, diameter_um=0)
    with pytest.raises(InputError):
        wool_grade(TABLES, diameter_um=20, diameter_sd_um=-1)
    with pytest.raises(NotFoundError, match="mars"):
        alpaca_class(TABLES, diameter_um=20, scheme="mars")
