"""The dose sheet: conditioner, wash, dye bath with its kettles, acid."""

import pytest

THIN = "\u202f"


def sheet(client, **asked) -> str:
    return client.get("/doses/", asked).content.decode().replace(THIN, " ")


def test_one_to_four_is_one_part_product_and_four_parts_water(client, demo_mill):
    text = sheet(client, kind="conditioner", mass="3.4", dose="2", parts="4", layers="4")
    assert "68 g product + 272 g water = 340 g" in text
    assert "1 part product + 4 parts water" in text
    assert "On 4 layers: 85 + 85 + 85 + 85 g" in text
    assert "Wet pick-up 10 %" in text
    assert "204" not in text


def test_a_lot_that_fits_the_large_kettle_is_one_load(client, demo_mill):
    text = sheet(client, kind="dye", mass="2.6", depth="1.5", stock="1", ratio="30")
    assert "One load of 2.60 kg in the kettle 120 L" in text
    assert "Dye 39.0 g = 3.90 L of stock solution" in text
    assert "Liquor 78 L" in text
    assert "kettle 60 L takes 1.80 kg at 30:1 and no more" in text


def test_water_in_the_fibre_is_taken_off_the_top_up(client, demo_mill):
    text = sheet(client, kind="dye", mass="2.6", depth="1.5", stock="1", ratio="30", water="100")
    assert "Top up with 71.50 L" in text  # 78 less 3.90 of stock and 2.60 in the fibre


def test_with_the_large_kettle_busy_the_lot_is_two_equal_loads(client, demo_mill):
    text = sheet(client, kind="dye", mass="2.6", depth="1.5", stock="1", ratio="30", busy="kettle 120 L")
    assert "2 equal loads of 1.30 kg in the kettle 60 L" in text
    assert "Dye 19.5 g = 1.95 L of stock solution in each load" in text
    assert "Liquor 39 L in each load" in text
    assert "kettle 120 L is busy" in text


def test_acid_is_measured_by_its_strength_and_density(client, demo_mill):
    text = sheet(client, kind="acid", mass="2.6", dose="2", product="acetic_56")
    assert "87 mL" in text  # 52 g / (0.56 x 1.062)
    assert "Acid into water, never water into acid" in text


def test_another_bottle_is_asked_for_its_strength(client, demo_mill):
    text = sheet(client, kind="acid", mass="2.6", product="own")
    assert "strength that stands on the bottle" in text


def test_detergent_is_split_over_the_baths(client, demo_mill):
    text = sheet(client, kind="wash", mass="4", grease="low")
    assert "80 g detergent: 40 g + 40 g" in text


@pytest.mark.parametrize("mass", ["minus two", "-3", "1,234"])
def test_a_weight_that_cannot_be_is_answered_beside_its_field(client, demo_mill, mass):
    text = sheet(client, kind="conditioner", mass=mass)
    assert 'id="mass-error"' in text
    assert f'value="{mass}"' in text


def test_a_share_beyond_all_fibre_is_refused(client, demo_mill):
    assert 'id="dose-error"' in sheet(client, kind="conditioner", mass="3", dose="400")


def test_a_mill_without_kettles_is_told_how_to_name_one(client, people):
    assert "No kettle is known here" in sheet(client, kind="dye")


def test_the_sheet_is_only_looked_at(client, people):
    assert client.post("/doses/").status_code == 405
