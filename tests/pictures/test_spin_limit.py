"""The limit of spinning as a bar, and in words."""

from xml.etree import ElementTree as ET

import pytest

from doffer.errors import InputError
from doffer.pictures.spin_limit import WIDTH_PX, spin_limit, verdict_words

NS = "{http://www.w3.org/2000/svg}"


def post_x(drawn):
    """Where the post of this yarn stands."""
    post = next(p for p in ET.fromstring(drawn).iter(f"{NS}path") if p.get("stroke-width") == "4")
    return float(post.get("d")[1:].split(" ")[0])


def zone(drawn, css):
    field = next(r for r in ET.fromstring(drawn).iter(f"{NS}rect") if r.get("class") == css)
    x, width = float(field.get("x")), float(field.get("width"))
    return x, x + width


@pytest.mark.parametrize(("fibres", "css"), [(66, "p-caution-wash"), (139, "p-range")])
def test_the_post_stands_in_its_zone(fibres, css):
    drawn = spin_limit(fibres=fibres, fewest=60, comfortable=80)
    low, high = zone(drawn, css)
    assert low < post_x(drawn) < high


def test_too_few_stand_left_of_the_fewest():
    drawn = spin_limit(fibres=40, fewest=60, comfortable=80)
    assert post_x(drawn) < zone(drawn, "p-caution-wash")[0]


def test_more_fibres_stand_farther_right_and_never_outside():
    places = [post_x(spin_limit(fibres=n, fewest=60, comfortable=80)) for n in (5, 40, 70, 200, 5000)]
    assert places == sorted(places)
    assert places[0] == 4
    assert places[-1] == WIDTH_PX - 4


def test_it_is_said_in_words():
    said = [verdict_words(fibres=n, fewest=60, comfortable=80) for n in (40, 66, 139)]
    assert said[0] == "40 fibres across are too few: below 60 a frame does not hold them together"
    assert said[1] == "66 fibres across hold with care: the fewest is 60, from 80 on it runs well"
    assert said[2] == "139 fibres across run well: from 80 on, and the fewest is 60"
    assert said[1] in ET.fromstring(spin_limit(fibres=66, fewest=60, comfortable=80)).get("aria-label")


def test_limits_in_the_wrong_order_are_refused():
    with pytest.raises(InputError, match="fewest below comfortable"):
        spin_limit(fibres=66, fewest=80, comfortable=60)
    with pytest.raises(InputError, match="above zero"):
        spin_limit(fibres=0, fewest=60, comfortable=80)
