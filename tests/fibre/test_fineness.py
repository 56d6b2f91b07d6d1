"""Fineness of mixtures: laws, extremes, and a count of simulated fibres as judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.distribution import lognormal_cdf, normal_cdf
from doffer.fibre.fineness import (
    Curve,
    blend_coarse_frac,
    coarse_frac,
    fibres_across,
    histogram,
    length_shares,
    material_fineness,
    mixture,
    number_shares,
    spinning_fineness_um,
)
from doffer.fibre.material import join
from doffer.fibre.weighing import clean_material, constituent
from doffer.tables.loader import load_tables

TABLES = load_tables()
lots = st.lists(st.tuples(st.floats(0.01, 1), st.floats(10, 40), st.floats(0.1, 10)), min_size=1, max_size=6)
MASS = np.array([0.7, 0.3])
MEAN, SD, RHO = np.array([28.0, 13.0]), np.array([6.5, 2.5]), np.array([1.31, 1.31])


def _columns(found):
    w, mean, sd = (np.array(column) for column in zip(*found, strict=True))
    return w / w.sum(), mean, sd


@given(lots)
def test_a_mixture_lies_between_its_lots_and_is_at_least_as_wide_as_their_average(found):
    w, mean, sd = _columns(found)
    mixed = mixture(shares=w, diameter_um=mean, diameter_sd_um=sd)
    assert mean.min() - 1e-9 <= mixed.diameter_um <= mean.max() + 1e-9
    assert mixed.diameter_sd_um**2 >= float(w @ sd**2) - 1e-9


@given(lots)
def test_a_lot_without_mass_changes_nothing(found):
    w, mean, sd = _columns(found)
    more = mixture(
        shares=np.append(w, 0.0), diameter_um=np.append(mean, 90.0), diameter_sd_um=np.append(sd, 9.0)
    )
    once = mixture(shares=w, diameter_um=mean, diameter_sd_um=sd)
    assert more.diameter_um == pytest.approx(once.diameter_um)
    assert more.diameter_sd_um == pytest.approx(once.diameter_sd_um)


@given(lots)
def test_by_length_the_finest_lot_counts_for_more_than_by_mass(found):
    w, mean, _ = _columns(found)
    sd = 0.2 * mean
    by_length = length_shares(
        mass_shares=w, diameter_um=mean, diameter_sd_um=sd, density_g_cm3=np.full_like(mean, 1.31)
    )
    assert by_length.sum() == pytest.approx(1)
    finest = int(mean.argmin())
    assert by_length[finest] >= w[finest] - 1e-12


def test_a_simulated_blend_measured_fibre_by_fibre_agrees():
    rng = np.random.default_rng(7)
    shares = length_shares(mass_shares=MASS, diameter_um=MEAN, diameter_sd_um=SD, density_g_cm3=RHO)
    n = 400_000
    which = rng.choice(2, size=n, p=shares)
    s2 = np.log1p((SD / MEAN) ** 2)
    fibres = rng.lognormal((np.log(MEAN) - s2 / 2)[which], np.sqrt(s2)[which])
    mixed = mixture(shares=shares, diameter_um=MEAN, diameter_sd_um=SD)
    assert mixed.diameter_um == pytest.approx(fibres.mean(), abs=0.05)
    assert mixed.diameter_sd_um == pytest.approx(fibres.std(), abs=0.05)
    tail = blend_coarse_frac(length_shares=shares, diameter_um=MEAN, diameter_sd_um=SD, limit_um=30)
    assert tail == pytest.approx(float((fibres > 30).mean()), abs=0.002)
    weights = RHO[which] * fibres**2
    assert weights[which == 0].sum() / weights.sum() == pytest.approx(0.7, abs=0.005)


def test_number_shares_count_short_fibres_more_often():
    found = number_shares(length_shares=np.array([0.5, 0.5]), fibre_length_mm=np.array([90.0, 30.0]))
    assert found == pytest.approx([0.25, 0.75])


@pytest.mark.parametrize("curve", Curve)
def test_a_coarser_lot_has_more_coarse_ends(curve):
    mean = np.linspace(15, 40, 30)
    tails = coarse_frac(diameter_um=mean, diameter_sd_um=0.22 * mean, limit_um=30, curve=curve)
    assert np.all(np.diff(tails) > 0)


@pytest.mark.parametrize("curve", Curve)
def test_a_lot_without_spread_is_all_fine_or_all_coarse(curve):
    mean, none = np.array([20.0, 35.0]), np.zeros(2)
    assert coarse_frac(diameter_um=mean, diameter_sd_um=none, limit_um=30, curve=curve).tolist() == [0, 1]


@given(lots, st.sampled_from(list(Curve)))
def test_a_histogram_with_wide_edges_holds_every_fibre(found, curve):
    w, mean, sd = _columns(found)
    edges = np.linspace(-100, 400, 300) if curve is Curve.NORMAL else np.linspace(0, 600, 300)
    bars = histogram(length_shares=w, diameter_um=mean, diameter_sd_um=sd, edges_um=edges, curve=curve)
    assert bars.part_fracs.sum(axis=1) == pytest.approx(w, abs=1e-4)
    assert bars.total_fracs.sum() == pytest.approx(1, abs=1e-4)
    assert bars.part_fracs.min() >= 0


def test_spinning_fineness_equals_the_mean_at_the_usual_spread():
    assert spinning_fineness_um(TABLES, diameter_um=22.0, diameter_cv_frac=0.24) == pytest.approx(22)
    assert spinning_fineness_um(TABLES, diameter_um=22.0, diameter_cv_frac=0.30) > 22


def test_a_blend_of_unlike_lots_reads_finer_in_the_laboratory_than_in_the_trade():
    wool = constituent(TABLES, lot="W", fibre="wool", diameter_um=28.0, diameter_sd_um=6.5)
    hare = constituent(TABLES, lot="A", fibre="angora_rabbit", diameter_um=13.0, diameter_sd_um=2.5)
    blend = join(
        [
            clean_material(wool, weighed_mass_g=700.0, actual_regain_frac=0.0),
            clean_material(hare, weighed_mass_g=300.0, actual_regain_frac=0.0),
        ]
    )
    found = material_fineness(blend, TABLES)
    assert found.by_mass.diameter_um == pytest.approx(23.50, abs=0.005)
    assert found.by_length.diameter_um == pytest.approx(17.54, abs=0.005)
    assert found.working.result.value == found.by_length.diameter_um
    assert 0.09 < found.coarse_frac < 0.12


def test_lots_that_cannot_be_are_refused():
    one = np.array([1.0])
    with pytest.raises(InputError, match="shares"):
        mixture(shares=-one, diameter_um=one, diameter_sd_um=one)
    with pytest.raises(InputError, match="diameter"):
        mixture(shares=one, diameter_um=0 * one, diameter_sd_um=one)
    with pytest.raises(InputError, match="density"):
        length_shares(mass_shares=one, diameter_um=one, diameter_sd_um=one, density_g_cm3=0 * one)
    with pytest.raises(InputError, match="limit"):
        coarse_frac(diameter_um=one, diameter_sd_um=one, limit_um=0)
    with pytest.raises(InputError, match="edges"):
        histogram(length_shares=one, diameter_um=one, diameter_sd_um=one, edges_um=np.array([5.0, 4.0]))
    with pytest.raises(InputError, match="length"):
        number_shares(length_shares=one, fibre_length_mm=0 * one)
    with pytest.raises(InputError, match="CV"):
        spinning_fineness_um(TABLES, diameter_um=20.0, diameter_cv_frac=24)


@given(st.floats(-8, 8))
def test_the_normal_curve_is_symmetric_and_matches_its_integral(z):
    assert float(normal_cdf(z)) + float(normal_cdf(-z)) == pytest.approx(1, abs=1e-15)
    steps = np.linspace(-12, z, 20_001)
    density = np.exp(-(steps**2) / 2) / math.sqrt(2 * math.pi)
    assert float(normal_cdf(z)) == pytest.approx(float(np.trapezoid(density, steps)), abs=1e-8)


def test_the_lognormal_curve_has_its_median_below_its_mean():
    median = 20 / math.sqrt(1 + 0.25**2)
    assert float(lognormal_cdf(median, mean_um=20.0, sd_um=5.0)) == pytest.approx(0.5)
    assert float(lognormal_cdf(0.0, mean_um=20.0, sd_um=5.0)) == 0


YARNS = [case for case in TABLES.cross_section.values() if case.yarn_count_tex is not None]


@pytest.mark.parametrize("case", YARNS, ids=lambda case: case.case)
def test_fibres_across_a_strand_agree_with_the_worked_cases(case):
    across = fibres_across(
        count_tex=case.yarn_count_tex,
        mass_shares=np.array([1.0]),
        diameter_um=np.array([case.diameter_um]),
        diameter_sd_um=np.array([case.diameter_um * case.diameter_cv_pct / 100]),
        density_g_cm3=np.array([case.density_g_cm3]),
    )
    assert across == pytest.approx(case.n_fibres, abs=0.01)


def test_half_of_each_of_two_fibres_has_the_mean_of_their_numbers():
    def across(shares):
        return fibres_across(
            count_tex=50.0,
            mass_shares=np.array(shares),
            diameter_um=np.array([20.0, 30.0]),
            diameter_sd_um=np.array([4.0, 7.0]),
            density_g_cm3=np.array([1.31, 1.14]),
        )

    assert across([1, 1]) == pytest.approx((across([1, 0]) + across([0, 1])) / 2)
