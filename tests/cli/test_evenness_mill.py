"""Evenness at the terminal from a mill's records: its machines' figures, its lots, an order."""

import pytest

ROUTE = ("--layers", 12, "--passes", 2, "--draw", 4)


@pytest.fixture(scope="module")
def demo_root(tmp_path_factory):
    from tests.cli.conftest import call

    root = tmp_path_factory.mktemp("mills")
    assert call(root, "demo").code == 0
    return root


@pytest.fixture
def demo(demo_root):
    from functools import partial

    from tests.cli.conftest import call

    return partial(call, demo_root, "evenness")


def figure(answer, key):
    return next(one for one in answer.json["figures"] if one["key"] == key)


def test_an_order_is_forecast_with_the_figures_of_the_mills_machines(demo):
    answer = demo("forecast", "--mill", "demo", "--order", "O207", *ROUTE, "--json")
    assert answer.code == 0, answer.err
    card = figure(answer, "card_hold_up")
    assert card["value"] == pytest.approx(53, abs=0.1)
    assert card["status"] == "own"
    assert answer.json["stages"][-1]["apart_de"]["mid"] > 0
    assert "No figure of these machines was measured yet" not in answer.json["figures_sentence"]
    typed = demo(
        "forecast", "--mill", "demo", "--order", "O207", *ROUTE, "--own", "card_hold_up=90", "--json"
    )
    assert figure(typed, "card_hold_up")["value"] == 90


def test_lots_of_the_records_bring_their_fibre_and_colour(demo):
    lots = ("--mill", "demo", "--lot", "L027=75", "--lot", "L028=25", "--kg", 6)
    answer = demo("choose", *lots, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["n_tried"] > 100
    assert answer.json["best"]["apart_de"]["mid"] <= 1.0
    named = demo(
        "forecast", "--mill", "demo", "--part", "wool=80", "--part", "alpaca=20", "--kg", 6, *ROUTE, "--json"
    )
    assert figure(named, "card_hold_up")["value"] == pytest.approx(53, abs=0.1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--order", "O207", "--lot", "L027=100"), "given with one of them"),
        (("--lot", "L027=75", "--kg", 6), "100 % together"),
        (("--lot", "L999=100", "--kg", 6), "L999"),
        (("--order", "O201"), "Nothing of O201 is mixed from here on"),
        (("--part", "wool=100"), "--kg"),
    ],
)
def test_what_cannot_be_reckoned_says_why(demo, words, said):
    answer = demo("forecast", "--mill", "demo", *words, *ROUTE)
    assert answer.code != 0
    assert said in answer.err
