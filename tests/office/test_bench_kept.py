"""What the bench keeps is the blend on the screen, or it says why not and what can be had."""

import re

import pytest
from tests.mill import conftest as dyed
from tests.office.page_words import words
from tests.office.test_bench import answer, asked

from doffer.mill.models import BlendRecipe
from doffer.mill.queries.recipes import one_recipe

pytestmark = pytest.mark.django_db
dye_house = dyed.dye_house


@pytest.fixture
def desk(client_of, dye_house):
    return client_of(dye_house.office)


def state_of(client, data):
    return answer(client, data)["HX-Replace-Url"].partition("?")[2]


def test_more_than_there_is_is_refused_and_the_same_blend_in_less_is_offered(desk, dye_house, key):
    data = asked(dye_house, {"G1": 90, "yellow": 10}, mass="5 kg")
    face = words(answer(desk, data))
    assert "Keep this recipe" not in face
    refused = desk.post("/bench/keep/", {"state": state_of(desk, data), "key": key})
    assert refused.status_code == 422
    assert not BlendRecipe.objects.exists()
    text = words(refused)
    assert f"{dye_house.lots['G1']} has 1.10 kg and the blend takes 4.50 kg, 3.40 kg too little" in text
    assert "The most this stock gives of this blend: 1.23 kg" in text
    offered = re.search(r'href="([^"]+)"[^>]*>The most this stock', refused.content.decode())[1]
    address = offered.replace("&amp;", "&")
    assert "too little" not in words(desk.get(address))
    made = desk.post("/bench/keep/", {"state": address.partition("?")[2], "key": key})
    recipe = one_recipe(made["Location"].split("/")[-2])
    assert [part.share_frac for part in recipe.parts] == pytest.approx([0.9, 0.1], abs=1e-3)
    assert sum(part.weighed_mass_g for part in recipe.parts) == pytest.approx(1226, abs=1.5)


@pytest.mark.parametrize("bad", ["-5", "nan", "half"])
def test_a_share_that_cannot_be_read_is_never_kept(desk, dye_house, key, bad):
    data = asked(dye_house, {"G1": bad, "yellow": 50})
    assert "Keep this recipe" not in words(answer(desk, data))
    state = "&".join(
        [*(f"lot={code}" for code in data["lot"]), *(f"{k}={v}" for k, v in data.items() if k != "lot")]
    )
    refused = desk.post("/bench/keep/", {"state": state, "key": key})
    assert refused.status_code == 422
    assert "it must be a number from 0 to 100" in words(refused)
    assert not BlendRecipe.objects.exists()


def test_a_blend_is_not_kept_without_a_lot_that_was_put_in(desk, dye_house, key):
    data = asked(dye_house, {"G1": 50, "L005": 50})
    refused = desk.post("/bench/keep/", {"state": state_of(desk, data), "key": key})
    assert refused.status_code == 422
    assert "L005 cannot go in: not read dry by an instrument" in words(refused)
    assert not BlendRecipe.objects.exists()


def test_a_coarse_scale_changes_no_share(desk, dye_house, key):
    data = asked(dye_house, {"G1": 50, "G2": 50}, mass="1904", step="50")
    data["mass"] = "1900 g"
    made = desk.post("/bench/keep/", {"state": state_of(desk, data), "key": key})
    assert made.status_code == 302, words(made)
    recipe = one_recipe(made["Location"].split("/")[-2])
    assert sum(part.weighed_mass_g for part in recipe.parts) == pytest.approx(1900, abs=0.1)
