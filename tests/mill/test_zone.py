from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.db.models import Max

from doffer.mill import clock
from doffer.mill.booking import Reading
from doffer.mill.commands.intake import Bag, FibreFacts, weigh_in_bag
from doffer.mill.models import Lot
from doffer.mill.zone import local_zone

pytestmark = pytest.mark.django_db


def bag_of(mill):
    """Take a bag in, and give its lot."""
    reading = Reading(gross_g=4_250, tare_g=250, rh_frac=0.6)
    return weigh_in_bag(
        mill.floor, Bag(customer=mill.moss, facts=FibreFacts(fibre="wool"), reading=reading)
    ).lot


@pytest.fixture
def denver(tmp_path):
    """A link as systems keep it."""
    named = tmp_path / "zoneinfo" / "America" / "Denver"
    named.parent.mkdir(parents=True)
    named.write_text("")
    link = tmp_path / "localtime"
    link.symlink_to(named)
    return link


def test_the_computer_says_where_the_mill_is(denver):
    assert local_zone("", link=denver) == "America/Denver"


def test_what_is_told_comes_first_and_what_is_no_zone_is_passed_over(denver):
    assert local_zone("Europe/Dublin", link=denver) == "Europe/Dublin"
    assert local_zone("Nowhere/Land", ":Asia/Tokyo", link=denver) == "Asia/Tokyo"
    assert local_zone("Nowhere/Land", link=denver) == "America/Denver"


def test_without_any_word_it_is_utc():
    assert local_zone("", link=Path("/no-such-file")) == "UTC"


def test_what_was_kept_is_read_at_the_hour_on_the_mills_wall(settings, small_mill):
    settings.TIME_ZONE = "America/Denver"
    evening = datetime(2026, 3, 7, 2, 30, tzinfo=UTC)
    with clock.frozen(evening):
        assert clock.today() == date(2026, 3, 6)
        lot = bag_of(small_mill)
    kept = Lot.objects.get(code=lot).created_at
    assert (kept.date(), kept.hour, kept.minute) == (date(2026, 3, 6), 19, 30)
    assert kept == evening


def test_moments_are_found_by_the_instant_whatever_the_zone(settings, small_mill):
    with clock.frozen(datetime(2026, 3, 7, 2, 30, tzinfo=UTC)):
        lot = bag_of(small_mill)
    settings.TIME_ZONE = "Asia/Tokyo"
    assert Lot.objects.filter(created_at=datetime(2026, 3, 7, 2, 30, tzinfo=UTC)).get().code == lot
    assert Lot.objects.aggregate(last=Max("created_at"))["last"].hour == 11
