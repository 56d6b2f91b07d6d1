"""Skeins, promises, reels; thickness, wraps, strength."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.yarn.basis import Basis, State, StrandCount
from doffer.process.yarn.dimensions import (
    Wrapping,
    bulk_cm3_per_g,
    count_from_wraps_tex,
    diameter_mm,
    packing_frac,
    strength_guess,
    strength_kept_frac,
    wraps_constant,
    wraps_per_inch,
)
from doffer.process.yarn.put_up import (
    Promise,
    SkeinWish,
    reel_turns,
    reeled_mass_g,
    skeins,
    usual_skein_spread,
    wind_length_m,
)
from doffer.tables.loader import Override, load_tables

TABLES = load_tables()


@given(
    lot=st.floats(0, 20_000),
    tex=st.floats(60, 2000),
    length=st.floats(20, 800),
    tie=st.floats(0, 5),
    promise=st.sampled_from(Promise),
)
def test_skeins_and_what_is_over_are_the_lot(lot, tex, length, tie, promise):
    found = skeins(
        SkeinWish(length_m=length, mass_g=length * tex / 1000, promise=promise),
        lot_mass_g=lot,
        count_tex=tex,
        tie_length_m=tie,
        skein_cv_frac=0.03,
        short_chance_frac=0.05,
    )
    each = found.skein_mass_g + tie * tex / 1000
    assert found.n_skeins * each + found.over_mass_g == pytest.approx(lot, abs=1e-6)
    assert found.over_mass_g < each
    assert found.given_up >= 0
    assert (found.given_up == 0) or promise is not Promise.METRES


def test_a_promise_of_both_is_wound_for_whichever_binds():
    def wound(promise, length_m=230.0, chance=0.05):
        wish = SkeinWish(length_m=length_m, mass_g=100, promise=promise)
        return wind_length_m(wish, count_tex=434.78, skein_cv_frac=0.03, short_chance_frac=chance)

    assert wound(Promise.METRES) == 230
    assert wound(Promise.GRAMS) == wound(Promise.BOTH) == pytest.approx(241.94, abs=0.01)
    assert wound(Promise.BOTH, length_m=250) == 250
    assert wound(Promise.GRAMS, chance=0.5) == pytest.approx(230, abs=0.002)
    assert wound(Promise.GRAMS, chance=0.01) > wound(Promise.GRAMS, chance=0.05)


def test_the_usual_spread_is_the_mills_to_change():
    assert usual_skein_spread(TABLES) == (0.03, 0.05)
    own = TABLES.override([Override("yarn_figures", "skein_cv/any", "value", "0.02")])
    assert usual_skein_spread(own) == (0.02, 0.05)


def test_whole_skeins_are_not_lost_to_rounding():
    wish = SkeinWish(length_m=110, mass_g=100)  # computed, one weighs 100.00000000000001 g
    found = skeins(wish, lot_mass_g=7800, count_tex=100_000 / 110)
    assert (found.n_skeins, found.over_mass_g) == (78, pytest.approx(0, abs=1e-6))


def test_ends_and_test_skein_come_off_first():
    wish = SkeinWish(length_m=200, mass_g=100)
    found = skeins(wish, lot_mass_g=1000, count_tex=500, ends_mass_g=60, test_mass_g=40)
    assert (found.n_skeins, found.over_mass_g) == (9, pytest.approx(0, abs=1e-9))


def test_a_reel_never_winds_short():
    assert reel_turns(length_m=230, circumference_m=1.5) == 154
    assert reel_turns(length_m=225, circumference_m=1.5) == 150


def test_a_reeled_length_weighs_what_its_basis_says():
    single = StrandCount(210.55, Basis(State.BOBBIN, 0.17, 0.01))
    assert reeled_mass_g(single, length_m=10) == pytest.approx(2.1055)
    assert reeled_mass_g(single, length_m=10, room_regain_frac=0.12) == pytest.approx(2.1055 * 1.12 / 1.17)


@given(tex=st.floats(10, 3000), phi=st.floats(0.05, 1), rho=st.floats(0.9, 1.6))
def test_thickness_and_packing_are_inverse(tex, phi, rho):
    thick = diameter_mm(count_tex=tex, packing_frac=phi, density_g_cm3=rho)
    assert packing_frac(count_tex=tex, diameter_mm=thick, density_g_cm3=rho) == pytest.approx(phi)
    grams_in_m = math.pi / 4 * (thick / 10) ** 2 * 100 / bulk_cm3_per_g(packing_frac=phi, density_g_cm3=rho)
    assert grams_in_m == pytest.approx(tex / 1000)


@given(tex=st.floats(30, 3000), method=st.sampled_from(Wrapping))
def test_wraps_and_count_are_inverse_by_method(tex, method):
    wraps = wraps_per_inch(TABLES, count_tex=tex, method=method)
    assert count_from_wraps_tex(TABLES, wraps_per_inch=wraps, method=method) == pytest.approx(tex)


def test_the_method_of_wrapping_more_than_doubles_the_wraps():
    relaxed, tight = (wraps_per_inch(TABLES, count_tex=400, method=method) for method in Wrapping)
    assert tight / relaxed == pytest.approx(2.3, abs=0.05)


def test_one_known_yarn_calibrates_a_person():
    own = wraps_constant(wraps_per_inch=14, count_tex=400)
    assert wraps_per_inch(TABLES, count_tex=100, method=Wrapping.RELAXED, own_factor=own) == pytest.approx(28)
    assert count_from_wraps_tex(
        TABLES, wraps_per_inch=28, method=Wrapping.TIGHT, own_factor=own
    ) == pytest.approx(100)


def test_strength_is_a_guess_and_says_so():
    guess = strength_guess(TABLES, count_tex=200, system="worsted")
    assert (guess.force_cn, guess.low_force_cn, guess.high_force_cn) == pytest.approx((1400, 840, 1960))
    assert guess.status == "memory"
    assert "40 %" in guess.words


def test_a_strand_with_hardly_any_twist_holds_nothing():
    assert strength_kept_frac(TABLES, angle_rad=0) == 0
    assert strength_kept_frac(TABLES, angle_rad=0.05) == 0
    assert 0 < strength_kept_frac(TABLES, angle_rad=0.2) < strength_kept_frac(TABLES, angle_rad=0.4)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: SkeinWish(length_m=0, mass_g=100),
        lambda: skeins(SkeinWish(length_m=200, mass_g=100), lot_mass_g=50, count_tex=500, ends_mass_g=60),
        lambda: wind_length_m(
            SkeinWish(200, 100, Promise.GRAMS), count_tex=500, skein_cv_frac=0.03, short_chance_frac=0.6
        ),
        lambda: wind_length_m(
            SkeinWish(200, 100, Promise.GRAMS), count_tex=500, skein_cv_frac=0.9, short_chance_frac=0.05
        ),
        lambda: wind_length_m(SkeinWish(200, 100), count_tex=0, skein_cv_frac=0, short_chance_frac=0.5),
        lambda: reel_turns(length_m=200, circumference_m=0),
        lambda: diameter_mm(count_tex=400, packing_frac=1.1, density_g_cm3=1.31),
        lambda: diameter_mm(count_tex=400, packing_frac=0.5, density_g_cm3=0),
        lambda: packing_frac(count_tex=400, diameter_mm=0, density_g_cm3=1.31),
        lambda: wraps_constant(wraps_per_inch=0, count_tex=400),
    ],
)
def test_what_cannot_be_is_refused(refused):
    with pytest.raises(InputError, match="must be"):
        refused()
