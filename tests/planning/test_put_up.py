"""Skeins: scenario 3 of the acceptance list (counts from definitions: tex = g/km; lb and yd exact)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.put_up import length_samples_m, put_up


def test_seventy_eight_skeins_and_twenty_grams_over():
    skeins = put_up(mass_g=7860, piece_mass_g=100, test_mass_g=40)
    assert skeins.n_pieces == 78
    assert skeins.over_mass_g == pytest.approx(20)


@given(st.floats(0, 1e5), st.floats(10, 500))
def test_pieces_and_rest_make_the_whole_and_the_rest_is_less_than_a_piece(mass, piece):
    pieces = put_up(mass_g=mass, piece_mass_g=piece)
    assert pieces.n_pieces * piece + pieces.over_mass_g == pytest.approx(mass, abs=1e-6)
    assert 0 <= pieces.over_mass_g < piece * (1 + 1e-6)


def test_a_test_skein_heavier_than_the_lot_is_refused():
    with pytest.raises(InputError, match="from 0 to 30 g"):
        put_up(mass_g=30, piece_mass_g=100, test_mass_g=40)


def test_metres_follow_grams_and_count():
    metres = length_samples_m(np.array([1774.0]), length_m_per_100g=200, count_noise=np.array([0.01]))
    assert metres[0] == pytest.approx(1774 * 2 * 1.01)
