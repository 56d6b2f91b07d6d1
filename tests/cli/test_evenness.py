"""Evenness at the terminal: forecast, the gentlest way, the striping scenario, trials, bad words."""

import json
from dataclasses import dataclass

import pytest

from doffer.cli.main import main

BLEND = ("--part", "wool=80", "--part", "alpaca=20", "--kg", 6)
SHADES = ("--part", "white=80:wool:88,0,9", "--part", "black=20:alpaca:18,1,1", "--kg", 6)
ROUTE = ("--layers", 24, "--passes", 2, "--draw", 4, "--draw", 6)


@dataclass(frozen=True)
class Said:
    """What the verb printed and how it ended."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def evenness(capsys):
    """`evenness("doublings", "--sd", 3)` -> Said, within this process: no records are opened."""

    def ask(*words):
        try:
            code = main(["evenness", *map(str, words)])
        except SystemExit as stop:
            code = stop.code
        printed = capsys.readouterr()
        return Said(code, printed.out, printed.err)

    return ask


def test_the_verb_runs_as_a_program_of_its_own(doffer):
    answer = doffer("evenness", "doublings", "--sd", 3, "--want", 0.5, "--json")
    assert (answer.code, answer.json["needed"]) == (0, 36)


def test_a_route_is_forecast_stage_by_stage(evenness):
    answer = evenness("forecast", *SHADES, *ROUTE, "--json")
    assert answer.code == 0, answer.err
    told = answer.json
    names = [stage["name"] for stage in told["stages"]]
    assert names[0] == "fed"
    assert names[-3:] == ["carded", "drawn 4", "drawn 6"]
    last = told["stages"][-1]
    assert last["parts"][1]["points"]["mid"] == pytest.approx(0.58, abs=0.03)
    assert last["apart_de"]["low"] < last["apart_de"]["mid"] < last["apart_de"]["high"]
    assert told["stages"][1]["lost_g"] > 100
    assert {figure["status"] for figure in told["figures"]} == {"practice"}
    assert told["label"][0]["mid"]["chance"] < 0.001
    assert told["traps"] == []


def test_the_text_says_the_verdict_the_floor_and_whose_figures_they_are(evenness):
    out = evenness("forecast", *SHADES, *ROUTE).out
    assert "picked twice" in out
    assert "one more pass: " in out
    assert "Heather: over 1 cm" in out
    assert "No figure of these machines was measured yet." in out
    assert "What matters most: one grab out of the bin." in out


def test_own_figures_narrow_the_forecast_and_are_named(evenness):
    own = ("--own", "picker_hold_up=20:19:21", "--own", "bin_grab=10:9:11", "--own", "card_hold_up=60:58:62")
    sure = evenness("forecast", *BLEND, *ROUTE, *own, "--own", "end_correlation=0", "--json").json
    points = sure["stages"][-1]["parts"][1]["points"]
    assert points["high"] / points["low"] < 1.4
    assert sure["figures_sentence"].startswith("The mill's own: what the picker holds")


def test_traps_are_told_with_what_to_do_instead(evenness):
    out = evenness("forecast", *BLEND, *ROUTE, "--handfuls", "--whole-ends", "--in-step").out
    assert out.count("Beware: ") == 3
    assert "Lay the lots in turn, pick once" in out
    assert "Begin and end with half a layer" in out


def test_the_gentlest_way_is_chosen_from_all(evenness):
    answer = evenness("choose", *SHADES, "--json")
    assert answer.code == 0, answer.err
    told = answer.json
    assert told["n_tried"] >= 240
    assert told["best"]["apart_de"]["mid"] <= 1
    assert told["sure"]["apart_de"]["high"] <= 1
    assert told["extra_pass"]["lost_g"] > 100
    text = evenness("choose", *SHADES).out
    assert told["sentence"] in text
    assert "One more pass costs" in text


def test_a_tender_lot_is_picked_once(evenness):
    told = evenness("choose", *SHADES, "--tender", "--json").json
    assert {one["passes"] for one in told["by_passes"]} == {1}


def test_thirty_six_doublings_are_two_passes_of_six_or_three_of_four(evenness):
    told = evenness("doublings", "--sd", 3, "--want", 0.5, "--json").json
    assert told["needed"] == 36
    assert [(way["ends"], round(way["sd_de"], 3)) for way in told["ways"]] == [
        ([6, 6], 0.5),
        ([4, 4, 4], 0.375),
    ]
    out = evenness("doublings", "--sd", 3, "--want", "0,5").out
    assert out == "36 doublings are needed: 2 passes of 6 (0.5) or 3 passes of 4 (0.375).\n"


def test_what_all_ends_share_cannot_be_drawn_away(evenness):
    answer = evenness("doublings", "--sd", 3, "--want", 0.5, "--shared", 0.2, "--most-passes", 2)
    assert answer.code == 0
    assert "drawing cannot mend it: pick and card again" in answer.out
    assert "leaves 1.34 however often" in answer.out
    assert "36 doublings would leave 1.41" in answer.out


def test_a_clean_down_gives_the_word_for_the_next_forecast(evenness):
    answer = evenness("trial", "--clean-down", 58, "--clean-down", 61)
    assert "--own card_hold_up=59.5:53.5:65.5" in answer.out


def test_a_red_pulse_gives_the_hold_up_of_the_card(evenness):
    shares = ";".join(f"{100 * 5 / 60 * 2.718281828 ** (-(2 * n + 1) / 60):.4f}" for n in range(120))
    told = evenness("trial", "--red-pct", shares, "--piece-g", 2, "--json").json
    assert told["value"] == pytest.approx(60, rel=0.01)
    assert told["low"] < 60 < told["high"]


def test_tufts_cans_and_samples_are_reckoned(evenness):
    tufts = [word for grams in (1, 1, 1, 1, 6) for word in ("--tuft", grams)]
    assert evenness("trial", *tufts, "--json").json["value"] == pytest.approx(4)
    cans = ("--can", "1;5;2;8", "--can", "1,5;5;2;8,5")
    assert evenness("trial", *cans, "--json").json["value"] > 0.9
    samples = evenness("trial", "--sd", 1, "--pieces", 5, "--json").json
    assert (samples["low"], samples["high"]) == pytest.approx((0.60, 2.87), abs=0.006)


def test_lengths_before_and_after_tell_what_a_pass_breaks(evenness):
    told = evenness("trial", "--length-mm", 85, 20, 78, "--json").json
    assert told["rate"]["k"] == pytest.approx(0.126, abs=0.001)
    assert told["mean_mm_after"]["3"] == pytest.approx(67.8, abs=0.1)
    text = evenness("trial", "--length-mm", 85, 20, 78, "--fibres", 10).out
    assert "two would leave 72 mm and three 68 mm" in text
    assert "nothing is proven" in text


def test_two_hand_cards_tell_how_colour_follows_shares(evenness):
    out = evenness("trial", "--hand-cards", "60,0,5", "58,0,5", "--moved-pct", 5).out
    assert out == "One point of the share moves the colour by 0.40.\n"


def test_a_measured_spread_moves_the_figures(evenness):
    words = ("learn", *BLEND, "--layers", 24, "--passes", 2, "--spread", 3, "--pieces", 200)
    told = evenness(*words, "--json").json
    now = {figure["key"]: figure for figure in told["figures"]}
    assert now["bin_grab"]["high"] < 30
    assert told["grab_to_hold_up"]["low"] < told["grab_to_hold_up"]["high"]
    assert "the ratio of the grab to what the picker holds" in evenness(*words).out


def test_pieces_of_one_strip_are_judged_by_what_a_strip_shows(evenness):
    words = ("learn", *BLEND, "--layers", 24, "--passes", 1, "--spread", 1.5, "--pieces", 200)
    anywhere, one_strip = (
        {figure["key"]: figure["value"] for figure in evenness(*words, *more, "--json").json["figures"]}
        for more in ((), ("--strip-g", 20, "--strips", 10))
    )
    assert anywhere["picker_hold_up"] > 4 * 20
    assert one_strip["picker_hold_up"] < 1.5 * 20


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("forecast", "--part", "wool=80", "--kg", 6, "--layers", 24), "shares of the parts is “80 %”"),
        (("forecast", "--part", "fog=100", "--kg", 6, "--layers", 24), "fog"),
        (("forecast", "--part", "wool", "--kg", 6, "--layers", 24), "such as wool=80"),
        (("forecast", *BLEND, "--layers", 24, "--own", "beater=3"), "figures are picker_hold_up"),
        (
            ("forecast", "--part", "white=50:wool:88,0,9", "--part", "wool=50", "--kg", 6, "--layers", 24),
            "a colour for every lot, or for none",
        ),
        (("choose", "--part", "wool=50", "--part", "alpaca=50", "--kg", 0.06), "at least two sets"),
        (("trial",), "one of --clean-down"),
        (("trial", "--sd", 1), "--pieces is missing"),
        (("trial", "--can", "1;2;3;4", "--can", "1;2"), "as many places in every can"),
    ],
)
def test_bad_words_are_answered_with_a_sentence(evenness, words, said):
    answer = evenness(*words)
    assert answer.code == 1
    assert said in answer.err
    assert answer.err.rstrip().endswith(".")


@pytest.mark.parametrize(
    "words", [("forecast", *BLEND, "--layers", "2.5"), ("doublings", "--sd", 0, "--want", 1)]
)
def test_words_that_cannot_be_are_usage_errors(evenness, words):
    answer = evenness(*words)
    assert answer.code == 2
    assert "must be" in answer.err
