"""Whole grams that sum exactly."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.portions import apportion, whole_portions


@given(st.integers(0, 10**6), st.integers(1, 40))
def test_portions_sum_to_the_whole_and_differ_by_a_gram_at_most(total, n):
    portions = whole_portions(total, n_portions=n)
    assert sum(portions) == total
    assert len(portions) == n
    assert max(portions) - min(portions) <= 1


@given(st.integers(0, 10**6), st.lists(st.floats(0.01, 100), min_size=1, max_size=12))
def test_apportioned_grams_sum_exactly_and_stay_within_one_of_their_share(total, weights):
    whole = apportion(total, weights)
    assert sum(whole) == total
    for mass, weight in zip(whole, weights, strict=True):
        assert abs(mass - total * weight / sum(weights)) < 1 + 1e-6


def test_thirds_of_a_hundred():
    assert apportion(100, [1, 1, 1]) == (34, 33, 33)


def test_no_layers_is_no_answer():
    with pytest.raises(InputError, match="1 or more"):
        whole_portions(100, n_portions=0)
    with pytest.raises(InputError, match="something above zero"):
        apportion(100, [0, 0])
