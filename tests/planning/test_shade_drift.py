"""A shade that walks away from its standard step by small step is seen, and scatter is not called drift."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.colour.difference import de2000, de_cmc
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.planning.shade.drift import Standing, _f_beyond, drift_of, lightness_limits, tolerance_outline
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()
FERN = np.array([46.6, -20.9, 19.2])
USUAL = Tolerance(Formula.CMC, 1.0, 1.5)
MINE = Tolerance(Formula.DE2000, 1.2, 1.8)


def walk(step, n, start=(0.0, 0.0, 0.0)):
    return FERN + np.array(start) + np.arange(n)[:, None] * np.array(step)


def test_a_steady_walk_says_its_step_its_words_and_when_it_leaves():
    batches = walk((-0.3, 0.2, 0.0), 4)
    found = drift_of(FERN, batches, MINE, TABLES)
    assert found.standing is Standing.DRIFTING
    assert found.step_lab == pytest.approx((-0.3, 0.2, 0.0))
    assert found.step_de == pytest.approx(float(de2000(batches[0], batches[3])) / 3)
    assert found.words[0] == "darker"
    inside = float(de2000(FERN, FERN + (3 + found.leaves_in - 1) * np.array([-0.3, 0.2, 0])))
    outside = float(de2000(FERN, FERN + (3 + found.leaves_in) * np.array([-0.3, 0.2, 0])))
    assert inside <= MINE.pass_de < outside
    assert found.along_de[-1] == pytest.approx(outside)


def test_a_walk_that_has_left_is_outside_and_leaves_in_nothing():
    found = drift_of(FERN, walk((-1.0, 0.0, 0.0), 4), MINE, TABLES)
    assert (found.standing, found.leaves_in) == (Standing.OUTSIDE, 0)
    assert len(found.along_de) == 4


def test_scatter_about_the_standard_is_not_called_drift():
    batches = FERN + np.array([[0.3, -0.4, 0.4], [-0.4, 0.5, -0.4], [0.4, 0.3, 0.8], [-0.2, -0.5, -0.5]])
    found = drift_of(FERN, batches, USUAL, TABLES)
    assert found.standing is Standing.STEADY
    assert found.leaves_in is None
    assert found.p_chance > 0.2


def test_chance_is_called_drift_about_as_often_as_it_says():
    rng = np.random.default_rng(7)
    drifts = [
        drift_of(FERN, FERN + rng.normal(0, 0.3, (6, 3)), USUAL, TABLES).p_chance < 0.05 for _ in range(600)
    ]
    assert 0.03 < np.mean(drifts) < 0.08


def test_the_chance_of_a_larger_f_is_that_of_the_printed_tables():
    # upper 5 % points of F(3, 6) and F(3, 12), as printed in every table of F
    assert _f_beyond(4.757, 3, 6) == pytest.approx(0.05, abs=2e-5)
    assert _f_beyond(3.490, 3, 12) == pytest.approx(0.05, abs=2e-5)
    assert _f_beyond(0.0, 3, 6) == pytest.approx(1)


def test_a_walk_back_to_the_standard_does_not_leave():
    found = drift_of(FERN, walk((-0.1, 0.0, 0.0), 4, start=(0.6, 0.0, 0.0)), MINE, TABLES)
    assert found.leaves_in is None or found.leaves_in > 3


def test_the_tolerance_is_counted_by_its_own_formula():
    batches = walk((-0.3, 0.2, 0.0), 4)
    line = drift_of(FERN, batches, USUAL, TABLES)
    assert line.along_de[3] == pytest.approx(float(de_cmc(FERN, batches[3])))


def test_two_batches_make_no_line_and_batches_without_three_numbers_are_refused():
    assert drift_of(FERN, walk((1, 0, 0), 2), USUAL, TABLES) is None
    with pytest.raises(InputError, match="L, a and b of each"):
        drift_of(FERN, np.zeros((4, 2)), USUAL, TABLES)


@given(
    st.floats(5, 95),
    st.floats(-60, 60),
    st.floats(-60, 60),
    st.sampled_from([USUAL, MINE]),
    st.floats(0.3, 3),
)
def test_every_point_of_the_outline_lies_at_the_limit(lightness, a, b, tolerance, limit):
    standard = np.array([lightness, a, b])
    line = tolerance_outline(standard, tolerance, limit)
    formula = de_cmc if tolerance.formula is Formula.CMC else de2000
    at = np.column_stack([np.full(len(line), lightness), line])
    assert formula(np.broadcast_to(standard, at.shape), at) == pytest.approx(limit, abs=1e-5)


def test_lightness_limits_enclose_the_standard():
    low, high = lightness_limits(FERN, USUAL, 1.0)
    assert low < FERN[0] < high
    assert float(de_cmc(FERN, np.array([low, *FERN[1:]]))) == pytest.approx(1.0, abs=1e-6)


def test_a_wild_batch_is_left_out_of_the_line_and_does_not_hide_the_walk():
    walked = walk((-0.15, 0.1, 0.0), 5)
    wild = np.vstack([walked, FERN + np.array([30.0, 20.0, -5.0])])
    found = drift_of(FERN, wild, MINE, TABLES)
    assert found.left_out == (5,)
    assert found.standing is Standing.DRIFTING
    assert found.step_lab == pytest.approx((-0.15, 0.1, 0.0))
    among = np.vstack([walked[:2], FERN + np.array([30.0, 20.0, -5.0]), walked[3:]])
    found = drift_of(FERN, among, MINE, TABLES)
    assert found.left_out == (2,)
    assert found.step_lab == pytest.approx((-0.15, 0.1, 0.0))


def test_a_steady_walk_far_beyond_the_tolerance_leaves_nobody_out():
    assert drift_of(FERN, walk((-1.5, 1.0, 0.5), 6), MINE, TABLES).left_out == ()


def test_three_batches_that_have_nothing_in_common_make_no_line():
    apart = FERN + np.array([[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 40.0, 0.0]])
    assert drift_of(FERN, apart, MINE, TABLES) is None


def test_how_a_drift_is_told_is_the_mills_to_set():
    batches = walk((-0.3, 0.2, 0.0), 4)
    assert drift_of(FERN, batches, MINE, TABLES) is not None
    strict = TABLES.override([Override("constants", "shade_trend_batches", "value", "5")])
    assert drift_of(FERN, batches, MINE, strict) is None
