"""Fibre length after the passes: the page and the search say the same, as the guess that it is."""

import re

import pytest
from tests.office.page_words import words

from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import route_of, usual_of

pytestmark = pytest.mark.django_db
BENCH = "/bench/evenness/?lot=L027&lot=L028&mass=3&set=yes&layers=12"
LENGTHS = r"is (\d+) mm long on average after (\w+) pass(?:es)?, of (\d+) mm before; (\d+) mm if"


def lengths(client, passes: int) -> tuple[int, int, int]:
    found = re.search(LENGTHS, words(client.get(f"{BENCH}&passes={passes}")))
    return int(found[1]), int(found[3]), int(found[4])


def test_every_pass_leaves_the_fibre_shorter_and_it_is_called_a_guess(client, demo_mill):
    one, three = lengths(client, 1), lengths(client, 3)
    assert one[1] == three[1] > one[0] > three[0] > three[2]
    text = words(client.get(f"{BENCH}&passes=2"))
    assert re.search(r"mm if the picker breaks more\. a guess", text)
    assert "it is no part of these figures" not in text


def test_the_page_and_the_search_reckon_the_same_length(client, demo_mill):
    inputs = mixing_of_lots({"L027": 1500.0, "L028": 1500.0})
    route = route_of(
        inputs, read_mixed({"set": "yes", "layers": "12", "passes": "2"}, "metric", usual_of(inputs))
    )
    two = next(one for one in route.chosen().by_passes if one.passes == 2)
    assert route.length_left.likely_frac == pytest.approx(two.length_frac)
    assert 0.5 < two.length_frac < 1


def test_a_way_that_breaks_too_much_is_told(client, demo_mill):
    assert "takes no such way" in words(client.get(f"{BENCH}&passes=6"))
    assert "takes no such way" not in words(client.get(f"{BENCH}&passes=1"))


def test_what_is_not_picked_is_not_shortened(client, demo_mill):
    text = words(client.get(f"{BENCH}&passes=0"))
    assert "Not picked, so no fibre is shortened" in text
    assert "long on average" not in text
