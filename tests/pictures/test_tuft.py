import math
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.pictures import svg, tuft


def flattened(path: str, steps: int = 12) -> list[tuple[float, float]]:
    """Points along a closed path of cubic curves."""
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", path)]
    here = (numbers[0], numbers[1])
    points = [here]
    for i in range(2, len(numbers), 6):
        a, b, c = [(numbers[k], numbers[k + 1]) for k in (i, i + 2, i + 4)]
        for step in range(1, steps + 1):
            t = step / steps
            u = 1 - t
            points.append(
                tuple(
                    u**3 * here[k] + 3 * u * u * t * a[k] + 3 * u * t * t * b[k] + t**3 * c[k] for k in (0, 1)
                )
            )
        here = c
    return points


@given(seed=st.text(max_size=12), area=st.floats(20, 20_000))
def test_a_tuft_is_as_large_as_its_area(seed, area):
    path = svg.smooth_closed(tuft.outline(seed, area))
    assert svg.polygon_area(flattened(path)) == pytest.approx(area, rel=0.02)


@given(seed=st.text(min_size=1, max_size=12))
def test_the_same_lot_always_has_the_same_shape(seed):
    assert tuft.outline(seed, 400) == tuft.outline(seed, 400)


def test_two_lots_differ():
    assert tuft.outline("L001", 400) != tuft.outline("L002", 400)


@given(seed=st.text(max_size=12))
def test_a_tuft_is_a_lump_without_spikes(seed):
    radii = [math.hypot(x, y) for x, y in tuft.outline(seed, math.pi * 100)]
    assert min(radii) > 7
    assert max(radii) < 13


def test_a_small_tuft_has_its_number_below_and_still_a_thumb_of_room():
    assert not tuft.fits_label("L014", 200)
    assert tuft.fits_label("L014", 2500)
    assert tuft.footprint("L014", 10) >= 24


def test_a_linked_tuft_says_everything_to_a_reader():
    lot = tuft.Tuft("L<1>", 2000, "#d0c0a0", href="/lots/1/?a=1&b=2")
    drawn = ET.fromstring(tuft.linked(lot, 10, 10, 900, said="L<1>, 2.00 kg"))
    link = drawn.find("a")
    assert link.get("href") == "/lots/1/?a=1&b=2"
    assert link.get("aria-label") == "L<1>, 2.00 kg"
    assert float(link.find("circle").get("r")) >= 24
    assert link.find("text").text == "L<1>"


def test_a_held_lot_is_marked_by_a_dashed_ring_and_not_by_colour_alone():
    assert "stroke-dasharray" in tuft.shape("L1", 900, "#d0c0a0", is_held=True)
    assert "stroke-dasharray" not in tuft.shape("L1", 900, "#d0c0a0")
