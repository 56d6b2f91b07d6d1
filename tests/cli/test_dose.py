"""Scenarios 2 and 5 of the mill's own acceptance list, at the terminal."""

import pytest


def test_conditioner_one_to_four_is_four_parts_of_water(doffer):
    words = ("dose", "conditioner", "--kg", 3.4, "--pct", 2, "--dilution", "1:4", "--layers", 4)
    dose = doffer(*words, "--json").json
    assert (dose["product_mass_g"], dose["water_mass_g"]) == pytest.approx((68, 272))
    assert dose["layers_g"] == [85, 85, 85, 85]
    assert "68 g product + 272 g water = 340 g (1 part product + 4 parts water" in doffer(*words).out


def test_dye_is_given_as_stock_solution_and_water_to_top_up(doffer):
    dose = doffer("dose", "dye", "--kg", 2.6, "--pct", 1.5, "--stock", 1, "--liquor-ratio", 30, "--json").json
    assert dose["dye_mass_g"] == pytest.approx(39.0)
    assert dose["stock_volume_ml"] == pytest.approx(3900)
    assert dose["liquor_volume_l"] == pytest.approx(78)
    assert dose["top_up_volume_l"] == pytest.approx(78 - 3.9)


def test_acid_goes_by_strength_and_density(doffer):
    words = ("dose", "acid", "--kg", 2.6, "--pct", 2, "--strength-pct", 56, "--density", 1.062)
    assert doffer(*words, "--json").json["volume_ml"] == pytest.approx(52 / (0.56 * 1.062))


def test_acid_without_a_bottle_is_refused(doffer):
    answer = doffer("dose", "acid", "--kg", 2.6)
    assert answer.code == 1
    assert "--product" in answer.err


def test_wash_splits_the_detergent_over_the_baths(doffer):
    dose = doffer("dose", "wash", "--kg", 4, "--grease", "greasy", "--json").json
    assert sum(dose["baths_g"]) == round(dose["detergent_mass_g"])
    assert len(dose["baths_g"]) == 2


def test_every_dose_shows_its_working_and_source(doffer):
    assert "common practice, no source" in doffer("dose", "conditioner", "--kg", 3).out
