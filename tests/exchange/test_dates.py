"""Dates as people and spreadsheets write them."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.exchange.outcome import is_sentence, outcome

from doffer.errors import InputError
from doffer.exchange.dates import parse_date
from doffer.exchange.numbers import Habits

DAY = date(2026, 3, 2)
DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2099, 12, 31))


@pytest.mark.parametrize(
    "typed",
    [
        DAY,
        datetime(2026, 3, 2, 8, 30, tzinfo=UTC),
        "2026-03-02",
        "2026/3/2",
        "20260302",
        "2026-03-02T08:30:00",
        "2 Mar 2026",
        "2nd March 2026",
        "Mar 2, 2026",
        "02-Mar-26",
        "02.03.2026",
        "46083",
        46083,
        46083.75,
    ],
)
def test_a_day_is_understood_in_any_writing(typed):
    assert parse_date(typed) == DAY


@pytest.mark.parametrize(("typed", "day"), [("25/03/2026", 25), ("3/25/2026", 25), ("3/3/2026", 3)])
def test_numbers_that_allow_one_order_only_are_understood(typed, day):
    assert parse_date(typed) == date(2026, 3, day)


def test_numbers_that_allow_two_orders_are_a_question_until_the_order_is_known():
    with pytest.raises(InputError, match="2 Mar 2026 or 3 Feb 2026"):
        parse_date("02/03/2026")
    assert parse_date("02/03/2026", habits=Habits(date_order="dmy")) == DAY
    assert parse_date("03/02/2026", habits=Habits(date_order="mdy")) == DAY


@pytest.mark.parametrize(
    "typed", ["", None, "soon", "31 Feb 2026", "13/13/2026", "1899-12-31", "5/2026", True]
)
def test_what_is_no_day_is_refused(typed):
    with pytest.raises(InputError, match="received"):
        parse_date(typed, "received")


@given(DAYS, st.sampled_from(["%Y-%m-%d", "%d %b %Y", "%B %d, %Y", "%d.%m.%Y"]))
def test_a_written_day_is_read_back(day, form):
    assert parse_date(day.strftime(form)) == day


@given(
    st.one_of(st.text(max_size=40), st.text(alphabet="0123456789/.- janfebmrtT:", max_size=16), st.floats())
)
def test_whatever_is_typed_gives_a_day_or_a_sentence(typed):
    result = outcome(parse_date, typed)
    assert is_sentence(result) or isinstance(result, date)
