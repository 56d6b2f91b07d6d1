"""Colour differences against published pairs and an independent library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.fibre.colour_oracle import delta_e

from doffer.fibre.colour.difference import de2000, de_ab, de_cmc, grey_scale
from doffer.tables.loader import load_tables

TABLES = load_tables()
PAIRS = tuple(TABLES.ciede2000.values())
HALF_DIGIT = 1e-4  # the pairs are printed to four decimals
ON_THE_EDGE = {14: 4.7461}  # mean hue exactly at the discontinuity: the last bit of atan2 decides
LIGHTER = np.array([1.0, 0, 0])
STEP = np.array([1.5, 1, -1])
LAB = st.tuples(st.floats(1, 99), st.floats(-60, 60), st.floats(-60, 60)).map(np.array)


def random_pairs(n_pairs: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    standard = np.column_stack([rng.uniform(5, 95, n_pairs), rng.normal(0, 30, (n_pairs, 2))])
    return standard, standard + rng.normal(0, 3, (n_pairs, 3))


@pytest.mark.published
@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair {row.pair:g}")
def test_the_published_pairs_of_ciede2000_are_reproduced_both_ways(row):
    one = np.array([row.lab_l_1, row.lab_a_1, row.lab_b_1])
    other = np.array([row.lab_l_2, row.lab_a_2, row.lab_b_2])
    allowed = [row.de2000, ON_THE_EDGE.get(int(row.pair), row.de2000)]
    for found in (float(de2000(one, other)), float(de2000(other, one))):
        assert min(abs(found - value) for value in allowed) < HALF_DIGIT


def test_all_thirty_four_pairs_are_there():
    assert sorted(row.pair for row in PAIRS) == list(range(1, 35))


def test_ciede2000_equals_the_independent_library():
    standard, sample = random_pairs(5000)
    assert np.allclose(de2000(standard, sample), delta_e(standard, sample, "CIE 2000"), atol=1e-9)


@pytest.mark.parametrize(("lightness", "chroma"), [(2, 1), (1, 1)])
def test_cmc_equals_the_independent_library(lightness, chroma):
    standard, sample = random_pairs(5000)
    found = de_cmc(standard, sample, lightness_factor=lightness, chroma_factor=chroma)
    assert np.allclose(found, delta_e(standard, sample, "CMC", l=lightness, c=chroma), atol=1e-9)


def test_cmc_counts_from_the_standard_and_is_not_symmetric():
    pale, strong = np.array([60.0, 5, 5]), np.array([60.0, 40, 40])
    assert de_cmc(pale, strong) > 2 * de_cmc(strong, pale)


def test_a_looser_lightness_makes_textile_differences_smaller():
    one, other = np.array([50.0, 10, 10]), np.array([53.0, 10, 10])
    assert float(de2000(one, other, k_l=2)) == pytest.approx(float(de2000(one, other)) / 2)


def test_the_plain_distance_is_pythagoras():
    assert float(de_ab(np.array([50.0, 0, 0]), np.array([53.0, 4, 12]))) == pytest.approx(13)


@given(LAB, LAB)
def test_ciede2000_is_symmetric_and_zero_on_itself(one, other):
    hues_deg = [np.degrees(np.arctan2(lab[2], lab[1])) % 360 for lab in (one, other)]
    assume(abs(abs(hues_deg[0] - hues_deg[1]) - 180) > 1e-3)  # opposite hues have no mean
    assert float(de2000(one, other)) == pytest.approx(float(de2000(other, one)), abs=1e-6)
    assert float(de2000(one, one)) == 0


STEPS = [row for row in TABLES.grey_scale.values() if row.kind == "step"]


@pytest.mark.published
@pytest.mark.parametrize("row", STEPS, ids=lambda row: row.grade)
def test_the_steps_of_the_physical_grey_scale_get_their_own_grade(row):
    # EN 20105-A02 gives each step's difference; along grey it is lightness alone
    standard = np.array([45.0, 0, 0])
    found = grey_scale(standard, standard + row.de * LIGHTER, TABLES)
    middle = np.mean([float(part) for part in row.grade.split("-")])
    assert found.grade == row.grade
    assert found.rating == pytest.approx(middle, abs=0.04)  # the scale's steps are printed to 0.1


@pytest.mark.parametrize(
    ("standard", "de_f", "rating"),
    [((50, 0, 0), 2.0612, 3.788), ((50, 30, 20), 1.9444, 3.856), ((40, 5, -30), 1.6587, 4.024)],
)
def test_the_grey_scale_formula_keeps_its_values(standard, de_f, rating):
    # not from a publication: worked out by a separate program from the same formula
    one = np.array(standard, dtype=float)
    found = grey_scale(one, one + STEP, TABLES)
    assert (found.de_f, found.rating) == (pytest.approx(de_f, abs=5e-5), pytest.approx(rating, abs=5e-4))


@given(LAB, st.floats(0, 20), st.floats(0, 20))
def test_a_larger_change_never_gets_a_better_grade(lab, small, large):
    low, high = sorted((small, large))
    better = grey_scale(lab, lab + low * LIGHTER, TABLES)
    worse = grey_scale(lab, lab + high * LIGHTER, TABLES)
    assert better.rating >= worse.rating - 1e-9
    assert better.grade >= worse.grade
    assert 1 <= worse.rating <= 5
