"""The air of the room: a reading of today is offered again, one of yesterday never, at door and runs."""

from datetime import timedelta

import pytest

from doffer.mill import clock
from doffer.mill.booking import Reading
from doffer.mill.commands.weigh import record_weighing

PAGES = ("/runs/new/?stage=card&lot=L005", "/weigh-in/C02/", "/lots/L005/weigh/", "/lots/L001/grade/")


def field(page: str, name: str) -> str:
    """What stands in a number field of a page."""
    head = page.split(f'name="{name}"')[1].split(">")[0]
    return head.split('value="')[1].split('"')[0] if 'value="' in head else ""


@pytest.mark.parametrize("address", PAGES)
def test_air_read_today_is_offered_with_its_time(client_of, small_mill, monday, address):
    record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=9_900, rh_frac=0.71, temp_c=17.0))
    with clock.frozen(monday + timedelta(hours=6)):
        page = client_of(small_mill.floor).get(address).content.decode()
    assert field(page, "rh") == "71"
    assert "change it if it moved" in page


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("later", [timedelta(hours=15, minutes=1), timedelta(days=1), timedelta(days=9)])
def test_yesterdays_humidity_is_not_offered_as_todays(client_of, small_mill, monday, address, later):
    record_weighing(small_mill.floor, lot="L005", reading=Reading(gross_g=9_900, rh_frac=0.71, temp_c=17.0))
    with clock.frozen(monday + later):  # from one minute past midnight on
        page = client_of(small_mill.floor).get(address).content.decode()
    assert field(page, "rh") == ""
    assert field(page, "temp") == ""
    assert "change it if it moved" not in page


def test_a_weighing_told_for_yesterday_does_not_make_its_air_todays(client_of, small_mill, monday):
    yesterday = Reading(gross_g=9_900, rh_frac=0.71, weighed_at=monday - timedelta(days=1))
    record_weighing(small_mill.floor, lot="L005", reading=yesterday)
    page = client_of(small_mill.floor).get(PAGES[0]).content.decode()
    assert field(page, "rh") == "60"  # of this morning, when the bags came
