"""Strands of single fibres against the limits of counting."""

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.process.evenness.fibre_strand import strand
from doffer.process.evenness.fibres import blend_limit_cv_frac, length_factor, share_sampling_variance
from doffer.process.evenness.passage import Part

FINE = Part("fine", 0.3, 22.0, 0.0, 70.0, 0.0, 1.31)
COARSE = Part("coarse", 0.7, 27.0, 0.0, 70.0, 0.0, 1.31)
LENGTH_MM = 600_000.0


def of(*parts, seed=1, step_mm=10.0, length_mm=LENGTH_MM):
    rng = np.random.Generator(np.random.PCG64(seed))
    return strand(parts, strand_tex=100.0, length_mm=length_mm, step_mm=step_mm, rng=rng)


def sd_of_sd(cuts, step_mm, staple_mm):
    """Relative error of a standard deviation when cuts within a fibre's length are alike."""
    return np.sqrt(0.5 / (cuts * step_mm / (staple_mm * 2 / 3)))


def test_mass_and_share_of_even_fibres_vary_as_counting_says():
    """Computed: Poisson counts of 153.6 fibres give 8.21 % of mass and 3.47 points of share."""
    cut = of(FINE, COARSE)
    total = cut.count_tex.sum(axis=1)
    error = 3 * sd_of_sd(len(total), 10.0, 70.0)
    assert cut.fibres.sum(axis=1).mean() == pytest.approx(153.57, rel=0.005)
    assert total.mean() == pytest.approx(100.0, rel=0.005)
    assert total.std() / total.mean() == pytest.approx(0.0821, rel=error)
    assert cut.shares[:, 0].std() == pytest.approx(0.0347, rel=error)


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_uneven_fibres_vary_as_the_closed_limits_say(seed):
    parts = tuple(dataclasses.replace(p, diameter_cv_frac=0.262) for p in (FINE, COARSE))
    cut = of(*parts, seed=seed)
    total = cut.count_tex.sum(axis=1)
    error = 3 * sd_of_sd(len(total), 10.0, 70.0)
    limit = blend_limit_cv_frac(parts, strand_tex=100.0)
    sampling = share_sampling_variance(parts, strand_tex=100.0)
    assert limit == pytest.approx(0.0949, abs=5e-4)
    assert total.std() / total.mean() == pytest.approx(limit, rel=error)
    assert cut.shares[:, 0].std() == pytest.approx(np.sqrt(sampling[0]), rel=error)


@pytest.mark.parametrize(("piece_mm", "left"), [(10, 0.952), (70, 0.667), (140, 0.417), (700, 0.097)])
def test_longer_pieces_vary_less(piece_mm, left):
    """Of the variance of a cut: ``1 - L/3l`` up to the fibre's length, ``l/L (1 - l/3L)`` above."""
    total = of(FINE, COARSE, step_mm=1.0, seed=2).count_tex[:, 0]
    pieces = total[: len(total) // piece_mm * piece_mm].reshape(-1, piece_mm).mean(axis=1)
    tolerance = 3 * np.sqrt(2 / (LENGTH_MM / max(piece_mm, 47)))
    assert length_factor(piece_mm, fibre_mm=70.0) == pytest.approx(left, abs=6e-4)
    assert pieces.var() / total.var() == pytest.approx(left, rel=tolerance)


def test_fibres_of_many_lengths_keep_mean_and_variance_of_a_cut():
    cut = of(dataclasses.replace(COARSE, share_frac=1.0, staple_cv_frac=0.4), seed=3)
    assert cut.fibres.mean() == pytest.approx(133.3, rel=0.01)
    assert cut.fibres.var() / cut.fibres.mean() == pytest.approx(1.0, rel=0.06)


def test_the_same_seed_gives_the_same_strand():
    assert np.array_equal(of(FINE, length_mm=5000).count_tex, of(FINE, length_mm=5000).count_tex)
    assert not np.array_equal(of(FINE, length_mm=5000).count_tex, of(FINE, length_mm=5000, seed=2).count_tex)


def test_a_strand_without_length_is_refused():
    with pytest.raises(InputError, match="above zero tex"):
        of(FINE, length_mm=0.0)
