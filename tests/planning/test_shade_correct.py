"""Four greens and a yellow: sub-lots brought to the standard, with the warning how wrong that may be.

Figures of the mill's own scenario were worked out by a separate program on X/Xn, Y/Yn, Z/Zn; here the same
functions run on those three bands and, as the mill does it, on recovered spectra.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.shades import (
    D65,
    FERN,
    FERN_TOLERANCE,
    GREEN_DRY_G,
    GREEN_LABS,
    OURS,
    TABLES,
    WAYS,
    YELLOW_DRY_G,
    YELLOW_LAB,
    spectra,
    spectrum_target,
    stock_of,
    yellow_stock,
)

from doffer.errors import InputError
from doffer.fibre.colour.blend import BlendModel, Mixing, blend, stearns_noechel
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.predict import compare_models, usual_mixings
from doffer.fibre.colour.recover import recover_reflectance
from doffer.fibre.colour.spectrum import lab_of_reflectance, ratios_of_lab, three_bands
from doffer.planning.shade.correct import Batch, correct_batch, corrections_by_model
from doffer.planning.shade.sub_lots import choose_sub_lots, sub_lots_together
from doffer.planning.shade.target import Stock, score_of, target_from_lab
from doffer.planning.shade.trial import trial_card_cg

BANDS = three_bands(D65)
BAND_GREENS = Batch(ratios_of_lab(GREEN_LABS, D65), GREEN_DRY_G)
BAND_YELLOW = stock_of(
    ratios_of_lab(YELLOW_LAB, D65)[None], names=("L031",), dry_mass_g=np.array([YELLOW_DRY_G])
)
BAND_FERN = target_from_lab(FERN, BANDS)
GREENS = Batch(recover_reflectance(GREEN_LABS, D65).reflectance, GREEN_DRY_G)
FERN_TARGET = target_from_lab(FERN, D65)


def corrected(batch: Batch, stock: Stock, target, **changed):
    told = {"owners": OURS, "ways": WAYS, "tolerance_de": FERN_TOLERANCE}
    return correct_batch(batch, target=target, stock=stock, **{**told, **changed})


def test_each_green_alone_and_all_together_are_as_far_off_as_the_mill_says():
    found = sub_lots_together(BAND_GREENS.reflectance, GREEN_DRY_G, target=BAND_FERN, mixing=WAYS.mixing)
    assert found.alone_de == pytest.approx((1.2, 5.8, 2.7, 9.1), abs=0.05)
    assert found.de_to_target == pytest.approx(3.4, abs=0.05)


def test_three_bands_propose_half_a_kilogram_of_yellow():
    best = corrected(BAND_GREENS, BAND_YELLOW, BAND_FERN)[0]
    assert best.lots == ("L031",)
    assert best.added_dry_mass_g[0] == pytest.approx(510, abs=5)
    assert best.de_before == pytest.approx(3.4, abs=0.05)
    assert best.de_after == pytest.approx(0.2, abs=0.05)
    assert GREEN_DRY_G.sum() + best.total_added_dry_mass_g == pytest.approx(3570, abs=5)
    low, high = (factor * best.added_dry_mass_g[0] for factor in (best.low_factor, best.high_factor))
    assert (low, high) == (pytest.approx(320, abs=5), pytest.approx(710, abs=5))


def test_the_answer_depends_on_the_constant_and_above_all_on_the_model():
    mixings = (stearns_noechel(0.09), stearns_noechel(0.25), Mixing(BlendModel.PLAIN_AVERAGE))
    found = corrections_by_model(
        BAND_GREENS,
        mixings,
        target=BAND_FERN,
        stock=BAND_YELLOW,
        owners=OURS,
        ways=WAYS,
        tolerance_de=FERN_TOLERANCE,
    )
    added = [one.total_added_dry_mass_g for one in found]
    assert added == pytest.approx([410, 600, 110], abs=5)


def test_if_plain_averaging_were_true_the_plan_would_miss_by_seven():
    best = corrected(BAND_GREENS, BAND_YELLOW, BAND_FERN)[0]
    masses = np.append(GREEN_DRY_G, best.added_dry_mass_g)
    lots = np.concatenate([BAND_GREENS.reflectance, BAND_YELLOW.reflectance])
    answers = compare_models(
        lots,
        masses / masses.sum(),
        BANDS,
        mixings=usual_mixings(TABLES, WAYS.mixing),
        standard_lab=FERN,
    )
    by_model = {one.model: one.de_to_standard for one in answers}
    assert by_model["stearns_noechel"] == pytest.approx(0.2, abs=0.05)
    assert by_model["plain_average"] == pytest.approx(7, abs=0.5)


def test_the_trial_card_is_twenty_grams_in_hundredths():
    masses = (*GREEN_DRY_G, 510.0)
    shares = tuple(mass / sum(masses) for mass in masses)
    assert trial_card_cg(shares, card_g=WAYS.trial_card_g) == (538, 465, 392, 319, 286)
    best = corrected(BAND_GREENS, BAND_YELLOW, BAND_FERN)[0]
    assert best.trial_card_cg == pytest.approx((538, 465, 392, 319, 286), abs=1)
    assert sum(best.trial_card_cg) == 2000


def test_recovered_spectra_give_a_like_answer():
    best = corrected(GREENS, yellow_stock(), FERN_TARGET)[0]
    assert 300 < best.total_added_dry_mass_g < 750
    assert best.de_after < 0.5
    assert best.band.de_high > best.de_after
    assert best.band.moved_de > 1  # the constant alone may move it by more than the eye's limit


def test_two_of_the_greens_make_the_standard_by_themselves():
    found = choose_sub_lots(
        GREENS.reflectance, GREEN_DRY_G, target=FERN_TARGET, mixing=WAYS.mixing, tolerance_de=FERN_TOLERANCE
    )
    assert found.places == (0, 2)
    assert found.dry_mass_g == 1660
    assert found.de_to_target < FERN_TOLERANCE


def test_leaving_out_the_dark_one_helps_most():
    found = sub_lots_together(GREENS.reflectance, GREEN_DRY_G, target=FERN_TARGET, mixing=WAYS.mixing)
    assert found.best_left_out == 3
    assert found.without_de[3] == min(found.without_de)


def test_a_single_sub_lot_has_no_rest():
    found = sub_lots_together(GREENS.reflectance[:1], GREEN_DRY_G[:1], target=FERN_TARGET, mixing=WAYS.mixing)
    assert np.isnan(found.without_de[0])
    assert found.best_left_out is None
    assert found.to_mean_de[0] == pytest.approx(0, abs=1e-9)


def test_when_no_choice_is_within_the_tolerance_the_nearest_comes_back():
    found = choose_sub_lots(
        GREENS.reflectance, GREEN_DRY_G, target=FERN_TARGET, mixing=WAYS.mixing, tolerance_de=0.1
    )
    assert 0.1 < found.de_to_target < 1


def test_a_correction_as_weighed_lands_where_it_says():
    best = corrected(GREENS, yellow_stock(), FERN_TARGET)[0]
    masses = np.append(GREEN_DRY_G, best.added_dry_mass_g)
    lots = np.concatenate([GREENS.reflectance, yellow_stock().reflectance])
    lab = lab_of_reflectance(blend(lots, masses / masses.sum(), WAYS.mixing), D65)
    assert best.lab_after == pytest.approx(lab, abs=1e-6)
    assert best.de_after == pytest.approx(float(de2000(FERN, lab)))
    for factor in (best.low_factor, best.high_factor):
        scaled = np.append(GREEN_DRY_G, factor * np.array(best.added_dry_mass_g))
        lab = lab_of_reflectance(blend(lots, scaled / scaled.sum(), WAYS.mixing), D65)
        assert float(de2000(FERN, lab)) == pytest.approx(FERN_TOLERANCE, abs=0.03)


def test_more_may_be_added_never_makes_it_worse():
    rng = np.random.default_rng(1)
    lots = spectra(rng, 12)
    batch = Batch(lots[:1], np.array([4000.0]))
    stock = stock_of(lots[1:])
    target = target_from_lab(lab_of_reflectance(lots[0], D65) + np.array([4.0, 3, -3]), D65)
    after = [
        min(one.de_after for one in corrected(batch, stock, target, most_added_frac=frac))
        for frac in (0.05, 0.1, 0.2, 0.5)
    ]
    assert all(after[i + 1] <= after[i] + 0.02 for i in range(3))


def test_additions_keep_to_the_stock_and_to_the_limit():
    stock = dataclasses.replace(yellow_stock(), dry_mass_g=np.array([100.0]))
    best = corrected(GREENS, stock, FERN_TARGET)[0]
    assert best.total_added_dry_mass_g == pytest.approx(100)
    assert best.high_factor is None
    found = corrected(GREENS, yellow_stock(), FERN_TARGET, most_added_frac=0.05)[0]
    assert found.total_added_dry_mass_g <= 0.05 * GREEN_DRY_G.sum() + 1e-6


def test_two_additions_together_keep_to_the_stock_of_each():
    yellows = recover_reflectance(np.array([[74.0, 4, 58], [78.0, -6, 50]]), D65).reflectance
    stock = stock_of(yellows, dry_mass_g=np.array([150.0, 150.0]))
    found = corrected(GREENS, stock, FERN_TARGET)
    both = next(one for one in found if len(one.lots) == 2)
    assert max(both.added_dry_mass_g) <= 150
    assert both.total_added_dry_mass_g > 200
    masses = np.append(GREEN_DRY_G, both.added_dry_mass_g)
    lots = np.concatenate([GREENS.reflectance, yellows[[int(name[1:]) for name in both.lots]]])
    lab = lab_of_reflectance(blend(lots, masses / masses.sum(), WAYS.mixing), D65)
    assert both.de_after == pytest.approx(float(de2000(FERN, lab)))


def test_where_the_tolerance_is_out_of_reach_no_band_is_claimed():
    found = corrected(GREENS, yellow_stock(), FERN_TARGET, most_added_frac=0.01)[0]
    assert (found.low_factor, found.high_factor) == (None, None)
    assert found.de_after > FERN_TOLERANCE


def test_somebody_elses_yellow_is_not_taken():
    stock = dataclasses.replace(yellow_stock(), owner=("farm",))
    assert corrected(GREENS, stock, FERN_TARGET) == ()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"most_added_frac": 0}, "above 0 and at most 2"),
        ({"most_added_frac": 3}, "above 0 and at most 2"),
        ({"tolerance_de": 0}, "above zero"),
    ],
)
def test_limits_that_make_no_sense_are_refused(changed, sentence):
    with pytest.raises(InputError, match=sentence):
        corrected(GREENS, yellow_stock(), FERN_TARGET, **changed)


@pytest.mark.parametrize("masses", [[1.0, 2, 3], [1.0, 2, 3, 0], [1.0, 2, 3, np.nan]])
def test_a_batch_weighs_something_in_every_part(masses):
    with pytest.raises(InputError, match="weights of the batch"):
        Batch(GREENS.reflectance, np.array(masses))


@pytest.mark.parametrize("masses", [[0.0, 0, 0, 0], [1.0, -1, 1, 1], [1.0, 1, 1]])
def test_sub_lots_weigh_something_together(masses):
    with pytest.raises(InputError, match="weights of the sub-lots"):
        sub_lots_together(GREENS.reflectance, np.array(masses), target=FERN_TARGET, mixing=WAYS.mixing)


def test_very_many_sub_lots_are_not_chosen_from():
    with pytest.raises(InputError, match="at most 16"):
        choose_sub_lots(
            np.full((17, 31), 0.5), np.ones(17), target=FERN_TARGET, mixing=WAYS.mixing, tolerance_de=1
        )


def scarce(seed: int, formula: str):
    """A batch of a kilogram, stock of which there is little, and a shade that may lie far off."""
    rng = np.random.default_rng(seed)
    n_lots = int(rng.integers(2, 9))
    stock = stock_of(spectra(rng, n_lots), dry_mass_g=rng.uniform(50, 1500, n_lots))
    batch = Batch(spectra(rng, 1), np.array([1000.0]))
    near = target_from_lab(rng.uniform([25, -30, -30], [80, 30, 50]), D65)
    target = spectrum_target(spectra(rng, 1)[0]) if rng.random() < 0.5 else near
    return batch, stock, target.counted_in(formula)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from(["cmc", "de2000"]))
def test_no_other_way_is_nearer_than_the_plan_that_is_proposed_first(seed, formula):
    batch, stock, target = scarce(seed, formula)
    plans = corrected(batch, stock, target)
    assert all(plan.de_after >= plans[0].de_after - 0.005 for plan in plans[1:])
    for plan in plans:
        places = [stock.names.index(lot) for lot in plan.lots]
        assert all(np.array(plan.added_dry_mass_g) <= stock.dry_mass_g[places] + 1e-6)
        assert plan.total_added_dry_mass_g <= 500 + 1e-6


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from(["cmc", "de2000"]))
def test_no_other_grams_of_the_lots_that_are_proposed_come_nearer(seed, formula):
    batch, stock, target = scarce(seed, formula)
    for plan in corrected(batch, stock, target)[:1]:
        places = [stock.names.index(lot) for lot in plan.lots]
        rng = np.random.default_rng(seed)
        grams = rng.uniform(0, 1, (3000, len(places))) * np.minimum(stock.dry_mass_g[places], 500)
        grams = np.concatenate([grams[grams.sum(axis=1) <= 500], [plan.added_dry_mass_g]])
        masses = np.concatenate([np.full((len(grams), 1), 1000.0), grams], axis=1)
        mixed = blend(
            np.concatenate([batch.reflectance, stock.reflectance[places]]),
            masses / masses.sum(axis=1, keepdims=True),
            WAYS.mixing,
        )
        labs = np.stack([lab_of_reflectance(mixed, one) for one in target.lights], axis=1)
        scores = score_of(labs, target)
        assert scores[-1] <= scores[:-1].min(initial=np.inf) + 0.02
