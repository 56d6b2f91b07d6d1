"""Scenario 15 at the terminal, with and without a mill; files of an instrument into the records."""

import numpy as np
import pytest

from doffer.fibre.colour.blend import blend, stearns_noechel

GREENS = (
    ("L027", "46,-22,18", 0.96),
    ("L028", "42,-24,14", 0.83),
    ("L029", "49,-20,21", 0.70),
    ("L030", "39,-23,10", 0.57),
)
FERN = ("--target", "46.6,-20.9,19.2", "--tolerance", "1.2")
YELLOW = ("--stock", "L031=74,4,58:1.72kg")
NM = range(400, 701, 10)


def greens():
    return [word for name, lab, kg in GREENS for word in ("--lot", f"{name}={lab}:{kg}kg")]


def test_four_greens_and_a_yellow(doffer):
    answer = doffer("shade", "correct", *FERN, *greens(), *YELLOW, "--json")
    assert answer.code == 0, answer.err
    told = answer.json
    assert list(told["alone_de"].values()) == pytest.approx([1.2, 5.8, 2.7, 9.1], abs=0.05)
    assert told["together_de"] == pytest.approx(3.4, abs=0.1)
    best = told["corrections"][0]
    kg = best["added_dry_mass_g"][0] / 1000
    assert 0.3 <= kg <= 0.75
    assert best["de_after"] < 1.2
    assert best["low_factor"] * kg < kg < best["high_factor"] * kg
    assert told["total_dry_mass_g"] / 1000 == pytest.approx(3.06 + kg)
    assert sum(told["trial_card_g"].values()) == pytest.approx(20)
    assert list(told["trial_card_g"]) == ["L027", "L028", "L029", "L030", "L031"]
    assert told["release"] == "refused until the trial card was measured"


def test_what_other_models_would_say_is_told_beside_it(doffer):
    answer = doffer("shade", "correct", *FERN, *greens(), *YELLOW, "--json")
    by_model = {
        (row["model"], row["m"] and round(row["m"], 2)): row for row in answer.json["if_the_model_is_wrong"]
    }
    kg = {key: row["added_dry_mass_g"]["L031"] / 1000 for key, row in by_model.items()}
    own_kg = answer.json["corrections"][0]["added_dry_mass_g"][0] / 1000
    assert kg["stearns_noechel", 0.09] < own_kg < kg["stearns_noechel", 0.25]
    assert kg["plain_average", None] == pytest.approx(0.11, abs=0.01)
    assert by_model["plain_average", None]["this_plan_then_off_de"] > 6
    assert kg["without_spectra", 0.15] == pytest.approx(0.51, abs=0.005)


def test_the_text_asks_for_the_trial_card_before_the_mix(doffer):
    answer = doffer("shade", "correct", *FERN, *greens(), *YELLOW, "--regain-pct", 16.3)
    assert "as weighed" in answer.out
    assert "If the model is wrong:" in answer.out
    assert "Trial card first, 20 g: L027" in answer.out
    assert "not released before the trial card was measured" in answer.out


def test_a_stock_that_cannot_make_the_shade_is_said_to(doffer):
    answer = doffer("shade", "correct", *FERN, *greens(), "--stock", "white=84,0,9:2kg")
    assert answer.code == 0
    assert "the stock cannot make this shade" in answer.out


def test_a_blend_is_predicted_with_every_model(doffer):
    answer = doffer("shade", "predict", "--lot", "white=84,0,9:2kg", "--lot", "navy=22,3,-24:1kg", "--json")
    models = {row["model"]: row for row in answer.json["models"]}
    lightness = {name: row["lab"][0] for name, row in models.items()}
    assert lightness["kubelka_munk"] < lightness["stearns_noechel"] < lightness["plain_average"]
    assert models["plain_average"]["de_to_first"] > 15
    assert answer.json["band"]["moved_de"] > 2
    assert answer.json["published_error"]["mean_high_de"] == 1.23
    assert answer.json["trial_card_g"] == {"white": 13.33, "navy": 6.67}


