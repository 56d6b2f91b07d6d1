"""Find it for me, then Use this: what the search offers is what the page shows after the click."""

import html
import re

import pytest
from tests.office.page_words import words

from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness import ways_of
from doffer.office.evenness_asked import DRAWINGS, read_mixed
from doffer.office.evenness_blend import route_of, usual_of
from doffer.planning.evenness.choose import DRAWINGS as TRIED

pytestmark = pytest.mark.django_db


def links(page: str) -> list[str]:
    found = page[page.index('id="found"') :]
    return [html.unescape(link) for link in re.findall(r'class="button" href="([^"]+)"', found)]


@pytest.mark.parametrize("laying", ["layers", "handfuls"])
def test_every_way_offered_is_shown_as_offered(demo_mill, laying):
    inputs = mixing_of_lots({"L027": 10_000.0, "L028": 3_000.0})
    usual = usual_of(inputs)
    asked = read_mixed({"set": "yes", "layers": "12", "passes": "1", "laying": laying}, "metric", usual)
    ways = ways_of(route_of(inputs, asked).chosen(), asked, "metric")
    assert ways
    for way in ways:
        option = way.option
        shown = read_mixed(dict(re.findall(r"(\w+)=([^&]*)", way.query)), "metric", usual)
        assert shown.errors == {}
        assert (shown.layers, shown.passes, shown.ends) == (option.layers, option.passes, option.ends)
        foretold = route_of(inputs, shown).foretold().stages[-1].apart_de
        assert foretold.mid == pytest.approx(option.apart_de.mid, rel=0.1)


def test_as_many_sets_as_the_search_may_lay_can_be_asked_for(demo_mill):
    small, large = (usual_of(mixing_of_lots({"L027": dry_g, "L028": dry_g})) for dry_g in (500.0, 8000.0))
    assert (small.most_layers, large.most_layers) == (120, 320)
    assert read_mixed({"layers": "320"}, "metric", large).layers == 320
    assert "from 1 to 120" in read_mixed({"layers": "121"}, "metric", small).errors["layers"]


def test_every_drawing_of_the_search_stands_in_the_form():
    assert {"x".join(map(str, ends)) for ends in TRIED} <= set(dict(DRAWINGS))


def test_what_is_shown_beside_a_refused_number_says_that_it_is_not_that_number(client, demo_mill):
    answer = client.get("/orders/O207/evenness/?set=yes&layers=9999&passes=1")
    assert answer.status_code == 422
    assert "Until that is put right, this is how it would be mixed as shown below:" in words(answer)
    right = client.get("/orders/O207/evenness/?set=yes&layers=12&passes=1")
    assert "Until that is put right" not in words(right)


def test_a_feed_sheet_of_many_sets_is_folded(client, demo_mill):
    page = client.get("/orders/O208/evenness/?set=yes&layers=130&passes=1").content.decode()
    told = re.search(r'aria-label="Layers on the feed\. ([^"]+)"', page)[1]
    assert "in the same turn" in told
    assert "130 sets of layers" in words(client.get("/orders/O208/evenness/?set=yes&layers=130&passes=1"))


def test_the_links_of_an_order_lead_to_what_they_say(client, demo_mill):
    page = client.get(
        "/orders/O208/evenness/?find=yes&set=yes&layers=6&passes=1&laying=handfuls"
    ).content.decode()
    offered = links(page)
    assert offered
    for link in offered:
        answer = client.get(link)
        assert answer.status_code == 200
        n_sets = re.search(r"layers=(\d+)", link)[1]
        assert f"{n_sets} sets of " in words(answer)
