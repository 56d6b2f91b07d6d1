"""A real mill lives today; the invented one at its own date, whole days away."""

from datetime import UTC, datetime, timedelta

import pytest

from doffer.mill import clock
from doffer.mill.booking import announce
from doffer.mill.commands.settings import keep_settings

pytestmark = pytest.mark.django_db


def test_a_real_mill_lives_today(people):
    with clock.frozen(datetime(2031, 5, 1, tzinfo=UTC)):
        assert clock.today().isoformat() == "2031-05-01"


def test_the_clock_of_a_real_mill_is_the_real_one(db):
    assert abs(clock.now() - datetime.now(UTC)) < timedelta(minutes=1)


def test_the_shift_is_whole_days_and_follows_the_latest_record(people):
    with clock.frozen(datetime(2026, 3, 4, 15, 0, tzinfo=UTC)):
        keep_settings(people.owner, {clock.DEMO_TODAY: "2026-03-02"})
        announce(people.owner, "lot", "L001", "weighed on Wednesday")
    clock.forget_shift()
    real = datetime.now(UTC)
    with clock.frozen(None):
        now = clock.now()
    assert now.date().isoformat() == "2026-03-04"
    assert abs(now.timestamp() % 86_400 - real.timestamp() % 86_400) < 60
