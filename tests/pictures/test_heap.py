import math

from hypothesis import given
from hypothesis import strategies as st

from doffer.pictures.heap import heap, height_of

RADII = st.lists(st.floats(5, 40), max_size=18)


@given(radii=RADII, width=st.floats(80, 300))
def test_no_two_bags_lie_in_each_other(radii, width):
    placed = heap(radii, width)
    for i, (x, y, r) in enumerate(placed):
        assert all(math.hypot(x - a, y - b) >= r + c - 0.01 for a, b, c in placed[i + 1 :])


@given(radii=RADII, width=st.floats(80, 300))
def test_every_bag_lies_within_the_column_and_above_the_floor(radii, width):
    placed = heap(radii, width)
    assert [r for _, _, r in placed] == radii
    assert all(r - 0.01 <= x <= width - r + 0.01 and y >= r - 0.01 for x, y, r in placed)


@given(radii=st.lists(st.floats(5, 40), min_size=1, max_size=18))
def test_every_bag_rests_on_the_floor_or_on_another(radii):
    placed = heap(radii, 120)
    for i, (x, y, r) in enumerate(placed):
        touches = [math.hypot(x - a, y - b) <= r + c + 0.01 for k, (a, b, c) in enumerate(placed) if k != i]
        assert abs(y - r) < 0.01 or any(touches)


def test_one_bag_lies_in_the_middle():
    assert heap([20], 100) == [(50, 20, 20)]


def test_a_bag_wider_than_the_column_stands_in_its_middle_on_top():
    placed = heap([20, 80], 100)
    assert placed[1] == (50, 120, 80)


def test_an_empty_place_has_no_height():
    assert height_of([]) == 0


@given(radii=RADII, most=st.floats(60, 200))
def test_a_heap_ends_before_it_grows_too_high(radii, most):
    placed = heap(radii, 120, most_height=most)
    assert height_of(placed) <= most
    assert placed == heap(radii, 120)[: len(placed)]
