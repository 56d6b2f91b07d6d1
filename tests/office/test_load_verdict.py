"""A load is on shade once five tufts of it, dry and alike, say so, and not while it is in the bath."""

from datetime import timedelta

import pytest
from tests.mill import conftest as dyed
from tests.office import test_kitchen as kitchens
from tests.office.page_words import words

from doffer.mill import clock
from doffer.mill.commands.kitchen import begin_dyeing

pytestmark = pytest.mark.django_db
dye_house, kitchen, desk = dyed.dye_house, kitchens.kitchen, kitchens.desk
TWO = "46.8 -20.6 19.0\n46.5 -20.9 19.3"
UNEVEN = "46.6 -20.9 19.2\n50.6 -20.9 19.2\n42.6 -20.9 19.2\n46.6 -20.9 19.2\n46.6 -20.9 19.2"


def read(desk, house, tufts, *, minutes):
    """The page of a dyeing in one load, read so many minutes after it was begun."""
    with clock.frozen(clock.now() - timedelta(minutes=minutes)):
        done = begin_dyeing(house.floor, lot="L005", shade=house.shade, fibre_g=1000)
    page, load = f"/kitchen/dyeings/{done.id}/", done.loads[0][0]
    assert kitchens.send(desk, f"{page}loads/{load}/", **{f"tufts_{load}": tufts}).status_code == 302
    return desk.get(page)


@pytest.mark.parametrize(
    ("tufts", "minutes", "still_to_do"),
    [
        (TWO, 300, "but by 2 of the 5 tufts asked: read the others, from other places"),
        (UNEVEN, 300, "but its tufts lie up to"),
        (kitchens.NEAR, 1, "but it is in the bath yet: read it again when it is rinsed and dry"),
    ],
)
def test_a_load_is_not_called_on_shade_before_it_was_read_well(desk, kitchen, tufts, minutes, still_to_do):
    page = read(desk, kitchen, tufts, minutes=minutes)
    text = words(page)
    assert f"So far it lies within the 1.2 allowed of Fern, {still_to_do}" in text
    assert "It lies within" not in text
    assert 'href="#load-1"' in page.content.decode()


def test_five_tufts_that_are_alike_say_that_it_is_on_shade(desk, kitchen):
    page = read(desk, kitchen, kitchens.NEAR, minutes=300)
    assert "It lies within the 1.2 allowed of Fern." in words(page)
    assert "So far" not in words(page)
    assert "Read more tufts" not in words(page)
