"""Counts: every system there and back, lengths and masses, folding."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError, NotFoundError
from doffer.fibre.count import (
    all_counts,
    count_working,
    from_tex,
    length_m,
    measured_tex,
    resultant_tex,
    strand_mass_g,
    to_tex,
    yards,
)
from doffer.tables.loader import load_tables

TABLES = load_tables()
systems = st.sampled_from(sorted(TABLES.counts))
numbers = st.floats(1e-3, 1e5)


@given(systems, numbers)
def test_every_system_leads_there_and_back(system, number):
    tex = to_tex(TABLES, system=system, count=number)
    assert from_tex(TABLES, system=system, count_tex=tex) == pytest.approx(number)


@pytest.mark.parametrize("first", sorted(TABLES.counts))
@pytest.mark.parametrize("second", sorted(TABLES.counts))
def test_every_pair_of_systems_leads_there_and_back(first, second):
    for number in (0.013, 1.0, 7.25, 1240.0, 98765.4):
        tex = to_tex(TABLES, system=first, count=number)
        other = from_tex(TABLES, system=second, count_tex=tex)
        back = from_tex(TABLES, system=first, count_tex=to_tex(TABLES, system=second, count=other))
        assert back == pytest.approx(number, rel=1e-12)


def test_the_factors_follow_from_the_exact_pound_and_yard():
    yards_in_a_pound = {"ne_cotton": 840, "new_worsted": 560, "woollen_run": 1600, "woollen_cut": 300}
    yards_in_a_pound |= {"yorkshire_skein": 256, "yd_per_lb": 1, "yd_per_oz": 16, "yd_per_4oz": 4}
    for system, yards_of_one in yards_in_a_pound.items():
        exact = 1000 * 453.59237 / (yards_of_one * 0.9144)
        assert TABLES.counts[system].factor == pytest.approx(exact, rel=1e-12), system
    assert TABLES.counts["grains_per_yd"].factor == pytest.approx(453592.37 / 7000 / 0.9144, rel=1e-12)


@given(st.floats(1, 5000))
def test_one_strand_is_said_in_all_systems_at_once(tex):
    said = all_counts(TABLES, count_tex=tex)
    assert list(said) == list(TABLES.counts)
    assert all(to_tex(TABLES, system=s, count=n) == pytest.approx(tex, rel=1e-12) for s, n in said.items())


@given(systems, st.floats(1, 1000))
def test_direct_numbers_rise_and_indirect_ones_fall_with_thickness(system, tex):
    thin, thick = (from_tex(TABLES, system=system, count_tex=t) for t in (tex, 2 * tex))
    ratio = 2 if TABLES.counts[system].kind == "direct" else 0.5
    assert thick / thin == pytest.approx(ratio)


def test_arrays_are_converted_at_once():
    found = to_tex(TABLES, system="nm", count=np.array([1.0, 2.0, 8.0]))
    assert found.tolist() == [1000, 500, 125]


@given(st.floats(0.1, 1e6), st.floats(1, 5000))
def test_length_and_mass_undo_each_other_and_finer_yarn_is_longer(mass, tex):
    metres = length_m(mass_g=mass, count_tex=tex)
    assert strand_mass_g(length_m=metres, count_tex=tex) == pytest.approx(mass)
    assert measured_tex(mass_g=mass, length_m=metres) == pytest.approx(tex)
    assert length_m(mass_g=mass, count_tex=tex / 2) == pytest.approx(2 * metres)


@given(st.lists(st.floats(1, 500), min_size=1, max_size=6))
def test_folded_strands_add_in_tex_and_harmonically_in_metric_count(strands):
    folded = resultant_tex(strands)
    metric = from_tex(TABLES, system="nm", count_tex=folded)
    assert 1 / metric == pytest.approx(sum(1 / from_tex(TABLES, system="nm", count_tex=t) for t in strands))


def test_a_sock_yarn_says_the_same_in_every_system():
    tex = to_tex(TABLES, system="m_per_100g", count=425.0)
    assert tex == pytest.approx(235.3, abs=0.05)
    said = {
        s: from_tex(TABLES, system=s, count_tex=tex) for s in ("nm", "yd_per_lb", "yd_per_100g", "yd_per_4oz")
    }
    assert said["nm"] == pytest.approx(4.25)
    assert said["yd_per_lb"] == pytest.approx(2108, abs=0.5)
    assert said["yd_per_100g"] == pytest.approx(464.8, abs=0.05)
    assert said["yd_per_4oz"] == pytest.approx(527, abs=0.5)
    assert yards(425.0) == pytest.approx(464.8, abs=0.05)


def test_a_count_opens_its_working():
    working = count_working(TABLES, system="new_worsted", count=12.0)
    assert working.result.value == pytest.approx(73.82, abs=0.005)
    assert "÷" in working.formula
    assert "560 yd per lb" in working.inputs[0].note


def test_what_is_no_count_is_refused():
    with pytest.raises(NotFoundError, match="woollen_run"):
        to_tex(TABLES, system="wpi", count=10.0)
    for bad in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="above zero"):
            to_tex(TABLES, system="nm", count=bad)
    with pytest.raises(InputError):
        resultant_tex([])
    with pytest.raises(InputError):
        length_m(mass_g=1.0, count_tex=0.0)
