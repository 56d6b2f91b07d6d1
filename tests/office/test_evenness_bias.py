"""What weighing out may be wrong by counts for the label, on the page as in the search."""

import pytest
from tests.office.page_words import words

from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import route_of, usual_of

pytestmark = pytest.mark.django_db
ORDER = "/orders/O207/evenness/?set=yes&layers=12&passes=2&toss=yes&drawn=4"


def route(**more: str):
    inputs = mixing_of_lots({"L027": 900.0, "L039": 300.0})
    asked = {"set": "yes", "layers": "24", "passes": "1", "toss": "yes", "drawn": "4x4", **more}
    return route_of(inputs, read_mixed(asked, "metric", usual_of(inputs)))


def test_an_error_of_weighing_out_raises_the_chance_of_missing_the_label(demo_mill):
    fair, wrong = route(), route(bias="2.9")
    assert wrong.mixed.bias_frac == pytest.approx(0.029)
    chances = [max(one.mid.chance for one in each.foretold().label) for each in (fair, wrong)]
    assert chances[1] > 2 * chances[0]
    assert chances[1] > 0.3


def test_the_error_stays_in_the_address_and_a_wild_one_is_refused(client, demo_mill):
    assert ("bias", "0.5") in route(bias="0.5").mixed.pairs()
    assert "bias" not in dict(route().mixed.pairs())
    answer = client.get(f"{ORDER}&bias=50")
    assert answer.status_code == 422
    assert "points of 100, from 0 to 10" in words(answer)
    assert "Weighing out may be wrong by" in words(client.get(ORDER))
