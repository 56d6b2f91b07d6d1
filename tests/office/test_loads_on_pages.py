"""What a machine takes at once stands where the work is told."""

import re

import pytest

pytestmark = pytest.mark.django_db


def words(client, way: str) -> str:
    text = client.get(way).content.decode().replace("\u202f", " ").replace("\u00a0", " ")
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_a_fleece_that_is_too_much_for_the_tub_is_washed_in_loads(client, demo_mill):
    said = words(client, "/orders/O206/")
    loads = re.search(r"In 2 loads of (2\.\d\d) kg: the wash tub 1 takes 3\.50 kg at once", said)
    assert loads
    assert float(loads[1]) < 3.5
    assert re.search(r"For each of 2 loads: (\d+) g \+ (\d+) g in 2 baths of", said)
    assert "wash tub 1, 2 loads" in said


def test_a_blend_that_is_too_much_for_the_bin_is_picked_in_rounds_of_layers(client, demo_mill):
    said = words(client, "/orders/O203/")
    found = re.findall(
        r"In (\d) loads of (\d\.\d\d) kg: the picker and bin takes 6\.00 kg at once; (\d) round", said
    )
    assert len(found) == 2, "at the stage, and beside the layers"
    count, load_kg, rounds = found[0]
    assert int(count) * int(rounds) == 6
    assert float(load_kg) <= 6
