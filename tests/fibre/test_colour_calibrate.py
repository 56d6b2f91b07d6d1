"""The fitted constant: is it found, does its interval cover the truth, what if the truth is another model.

Blends here are synthetic: smooth spectra mixed by a known model, read with noise. The tests can fail: the
intervals are counted, and a fit of the wrong model is shown to be wrong by what it says.
"""

from __future__ import annotations

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import BlendModel, Mixing, blend, stearns_noechel
from doffer.fibre.colour.calibrate import Observation, estimate_shares, fit_m
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.tables.loader import load_tables

D65 = light(load_tables())
GAIN_SD = 0.005  # of a reading: about 0.25 CIEDE2000
SHARE_SD = 0.01  # weighing, in shares


def smooth_spectra(rng: np.random.Generator, n_lots: int, lightness: float) -> np.ndarray:
    """Made-up dyed lots: smooth curves about a lightness (a logit), all possible."""
    walk = np.cumsum(rng.normal(0, 0.15, (n_lots, 31)), axis=1)
    return 0.01 + 0.9 / (1 + np.exp(-(lightness + walk - walk.mean(axis=1, keepdims=True))))


def samples(
    rng: np.random.Generator, truth: Mixing, n_blends: int, *, noise: float = 1.0
) -> list[Observation]:
    """Sample blends of darkest with lightest, half and half, as a mill would make and read them."""
    made = []
    for _ in range(n_blends):
        lots = np.concatenate([smooth_spectra(rng, 1, -2.8), smooth_spectra(rng, 1, 0.8)])
        share = 0.5 + noise * rng.normal(0, SHARE_SD)
        out = blend(lots, np.array([share, 1 - share]), truth)
        read = out * (1 + noise * rng.normal(0, GAIN_SD))
        lots_read = lots * (1 + noise * rng.normal(0, GAIN_SD, (2, 1)))
        made.append(Observation(np.array([0.5, 0.5]), lots_read, read))
    return made


@pytest.mark.parametrize("m", [0.06, 0.15, 0.35])
def test_without_noise_the_constant_comes_back(m):
    fit = fit_m(samples(np.random.default_rng(2), stearns_noechel(m), 4, noise=0), D65)
    assert fit.m == pytest.approx(m, rel=2e-3)  # a grid of 160 points and a parabola
    assert fit.residual_de.max() < 0.02
    assert fit.ln_m_se < 0.01


def test_intervals_cover_the_truth_about_as_often_as_they_say():
    rng = np.random.default_rng(20)
    inside, n_mills = 0, 100
    for _ in range(n_mills):
        fit = fit_m(samples(rng, stearns_noechel(0.15), 8), D65)
        inside += fit.m_low <= 0.15 <= fit.m_high
    # 95 % is meant; if it held, fewer than 88 % of 100 would come by chance about once in 200
    assert inside >= 0.88 * n_mills
    assert inside < n_mills  # an interval that never misses is too wide to be of use


def test_the_interval_is_no_wider_than_the_spread_of_fits_warrants():
    rng = np.random.default_rng(21)
    fits = [fit_m(samples(rng, stearns_noechel(0.15), 8), D65) for _ in range(40)]
    spread = np.std([np.log(fit.m) for fit in fits], ddof=1)
    told = np.mean([fit.ln_m_se for fit in fits])
    assert 0.6 < told / spread < 1.7


def test_more_samples_know_the_constant_better():
    rng = np.random.default_rng(22)
    few = np.mean([fit_m(samples(rng, stearns_noechel(0.15), 3), D65).ln_m_se for _ in range(15)])
    many = np.mean([fit_m(samples(rng, stearns_noechel(0.15), 16), D65).ln_m_se for _ in range(15)])
    assert many < few


