"""The chance of missing a label: normal tails, the floor of fibre counts, specimens of one skein."""

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.planning.evenness.label_risk import (
    label_risks,
    label_signals,
    miss_chance,
    signals_sampling_variance,
    specimen_sampling_variance,
    specimens_variance,
)
from doffer.process.evenness.passage import Part
from doffer.tables.loader import load_tables


def parts(*shares, **changes):
    usual = {
        "diameter_um": 25,
        "diameter_cv_frac": 0.25,
        "staple_mm": 70,
        "staple_cv_frac": 0.0,
        "density_g_cm3": 1.31,
    }
    return tuple(Part(f"lot {n}", share, **(usual | changes)) for n, share in enumerate(shares))


@pytest.mark.parametrize(
    ("sd_pct", "one", "two"),
    [(0.5, 1e-8, 0), (1, 0.003, 0), (1.5, 0.046, 0.005), (2, 0.134, 0.034), (3, 0.317, 0.157)],
)
def test_the_chance_of_three_points_is_that_of_the_normal(sd_pct, one, two):
    assert miss_chance(sd_frac=sd_pct / 100, tolerance_frac=0.03) == pytest.approx(one, abs=5e-4)
    assert miss_chance(sd_frac=sd_pct / 100 / 2**0.5, tolerance_frac=0.03) == pytest.approx(two, abs=5e-4)


def test_a_wrong_weighing_raises_the_chance():
    assert miss_chance(sd_frac=0.01, bias_frac=0.01, tolerance_frac=0.03) == pytest.approx(0.0228, abs=1e-4)
    assert miss_chance(sd_frac=0.0, bias_frac=0.031, tolerance_frac=0.03) == 1.0
    assert miss_chance(sd_frac=0.0, bias_frac=0.029, tolerance_frac=0.03) == 0.0


def test_the_floor_of_a_gram_is_three_tenths_of_a_point():
    floor = np.sqrt(specimen_sampling_variance(parts(0.2, 0.8), specimen_g=1.0))
    assert 100 * floor == pytest.approx([0.30, 0.30], abs=0.01)
    half = np.sqrt(specimen_sampling_variance(parts(0.2, 0.8), specimen_g=0.5))
    assert 100 * half == pytest.approx([0.43, 0.43], abs=0.01)


def test_equal_fibres_scatter_as_a_binomial():
    lots = parts(0.2, 0.3, 0.5, diameter_cv_frac=0.0)
    mass_g = np.pi / 4 * 25**2 * 1.31e-3 * 70 * 1e-6
    share = np.array([0.2, 0.3, 0.5])
    assert specimen_sampling_variance(lots, specimen_g=1.0) == pytest.approx(share * (1 - share) * mass_g)


def test_specimens_of_one_skein_share_what_differs_between_skeins():
    apart = specimens_variance(np.array([4e-4]), np.array([0.0]), np.array([1e-5]), specimens=2)
    alike = specimens_variance(np.array([4e-4]), np.array([4e-4]), np.array([1e-5]), specimens=2)
    assert apart == pytest.approx([2.05e-4])
    assert alike == pytest.approx([4.05e-4])


def test_every_name_gets_its_risk_and_its_floor():
    risks = label_risks(
        ("wool", "alpaca"),
        np.array([1e-4, 2.25e-4]),
        np.array([9e-6, 9e-6]),
        specimens=1,
        tolerance_frac=0.03,
    )
    assert [risk.name for risk in risks] == ["wool", "alpaca"]
    assert [risk.chance for risk in risks] == pytest.approx([0.0027, 0.0455], abs=1e-4)
    assert risks[0].floor_frac == pytest.approx(0.003)


def of_fibres(*fibres):
    shares = parts(*[1 / len(fibres)] * len(fibres))
    return tuple(dataclasses.replace(one, fibre=fibre) for one, fibre in zip(shares, fibres, strict=True))


def test_lots_of_one_fibre_count_as_one_on_the_label():
    signals = label_signals(of_fibres("wool", "alpaca", "wool", "suri", ""), load_tables())
    assert signals.names == ("wool", "alpaca", "lot 4")
    assert signals.weights.tolist() == [[1, 0, 1, 0, 0], [0, 1, 0, 1, 0], [0, 0, 0, 0, 1]]


def test_one_fibre_alone_never_strays_and_each_by_itself_strays_as_before():
    lots = of_fibres("wool", "wool")
    assert signals_sampling_variance(lots, label_signals(lots, load_tables()), specimen_g=1.0) == [0.0]
    alone = of_fibres("wool", "alpaca")
    found = signals_sampling_variance(alone, label_signals(alone, load_tables()), specimen_g=1.0)
    assert found == pytest.approx(specimen_sampling_variance(alone, specimen_g=1.0))


def test_a_specimen_without_mass_is_refused():
    with pytest.raises(InputError, match="specimen is “0”"):
        specimen_sampling_variance(parts(0.5, 0.5), specimen_g=0)
