"""Scenarios 6 to 8 of the mill's own acceptance list, at the terminal."""

import pytest

BLEND = ("--blend", "wool=50,alpaca=30,silk=20", "--regain", "wool=14.7,alpaca=9.7,silk=9.8")
LOSS = ("--loss", "wool=12,alpaca=20,silk=8")


def masses(answer):
    return {line["name"]: line["weigh_mass_g"] for line in answer.json["sheet"]["lines"]}


def test_three_fibres_with_unequal_regains_and_losses(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, *BLEND, *LOSS, "--json")
    assert masses(answer) == pytest.approx({"wool": 3342, "alpaca": 2110, "silk": 1290}, abs=1)
    assert answer.json["total_mass_g"] == pytest.approx(6742, abs=1)
    naive = [line["share_if_weighed_as_label_frac"] for line in answer.json["sheet"]["lines"]]
    assert naive == pytest.approx([0.504, 0.287, 0.209], abs=0.0005)


def test_the_limiting_fibre_is_named(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, *BLEND, *LOSS, "--on-hand", "alpaca=1.6", "--json")
    assert answer.json["sheet"]["limited_by"] == "alpaca"
    assert answer.json["sheet"]["finished_mass_g"] == pytest.approx(4551, abs=1)
    assert masses(answer) == pytest.approx({"wool": 2535, "alpaca": 1600, "silk": 979}, abs=1)


def test_layers_are_whole_grams_that_sum(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, *BLEND, *LOSS, "--layers", 6, "--json")
    assert answer.json["portions_g"] == {
        "wool": [557] * 6,
        "alpaca": [352] * 4 + [351] * 2,
        "silk": [215] * 6,
    }
    feed = answer.json["feed"]
    assert (feed[0]["name"], feed[0]["mass_g"]) == ("wool", 278)
    assert (feed[-1]["name"], feed[-1]["mass_g"]) == ("wool", 279)


def test_the_text_says_what_to_weigh_and_how_it_came_about(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, *BLEND, *LOSS, "--working")
    assert "weigh out 6.742 kg" in answer.out
    assert "(1 + regain now)" in answer.out
    assert answer.code == 0


def test_an_unknown_fibre_is_refused_in_a_sentence(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, "--blend", "wool=50,unicorn=50")
    assert answer.code == 1
    assert answer.err.startswith("doffer: There is no fibre “unicorn”.")
    assert answer.out == ""


def test_shares_that_do_not_make_a_hundred_are_refused(doffer):
    answer = doffer("weigh-out", "--finished-kg", 6, "--blend", "wool=50,silk=20")
    assert answer.code == 1
    assert "70.0\u202f% together" in answer.err