@pytest.mark.parametrize(
    ("truth", "m_low", "m_high", "most_de"),
    [(Mixing(BlendModel.FRIELE, 0.09), 0.2, 0.45, 2.0), (Mixing(BlendModel.KUBELKA_MUNK), 0.6, 0.98, 2.0)],
    ids=["friele", "kubelka-munk"],
)
def test_when_the_truth_is_another_model_the_fit_still_predicts_and_says_what_is_left(
    truth, m_low, m_high, most_de
):
    rng = np.random.default_rng(3)
    fit = fit_m(samples(rng, truth, 8, noise=0), D65)
    assert m_low <= fit.m <= m_high
    assert fit.is_settled == (truth.model is BlendModel.FRIELE)  # Kubelka-Munk wants more than M can give
    fresh = samples(rng, truth, 60, noise=0)
    off = np.array([off_by(one, fit.mixing) for one in fresh])
    # on fresh blends it is as wrong as the left-out blends said, within a factor of two
    assert off.mean() < 2 * fit.left_out_de.mean() + 0.1
    assert off.mean() < most_de
    assert fit.residual_de.mean() > 0.05  # and the residual does not claim perfection


def test_an_unfitted_constant_is_clearly_worse_when_the_truth_is_another_model():
    rng = np.random.default_rng(4)
    truth = Mixing(BlendModel.KUBELKA_MUNK)
    fit = fit_m(samples(rng, truth, 8, noise=0), D65)
    fresh = samples(rng, truth, 40, noise=0)
    fitted = np.mean([off_by(one, fit.mixing) for one in fresh])
    published = np.mean([off_by(one, stearns_noechel(0.15)) for one in fresh])
    assert published > 3 * fitted


def off_by(one: Observation, mixing: Mixing) -> float:
    predicted = blend(one.lots, one.shares, mixing)
    return float(de2000(lab_of_reflectance(one.blend, D65), lab_of_reflectance(predicted, D65)))


def test_left_out_blends_are_predicted_worse_than_fitted_ones():
    fit = fit_m(samples(np.random.default_rng(5), stearns_noechel(0.15), 5), D65)
    assert fit.left_out_de.mean() >= fit.residual_de.mean()


def test_samples_that_do_not_fix_the_constant_say_so():
    one = np.full(31, 0.3)
    same = [
        Observation(np.array([0.5, 0.5]), np.stack([one, one * 1.001]), np.full(31, 0.2)) for _ in range(4)
    ]
    fit = fit_m(same, D65)
    assert not fit.is_settled
    assert fit.m_low < 0.03
    assert fit.m_high > 0.9


def test_one_blend_is_not_enough():
    with pytest.raises(InputError, match="best are 4 to 8, darkest with lightest, half and half"):
        fit_m(samples(np.random.default_rng(6), stearns_noechel(0.15), 1), D65)


def test_shares_are_read_back_from_a_blend():
    rng = np.random.default_rng(8)
    lots = np.concatenate([smooth_spectra(rng, 2, -2.0), smooth_spectra(rng, 2, 0.5)])
    shares = np.array([0.35, 0.0, 0.45, 0.20])
    mixing = stearns_noechel(0.15)
    assert estimate_shares(blend(lots, shares, mixing), lots, mixing) == pytest.approx(shares, abs=1e-9)


def test_shares_read_with_noise_are_near_and_add_up():
    rng = np.random.default_rng(9)
    mixing, wanted = stearns_noechel(0.15), np.array([0.35, 0.65])
    errors = []
    for _ in range(50):
        lots = np.concatenate([smooth_spectra(rng, 1, -2.8), smooth_spectra(rng, 1, 0.8)])
        found = estimate_shares(blend(lots, wanted, mixing) * (1 + rng.normal(0, GAIN_SD, 31)), lots, mixing)
        assert found.sum() == pytest.approx(1)
        assert found.min() >= 0
        errors.append(found[0] - wanted[0])
    assert np.std(errors) < 0.02


def test_shares_read_with_the_wrong_model_are_off_by_points():
    # the recipe error that no fit of colour shows: what was mixed by Friele, read as Stearns-Noechel
    rng = np.random.default_rng(10)
    lots = np.concatenate([smooth_spectra(rng, 1, -2.8), smooth_spectra(rng, 1, 0.8)])
    made = blend(lots, np.array([0.5, 0.5]), Mixing(BlendModel.FRIELE, 0.09))
    found = estimate_shares(made, lots, stearns_noechel(0.15))
    assert 0.02 < abs(found[0] - 0.5) < 0.15
