"""What the door offers and asks: the air of this day, and a bag that is far from the usual."""

from datetime import timedelta

import pytest

from doffer.mill import clock
from doffer.mill.booking import QuestionError, Reading
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.queries.door import last_air
from doffer.mill.usual import USUAL_BAG_G, ask_about_bag, usual_bag_g

pytestmark = pytest.mark.django_db


def test_the_air_is_offered_all_day_and_not_the_next_morning(small_mill, monday):
    reading = Reading(gross_g=4_000, rh_frac=0.55, temp_c=17.5)
    record_weighing(small_mill.floor, lot="L001", reading=reading)
    with clock.frozen(monday.replace(hour=23, minute=59)):
        assert (last_air().rh_frac, last_air().temp_c) == (0.55, 17.5)
    with clock.frozen(monday + timedelta(hours=15, minutes=1)):
        assert (last_air().rh_frac, last_air().temp_c, last_air().read_at) == (None, None, None)


@pytest.mark.parametrize("times", [0.05, 0.2, 1.0, 4.9])
def test_a_bag_near_the_usual_is_taken_without_a_word(small_mill, times):
    ask_about_bag(usual_bag_g() * times, "")
    assert usual_bag_g() > 0


@pytest.mark.parametrize("times", [0.03, 5.1, 10.0])
def test_a_bag_five_times_the_usual_or_a_slipped_decimal_point_is_asked_about(small_mill, times):
    with pytest.raises(QuestionError, match="far from a usual bag"):
        ask_about_bag(usual_bag_g() * times, "")
    ask_about_bag(usual_bag_g() * times, "looked at again")


def test_a_mill_without_a_habit_counts_with_a_fleece(people):
    assert usual_bag_g() == USUAL_BAG_G