def test_with_an_own_constant_the_band_is_narrow(doffer):
    words = ("shade", "predict", "--lot", "white=84,0,9:2kg", "--lot", "navy=22,3,-24:1kg", "--json")
    unsure, sure = doffer(*words).json, doffer(*words, "--m", 0.2, "--ln-m-sd", 0.05).json
    assert sure["band"]["moved_de"] < unsure["band"]["moved_de"] / 4


def test_a_recipe_is_found_and_what_is_missing_is_named(doffer):
    stock = ("--stock", "navy=22,3,-24:1kg", "--stock", "yellow=74,4,58:2kg", "--stock", "white=84,0,9:5kg")
    answer = doffer("shade", "find", "--target", "60,-5,20", "--batch-kg", 1, *stock, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["recipes"][0]["lots"]
    red = doffer("shade", "find", "--target", "40,44,26", "--batch-kg", 1, *stock)
    assert "None is within" in red.out
    assert "redder" in red.out
    assert "nothing can be said of how it looks in other light" in red.out


def test_no_difference_is_told_finer_than_known_and_the_lots_own_error_is(doffer):
    stock = (
        "--stock",
        "a=46.6,-20.9,19.2:2kg",
        "--stock",
        "b=74,4,58:2kg",
        "--m",
        "0.15",
        "--ln-m-sd",
        "0.01",
    )
    found = doffer("shade", "find", *FERN, "--batch-kg", 1, *stock).out
    assert "0.5 or less" in found
    assert " 0.0 " not in found
    assert "This may be off by 1.5, because a lot is known as L, a and b only." in found
    just_off = doffer("shade", "correct", *FERN[:2], "--tolerance", "1.18", *greens(), *YELLOW).out
    assert "alone: L027 1.19, L028 5.8" in just_off


def spectra_file(path, spectra):
    lines = ["name," + ",".join(map(str, NM))]
    lines += [f"{name}," + ",".join(f"{value:.5f}" for value in row) for name, row in spectra.items()]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def pads():
    """Greys from dark to light and blends of them by an M of 0.2."""
    flat = {name: np.full(31, level) for name, level in (("black", 0.04), ("grey", 0.3), ("white", 0.8))}
    for number, (dark, light) in enumerate(
        (("black", "white"), ("black", "grey"), ("grey", "white")), start=1
    ):
        lots = np.stack([flat[dark], flat[light]])
        flat[f"mix{number}"] = blend(lots, np.array([0.5, 0.5]), stearns_noechel(0.2))
    return flat


def test_the_constant_is_fitted_to_sample_blends(doffer, tmp_path):
    path = spectra_file(tmp_path / "pads.csv", pads())
    blends = ("black=50,white=50:mix1", "black=50,grey=50:mix2", "grey=50,white=50:mix3")
    words = [word for blend in blends for word in ("--blend", blend)]
    answer = doffer("shade", "calibrate", "--spectra", path, *words, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["m"] == pytest.approx(0.2, abs=0.003)
    assert answer.json["m_low"] <= answer.json["m"] <= answer.json["m_high"]
    few = doffer("shade", "calibrate", "--spectra", path, "--blend", blends[0])
    assert few.code == 1
    assert "2 or more" in few.err


def test_spectra_of_a_file_are_shown_and_used_by_name(doffer, tmp_path):
    path = spectra_file(tmp_path / "pads.csv", pads())
    shown = doffer("shade", "read", path, "--json")
    assert shown.json["names"][0] == "black"
    assert shown.json["labs"]["D65"][0][0] == pytest.approx(116 * 0.04 ** (1 / 3) - 16, abs=0.01)
    words = ("--spectra", path, "--lot", "black:1kg", "--lot", "white:1kg", "--target", "mix1", "--m", 0.2)
    answer = doffer("shade", "predict", *words, "--json")
    assert answer.json["de_to_target"] == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("correct", "--lot", "a=50,0,0:1kg", "--stock", "b=60,0,0:1kg"), "wanted colour is missing"),
        (("correct", *FERN, "--lot", "a=50,0,0", "--stock", "b=60,0,0:1kg"), "weight of a is missing"),
        (("correct", *FERN, "--lot", "a=50,0:1kg", "--stock", "b=60,0,0:1kg"), "three numbers, L, a and b"),
        (("correct", *FERN, "--lot", "a=150,0,0:1kg", "--stock", "b=60,0,0:1kg"), "from 0 to 100"),
        (
            ("correct", *FERN, "--lot", "a=50,0,0:1kg"),
            "--stock is missing; it must be given: what may be added",
        ),
        (
            ("correct", *FERN, "--stock", "a=50,0,0:1kg"),
            "--lot is missing; it must be given: what is off shade",
        ),
        (("predict", "--lot", "a:1kg"), "no spectrum “a”"),
        (("predict", "--shade", "Fern", "--lot", "a=50,0,0:1kg"), "used with --mill"),
        (("predict", "--lot", "a=50,0,0:1kg", "--lot", "a=60,0,0:1kg"), "each lot once"),
    ],
)
def test_words_that_say_too_little_are_refused_in_a_sentence(doffer, words, sentence):
    answer = doffer("shade", *words)
    assert answer.code == 1
    assert sentence in answer.err
    assert answer.out == ""


