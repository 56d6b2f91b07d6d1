"""Doses: scenarios 2 and 5 of the acceptance list (arithmetic of owf, no source), and their laws."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.material import Constituent
from doffer.process.doses import acid, cohesive, conditioner, dye, salt_mass_g, scour
from doffer.tables.loader import load_tables


def test_one_to_four_is_one_part_product_and_four_parts_water():
    dose = conditioner(fibre_mass_g=3400, dose_frac_owf=0.02, water_parts=4, n_layers=4)
    assert dose.product_mass_g == pytest.approx(68)
    assert dose.water_mass_g == pytest.approx(272)
    assert dose.spray_mass_g == pytest.approx(340)
    assert dose.wet_pickup_frac == pytest.approx(0.10)
    assert dose.words == "1 part product + 4 parts water"
    assert dose.layers_g == (85, 85, 85, 85)


def test_ten_kilos_at_three_percent_take_a_kilo_and_a_half_of_spray():
    dose = conditioner(fibre_mass_g=10_000, dose_frac_owf=0.03, water_parts=4)
    assert (dose.product_mass_g, dose.water_mass_g) == pytest.approx((300, 1200))
    assert dose.wet_pickup_frac == pytest.approx(0.15)


def test_dye_and_liquor_for_one_load_of_the_large_kettle():
    bath = dye(
        fibre_mass_g=2600, depth_frac_owf=0.015, stock_g_per_100ml=1, liquor_ratio=30, wet_pickup_frac=1.5
    )
    assert bath.dye_mass_g == pytest.approx(39.0)
    assert bath.stock_volume_ml == pytest.approx(3900)
    assert bath.liquor_volume_l == pytest.approx(78)
    assert bath.top_up_volume_l == pytest.approx(78 - 3.9 - 3.9)


def test_two_kilos_at_two_percent_from_one_percent_stock_are_four_litres():
    bath = dye(fibre_mass_g=2000, depth_frac_owf=0.02, stock_g_per_100ml=1, liquor_ratio=30)
    assert bath.stock_volume_ml == pytest.approx(4000)
    assert bath.liquor_volume_l == pytest.approx(60)
    assert salt_mass_g(fibre_mass_g=2000, dose_frac_owf=0.10) == pytest.approx(200)


def test_a_bath_that_cannot_hold_its_own_stock_is_refused_with_what_to_do():
    with pytest.raises(InputError, match="stronger stock or more water"):
        dye(fibre_mass_g=1000, depth_frac_owf=0.1, stock_g_per_100ml=0.5, liquor_ratio=15)


def test_weak_acid_needs_more_millilitres_than_pure():
    weak = acid(fibre_mass_g=1000, dose_frac_owf=0.02, strength_frac=0.56, density_g_per_ml=1.062)
    assert weak.pure_mass_g == pytest.approx(20)
    assert weak.volume_ml == pytest.approx(20 / (0.56 * 1.062))
    assert "acid into water" in weak.words


def test_detergent_is_split_over_the_baths_in_whole_grams():
    dose = scour(raw_mass_g=3500, detergent_frac=0.045, liquor_ratio=30, n_baths=2, n_rinses=2)
    assert dose.detergent_mass_g == pytest.approx(157.5)
    assert sum(dose.baths_g) == 158
    assert dose.bath_volume_l == pytest.approx(105)


@given(st.floats(1, 50_000), st.floats(0, 0.2), st.floats(0, 20), st.integers(1, 12))
def test_spray_over_the_layers_sums_to_the_whole(fibre, dose, parts, n_layers):
    result = conditioner(fibre_mass_g=fibre, dose_frac_owf=dose, water_parts=parts, n_layers=n_layers)
    assert sum(result.layers_g) == round(result.spray_mass_g)
    assert max(result.layers_g) - min(result.layers_g) <= 1


def part(lot, fibre):
    return Constituent(lot, fibre, 22.0, 0.2, 95.0, 0.2)


def test_suri_gets_cohesive_and_wool_is_told_why_not():
    tables = load_tables()
    suri = cohesive([part("L011", "suri")], [1.0], tables)
    wool = cohesive([part("L006", "wool")], [1.0], tables)
    little = cohesive([part("L011", "suri"), part("L006", "wool")], [0.1, 0.9], tables)
    assert suri.applies
    assert "suri" in suri.why
    assert not wool.applies
    assert "holds together by itself" in wool.why
    assert not little.applies
    assert "only 10\u202f%" in little.why


@pytest.mark.parametrize(
    "bad",
    [
        {"dose_frac_owf": 2.0},
        {"fibre_mass_g": -5.0},
        {"water_parts": 50.0},
    ],
)
def test_a_dose_typed_as_percent_or_below_zero_is_refused(bad):
    good = {"fibre_mass_g": 3400.0, "dose_frac_owf": 0.02, "water_parts": 4.0}
    with pytest.raises(InputError, match="it must be from"):
        conditioner(**{**good, **bad})


def test_a_share_that_cannot_be_is_refused_in_percent_as_it_was_typed():
    with pytest.raises(
        InputError, match=r"depth of shade is “20 %”; it must be from 0 to 15 % of the fibre\."
    ):
        dye(fibre_mass_g=1000, depth_frac_owf=0.2, stock_g_per_100ml=1.0, liquor_ratio=30)
