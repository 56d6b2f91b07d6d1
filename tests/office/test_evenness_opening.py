"""How a lot begins: whole or half layers on the feed sheet, and the first metres off the card."""

import io
import re

import numpy as np
import pytest
from PIL import Image
from tests.office.page_words import words

from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import route_of, usual_of
from doffer.planning.layers import layer_portions, whole_sheet
from doffer.process.evenness.stream import lay

pytestmark = pytest.mark.django_db
ORDER = "/orders/O207/evenness/"
ASKED = "set=yes&layers=3&passes=1&drawn="


def laid_grams(page: str) -> list[tuple[str, int]]:
    told = re.search(r'aria-label="Layers on the feed\. ([^"]+)"', page)[1].replace("\u202f", " ")
    return [(lot, int(mass)) for lot, mass in re.findall(r"layer \d+ (\S+) (\d+) g", told)]


def pixels(answer) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(answer.content)).convert("RGB"), dtype=float)


def test_the_feed_sheet_is_drawn_as_it_was_chosen(client, demo_mill):
    half, whole = (client.get(f"{ORDER}?{ASKED}{more}").content.decode() for more in ("", "&whole=yes"))
    halves, wholes = laid_grams(half), laid_grams(whole)
    largest = halves[0][0]
    assert halves[-1][0] == largest
    assert wholes[0][0] == largest
    assert wholes[-1][0] != largest
    assert wholes[0][1] == pytest.approx(2 * halves[0][1], abs=2)
    assert len(wholes) == len(halves) - 1
    assert sum(mass for _, mass in wholes) == sum(mass for _, mass in halves)
    assert "every set begins with a whole layer of the largest lot" in whole
    assert "begins and ends with half a layer" in half


def test_whole_layers_lay_every_gram_with_the_largest_first():
    sheet = whole_sheet(layer_portions({"silk": 100, "wool": 301}, n_layers=3))
    assert [layer.place for layer in sheet] == [1, 2, 3, 4, 5, 6]
    laid = [(layer.name, layer.mass_g) for layer in sheet]
    assert laid == [("wool", 101), ("silk", 34), ("wool", 100), ("silk", 33), ("wool", 100), ("silk", 33)]


def test_the_stream_begins_as_the_feed_sheet_does(demo_mill):
    inputs = mixing_of_lots({"L028": 300.0, "L027": 900.0})
    asked = {"set": "yes", "layers": "3", "whole": "yes"}
    feed = route_of(inputs, read_mixed(asked, "metric", usual_of(inputs))).passage.feed
    f = lay(feed, cell_g=10.0, rng=np.random.default_rng(1))
    largest = [part.name for part in feed.parts].index("L027")
    assert f[:20, largest] == pytest.approx(1, abs=0.02)
    assert f[-5:, largest] == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("place", [ORDER, "/bench/evenness/"])
def test_the_first_metres_show_a_whole_layer_at_the_beginning(client, demo_mill, place):
    lots = "&lot=L027&lot=L028&mass=6" if "bench" in place else ""
    address = f"{place}opening.png?set=yes&layers=3&passes=0&drawn=4{lots}"
    half, whole = pixels(client.get(address)), pixels(client.get(f"{address}&whole=yes"))
    assert half.shape == whole.shape
    n_half, n_whole = (
        int(np.argmax(np.abs(one.mean(axis=0) - one[:, 0].mean(axis=0)).max(axis=1) > 6))
        for one in (half, whole)
    )
    assert n_whole == pytest.approx(2 * n_half, rel=0.35)
    assert n_half > 10


def test_the_page_shows_how_the_lot_begins(client, demo_mill):
    page = client.get(f"{ORDER}?{ASKED}&whole=yes")
    assert "A whole layer first: the beginning strays from the blend." in words(page)
    href = re.search(r'class="strip strip-first" src="([^"]+)"', page.content.decode())[1].replace(
        "&amp;", "&"
    )
    assert client.get(href)["Content-Type"] == "image/png"
    assert "Half a layer first keeps the beginning near the blend." in words(client.get(f"{ORDER}?{ASKED}"))