def test_a_file_that_is_no_list_of_spectra_is_refused(doffer, tmp_path):
    path = tmp_path / "bomb.cxf"
    path.write_text('<!DOCTYPE x [<!ENTITY a "b">]><CxF>&a;</CxF>', encoding="utf-8")
    answer = doffer("shade", "read", path)
    assert answer.code == 1
    assert "entities" in answer.err


@pytest.fixture
def demo(doffer):
    assert doffer("demo").code == 0
    return doffer


def test_the_invented_mill_answers_from_its_records(demo, tmp_path):
    words = ("--mill", "demo", "--shade", "Fern", "--lot", "L027", "--lot", "L028", "--lot", "L029")
    answer = demo("shade", "correct", *words, "--lot", "L030", "--stock", "L031", "--json")
    assert answer.code == 0, answer.err
    assert 300 <= answer.json["corrections"][0]["added_dry_mass_g"][0] <= 750
    of_stock = demo("shade", "correct", "--mill", "demo", "--shade", "Fern", "--lot", "L028", "--json")
    assert of_stock.code == 0, of_stock.err
    added = {lot for plan in of_stock.json["corrections"] for lot in plan["lots"]}
    assert added
    assert added <= {"L027", "L029", "L030", "L031", "L032", "L033", "L037"}
    found = demo("shade", "find", "--mill", "demo", "--shade", "Fern", "--batch-kg", 2, "--json")
    lots = {lot for recipe in found.json["recipes"] for lot in recipe["lots"]}
    assert lots <= {"L027", "L028", "L029", "L030", "L031", "L032", "L033", "L037"}
    refused = demo("shade", "predict", "--mill", "demo", "--lot", "L026", "--lot", "L031")
    assert refused.code == 1
    assert "not read dry by an instrument" in refused.err

    theirs = spectra_file(tmp_path / "theirs.csv", {"L004": pads()["white"]})
    kept = demo("shade", "read", theirs, "--mill", "demo", "--keep", "--geometry", "45/0")
    assert kept.code == 0, kept.err
    for words in (
        ("correct", "--lot", "L027", "--lot", "L004", "--stock", "L031"),
        ("correct", "--lot", "L004", "--stock", "L031"),
        ("find", "--batch-kg", 1, "--stock", "L031", "--stock", "L004"),
    ):
        apart = demo("shade", *words, "--mill", "demo", "--shade", "Fern")
        assert apart.code == 1
        assert "Fibre of two owners does not go into one blend" in apart.err
        assert "L004 is fibre of" in apart.err

    path = spectra_file(
        tmp_path / "pads.csv", {"L026": pads()["white"], "L026 2": pads()["white"], "who": pads()["grey"]}
    )
    shown = demo("shade", "read", path, "--mill", "demo")
    assert shown.code == 1
    assert "“who” is no lot of the mill" in shown.out
    assert "Nothing was kept" in shown.out
    open_line = demo("shade", "read", path, "--mill", "demo", "--keep")
    assert open_line.code == 1
    assert "No reading was kept" in open_line.err
    kept = demo("shade", "read", path, "--mill", "demo", "--keep", "--drop", "3", "--geometry", "45/0")
    assert kept.code == 0, kept.err
    assert "1 sitting is kept" in kept.out
    assert demo("shade", "predict", "--mill", "demo", "--lot", "L026", "--lot", "L031").code == 0


