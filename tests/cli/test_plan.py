"""Scenario 10 of the mill's own acceptance list, at the terminal, and what a plan refuses."""

import pytest

FARMER = ("plan", "--fibre", "alpaca", "--kg", 2.7, "--form", "skirted", "--yarn", "2-ply 200 m/100g")


@pytest.fixture
def batch(doffer):
    return doffer(*FARMER, "--json").json["batches"][0]


def test_the_farmer_at_the_counter_hears_weight_metres_and_a_safe_promise(batch):
    finished, length = batch["finished"], batch["length_m"]
    assert finished["mean"] == pytest.approx(1774, rel=0.02)
    assert (finished["low"], finished["high"]) == pytest.approx((1610, 1950), abs=30)
    assert length["mean"] == pytest.approx(3548, rel=0.02)
    assert (length["low"], length["high"]) == pytest.approx((3150, 3970), rel=0.02)
    assert batch["pieces"]["safe"] == 16


def test_fibre_that_must_still_be_skirted_gives_less(doffer):
    words = [word if word != "skirted" else "greasy" for word in FARMER]
    finished = doffer(*words, "--json").json["batches"][0]["finished"]
    assert finished["mean"] == pytest.approx(1520, rel=0.02)


def test_the_same_words_give_the_same_figures(doffer):
    assert doffer(*FARMER, "--json").out == doffer(*FARMER, "--json").out


def test_a_blend_takes_of_each_lot_what_the_label_needs(doffer):
    words = ("plan", "--fibre", "wool", "--kg", 3, "--fibre", "alpaca", "--kg", 2, "--form", "scoured")
    wish = ("--yarn", "3-ply 250 m/100g", "--blend", "wool=70,alpaca=30", "--finished-kg", 3)
    batch = doffer(*words, *wish, "--json").json["batches"][0]
    assert batch["finished"]["mean"] == pytest.approx(3000, rel=0.01)
    assert batch["labels"][0]["words"] == "70 % wool, 30 % alpaca"
    assert sum(layer["mass_g"] for layer in batch["layers"]) == pytest.approx(
        sum(line["weigh_mass_g"] for line in batch["weigh_out"]["lines"]), abs=2
    )


def test_fibre_in_the_grease_is_weighed_out_after_washing(doffer):
    words = (
        "plan",
        "--fibre",
        "wool",
        "--kg",
        3,
        "--fibre",
        "alpaca",
        "--kg",
        2,
        "--blend",
        "wool=70,alpaca=30",
    )
    out = doffer(*words, "--yarn", "3-ply 250 m/100g", "--form", "greasy").out
    assert out.count("after washing, at the picker:") == 2
    assert "Weigh out of wool after washing, at the picker:" in out
    assert "after washing" not in doffer(*words, "--yarn", "3-ply 250 m/100g", "--form", "scoured").out


def test_the_text_says_stage_by_stage_what_the_scale_will_show(doffer):
    out = doffer(*FARMER).out
    assert "on the scale" in out
    assert "promise 16." in out
    assert "Pieces to promise" not in out
    assert "Pieces to promise" in doffer(*FARMER, "--working").out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--fibre", "dragon", "--kg", 1, "--product", "roving"), "There is no fibre or breed “dragon”"),
        (("--fibre", "wool", "--kg", 1), "--product is missing"),
        (("--fibre", "wool", "--kg", 1, "--yarn", "2-ply Nm 8"), "either “2/8 Nm” for each of the 2 strands"),
        (("--fibre", "wool", "--kg", 1, "--yarn", "250 m/100g"), "said with its plies, such as 2-ply 250"),
        (
            ("--fibre", "wool", "--kg", 1, "--product", "singles", "--yarn", "2/8 Nm"),
            "of one strand for singles",
        ),
        (
            ("--fibre", "wool", "--kg", 1, "--fibre", "silk", "--product", "roving"),
            "once for each of the 2 fibres",
        ),
    ],
)
def test_what_cannot_be_planned_is_said_in_a_sentence(doffer, words, sentence):
    answer = doffer("plan", *words)
    assert answer.code == 1
    assert sentence in answer.err
    assert answer.out == ""


def test_a_count_with_its_plies_is_planned_as_the_yarn_it_makes(doffer):
    words = ("plan", "--fibre", "wool", "--kg", 4, "--form", "scoured", "--json", "--yarn")
    folded, plain = (doffer(*words, wish).json["batches"][0] for wish in ("2/8 Nm", "2-ply 400 m/100g"))
    assert folded["length_m"] == plain["length_m"]
    assert folded["length_m"]["mean"] > 10_000


def test_a_yarn_in_other_words_is_a_usage_error(doffer):
    answer = doffer("plan", "--fibre", "wool", "--kg", 1, "--yarn", "something soft")
    assert answer.code == 2
    assert "must look like 2-ply 200 m/100g" in answer.err


@pytest.mark.slow
def test_an_order_is_planned_as_its_page_shows_it(doffer):
    assert doffer("demo").code == 0
    answer = doffer("plan", "--order", "O204", "--json")
    assert answer.code == 0, answer.err
    (batch,) = answer.json["batches"]
    assert batch["labels"][0]["words"] == "80 % wool, 20 % angora rabbit"
    assert "There is no order “O999”" in doffer("plan", "--order", "O999").err
