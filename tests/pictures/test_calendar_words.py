from datetime import UTC, date, datetime

from doffer.pictures.calendar_words import say_day, say_due, say_moment, say_near_day, say_since, say_time

TODAY = date(2026, 3, 2)  # a Monday


def test_a_day_has_its_name_and_the_year_only_when_it_is_another():
    assert say_day(date(2026, 3, 6), TODAY) == "Friday 6 March"
    assert say_day(date(2027, 1, 1), TODAY) == "Friday 1 January 2027"
    assert say_day(date(2026, 3, 6)) == "Friday 6 March 2026"


def test_near_days_are_spoken_of_by_name():
    assert [say_near_day(date(2026, 3, day), TODAY) for day in (1, 2, 3, 8, 9)] == [
        "yesterday", "today", "tomorrow", "Sunday", "Monday 9 March",
    ]  # fmt: skip


def test_lateness_is_counted_in_days_and_named():
    assert say_due(date(2026, 2, 27), TODAY) == "3 days late, since Friday"
    assert say_due(date(2026, 3, 1), TODAY) == "1 day late, since yesterday"
    assert say_due(TODAY, TODAY) == "due today"
    assert say_since(date(2026, 1, 5), TODAY) == "since Monday 5 January"


def test_moments_have_a_24_hour_clock():
    assert say_time(datetime(2026, 3, 1, 16, 5, tzinfo=UTC)) == "16:05"
    assert say_moment(datetime(2026, 3, 1, 16, 20, tzinfo=UTC), TODAY) == "yesterday 16:20"