def test_a_constant_that_was_typed_is_told_as_typed_and_no_word_stands_at_nothing(doffer):
    lots = ("--lot", "a=46.6,-20.9,19.2:1kg", "--lot", "b=46.6,-20.9,19.2:1kg")
    answer = doffer("shade", "predict", *FERN, *lots, "--m", "0.2")
    assert "With M 0.2 as typed the colour may move" in answer.out
    assert "not your own" not in answer.out
    assert "CIEDE2000 to the target: 0.5 or less." in answer.out
    assert "With M not your own" in doffer("shade", "predict", *FERN, *lots).out


def test_samples_without_shares_are_refused_and_such_that_settle_nothing_are_said(doffer, tmp_path):
    light, dark = np.full(31, 0.62), np.full(31, 0.60)
    path = tmp_path / "pads.csv"
    rows = {"white": light, "black": dark, "mix1": np.full(31, 0.7), "mix2": np.full(31, 0.7)}
    lines = ["name," + ",".join(map(str, NM))]
    path.write_text("\n".join(lines + [f"{n}," + ",".join(map(str, r)) for n, r in rows.items()]))
    none = doffer("shade", "calibrate", "--spectra", path, "--blend", "white=0,black=0:mix1")
    assert none.code == 1
    assert "parts of mix1" in none.err
    assert "nan" not in none.out + none.err
    words = ("--blend", "white=50,black=50:mix1", "--blend", "white=40,black=60:mix2")
    answer = doffer("shade", "calibrate", "--spectra", path, *words)
    assert "do not settle it" in answer.out


def test_another_model_answers_otherwise_and_is_named(doffer):
    kg = {}
    for model in ("stearns_noechel", "friele", "kubelka_munk", "plain_average"):
        answer = doffer("shade", "correct", *FERN, *greens(), *YELLOW, "--model", model, "--json")
        assert answer.code == 0, answer.err
        assert answer.json["model"] == model
        kg[model] = answer.json["corrections"][0]["added_dry_mass_g"][0] / 1000
        assert (
            f"Model: {model.replace('_', ' ')}"
            in doffer("shade", "correct", *FERN, *greens(), *YELLOW, "--model", model).out
        )
    assert kg["plain_average"] == pytest.approx(0.11, abs=0.01)
    assert kg["kubelka_munk"] > kg["friele"] > kg["plain_average"]
    seen = doffer("shade", "predict", "--lot", "a=84,0,9:1kg", "--lot", "b=22,3,-24:1kg", "--model", "friele")
    assert seen.out.index("Model: friele, constant 0.09.") < seen.out.index("stearns noechel")


def test_a_constant_of_one_model_is_not_given_to_another(doffer):
    answer = doffer("shade", "find", *FERN, *YELLOW, "--batch-kg", "1", "--model", "friele", "--m", "0.2")
    assert answer.code != 0
    assert "only the model stearns_noechel has it" in answer.err
