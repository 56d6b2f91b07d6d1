"""Yarn at the terminal: scenarios 3, 12 and 14 b, what a lot can become, what lifts it, the first metres."""

import json

import pytest

from doffer.cli.main import main
from doffer.pictures.wording import THIN

SOCK = (
    *("plan", "3-ply 425 m/100g", "--fibre", "wool", "--um", "22", "--cv-pct", "25"),
    *("--contraction-pct", "3", "--twist-k", "27", "--relax-pct", "0", "--oil-pct", "0"),
    *("--spindles", "8", "--rpm", "3000", "--efficiency-pct", "80", "--finished-kg", "6"),
)
LACE = ("2-ply 800 m/100g", "--fibre", "wool", "--um", "34")
DK = ("test", "2-ply 230 m/100g", "--fibre", "wool", "--um", "24")


@pytest.fixture
def yarn(capsys):
    """`yarn("plan", ...)` -> exit code, what was printed, what was said on the error stream."""

    def ask(*words):
        code = main(["yarn", *words])
        said = capsys.readouterr()
        return code, said.out.replace(THIN, " "), said.err

    return ask


def data(yarn, *words):
    return json.loads(yarn(*words, "--json")[1])


def test_sock_singles_are_those_of_scenario_twelve(yarn):
    found = data(yarn, *SOCK, "--roving-g-per-m", "3")
    single, fibre_tex = found["single"]["tex"], found["fibre_only_tex"] / found["fibres"]
    assert single == pytest.approx(76.1, abs=0.05)
    assert 1000 / single == pytest.approx(13.1, abs=0.05)
    assert found["single_twist"]["tpm"] == pytest.approx(310, abs=1)
    assert found["fibres"] == pytest.approx(139, abs=0.5)
    assert single / fibre_tex == pytest.approx(144, abs=0.5)
    assert found["retraction_frac"] == pytest.approx(0.033, abs=5e-4)
    assert 0.093 < found["limit_cv_frac"] < 0.095
    assert found["frame_hours"] == pytest.approx(21.2, abs=0.05)
    assert (found["verdict"], found["possible"], found["instead"]) == ("ok", True, [])


def test_a_draft_that_is_too_high_asks_for_a_lighter_roving(yarn):
    out = yarn(*SOCK, "--roving-g-per-m", "3")[1]
    assert "From 3 g/m the draft would be 40.8; the frame draws 6 to 25." in out
    assert "Draw the roving to 1.5 g/m first (draft 20.4)." in out
    assert "310 turns/m (7.9 turns/in) Z" in out
    assert "On the frame: 21.2 h" in out
    assert "Fibre: wool 22.0 µm, CV 25 %, 90 mm (staple as is usual, not measured)." in out
    drawn = yarn(*SOCK, "--roving-g-per-m", "1.5")[1]
    assert "Draft 20.38 from a roving of 1.50 g/m" in drawn
    assert "Draw the roving" not in drawn


def test_skeins_are_those_of_scenario_three(yarn):
    code, out, _ = yarn("put-up", "425 m/100g", "--kg", "7.86", "--test-g", "40")
    assert code == 0
    assert "78 skeins of 100 g and 20 g over." in out
    assert "235.3 tex, Nm 4.25, 464.8 yd/100 g, 2108 yd/lb, 527 yd per 4 oz." in out
    both = data(
        yarn,
        "put-up",
        "434.78 tex",
        "--kg",
        "8",
        "--ends-g",
        "60",
        "--promise",
        "both",
        "--skein-cv-pct",
        "3",
    )
    assert (both["skeins"]["n_skeins"], both["skeins"]["given_up"]) == (75, 4)
    assert both["skeins"]["wind_length_m"] == pytest.approx(241.9, abs=0.1)


def test_too_little_yarn_is_spun_finer_as_in_scenario_fourteen(yarn):
    words = ("plan", "2-ply 250 m/100g", "--fibre", "wool", "--um", "24", "--keep-m", "4750")
    found = data(yarn, *words, "--finished-kg", "1.534")
    assert found["keep_metres"] == {"length_m_per_100g": 310, "possible": True}
    assert found["finished"]["tex"] == pytest.approx(100_000 / 310)
    out = yarn(*words, "--finished-kg", "1.534")[1]
    assert "Spun at 310 m in 100 g instead of 250 it keeps 4750 m: it runs well" in out
    assert data(yarn, *words, "--finished-kg", "2.2")["finished"]["tex"] == pytest.approx(400)


def test_lace_of_coarse_fibre_hears_why_not_and_what_instead(yarn):
    code, out, _ = yarn("plan", *LACE, "--staple-mm", "40")
    assert code == 0
    assert "cannot be spun semi-worsted from 34 µm, 40 mm staple: a single would have about 47 fibres" in out
    assert "- thicker: 2-ply of 620 m in 100 g" in out
    assert "batt, a roving for hand-spinning" in out
    ways = [one["way"] for one in data(yarn, "plan", *LACE)["instead"]]
    assert ways == ["fewer plies", "thicker", "thicker", "more plies, thicker", "batt, roving or felt"]


def test_what_fibre_can_become_is_listed_with_skeins_hours_and_risk(yarn):
    words = ("become", "--fibre", "alpaca", "--um", "24.5", "--finished-kg", "8")
    frame = ("--spindles", "8", "--rpm", "3000", "--efficiency-pct", "75")
    rows = data(yarn, *words, *frame, "--system", "semi_worsted", "--system", "woollen")["yarns"]
    assert len(rows) == 10 * 4 * 2
    dk = next(
        row for row in rows if (row["product"], row["plies"], row["system"]) == ("DK", 2, "semi_worsted")
    )
    assert dk["length"]["mean"] == pytest.approx((8000 - 48) * 2.3)
    assert dk["skeins"]["expected"] == 78
    assert dk["single"]["basis"]["state"] == "bobbin"
    assert dk["frame_h"] == pytest.approx(6.2, abs=0.1)
    assert dk["softness"]["diameter_um"] == 24.5
    text = yarn(*words)[1]
    assert "Hours are of a frame with 8 spindles at 3000 turns/min that runs 80 % of the time" in text
    assert "Hours are of" not in yarn(*words, *frame)[1]
    tiny = yarn("become", "--fibre", "alpaca", "--finished-kg", "0.1")[1]
    assert "This gives less than one whole skein of any of them." in tiny
    assert "2 of 40 ways cannot be spun." in text
    assert len(yarn(*words, "--all")[1].splitlines()) > len(text.splitlines()) + 25
    assert (
        "Fibre: alpaca 24.5 µm, CV 24 %, 90 mm (diameter spread, staple as is usual, not measured)." in text
    )
    assert "Metres: finished weight less bobbin ends" in yarn(*words, "--working")[1]
    assert "How it came about" not in text
    short = yarn(*words, "--staple-mm", "30")[1]
    assert "No yarn can be spun of it." in short
    assert "30 mm is shorter than the 40 mm" in short


def test_a_finer_lot_lifts_it_and_what_separates_is_said(yarn):
    words = ("reach", *LACE, "--staple-mm", "90", "--dry-kg", "2", "--add", "merino:19.5:0.8kg")
    (lot,) = data(yarn, *words)["lots"]
    holds = lot["holds"]
    assert holds["dry_mass_g"] == pytest.approx(2000 * holds["share_frac"] / (1 - holds["share_frac"]))
    assert (holds["enough"], lot["runs_well"]["enough"]) == (True, False)
    code, out, _ = yarn(*words, "--working")
    assert code == 0
    assert "Mind: merino and wool differ by more than 8 µm" in out
    assert "only with the owner's recorded yes" in out
    assert "Share of merino" in out
    none = yarn("reach", *LACE, "--add", "wool:36:1kg")[1]
    assert "No lot that may be used lifts it" in none
    fine = yarn("reach", "2-ply 230 m/100g", "--fibre", "wool", "--add", "merino:19:1kg")[1]
    assert "Nothing need be added for it." in fine


def test_the_first_metres_correct_the_draft_or_say_that_nothing_is_proven(yarn):
    heavy = data(yarn, *DK, "--weighed", "2.26", "2.28", "2.25", "2.27", "2.29", "--finished-kg", "8")
    assert heavy["found"][0]["is_proven"]
    assert heavy["changes"] == {"draft": True, "twist": False, "ply": False}
    assert heavy["length_m"]["left_alone"] < heavy["length_m"]["corrected"]
    assert heavy["length_m"]["corrected"] == pytest.approx(18400, rel=0.005)
    out = yarn(*DK, "--weighed", "2.0", "2.3", "2.2")[1]
    assert "which so few do not prove" in out
    assert "Leave the draft as it is." in out
    dry = data(yarn, *DK, "--weighed", "2.05", "2.04", "2.06", "--regain-pct", "12")["found"][0]
    assert dry["difference_frac"] == pytest.approx(1.17 / 1.12 * 2.05 * 100 / 213.8 - 1, abs=2e-3)
    washed = data(yarn, *DK, "--washed", "10:9.5", "10:9.52", "10:9.48", "--plied-back", "120", "121")
    assert washed["plan"]["relaxation_frac"] == pytest.approx(0.05)
    assert washed["plan"]["ply_twist"]["tpm"] == pytest.approx(120.5)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("plan", "250 m/100g", "--fibre", "wool"), "said with its plies, such as 2-ply 250 m/100g."),
        (("plan", "2-ply 250 m/100g"), "--fibre is missing"),
        (("plan", *LACE, "--um", "20"), "given once for each of the 1 fibres"),
        (("plan", *LACE, "--fibre", "silk"), "given once for each of the 2 fibres"),
        (("plan", *LACE, "--share", "90"), "--share is “90.0”; it must be 100 together."),
        (("plan", *LACE, "--keep-m", "100"), "--finished-kg is missing"),
        (("plan", *LACE, "--alpha-m", "80", "--twist-k", "27"), "it must be one of them."),
        (("plan", *LACE, "--low-draft", "6"), "given both"),
        (("plan", *LACE, "--lot", "L001"), "one or the other"),
        (("become", "--fibre", "wool"), "--finished-kg is missing"),
        (("reach", *LACE), "--add is missing"),
        (("reach", *LACE, "--add", "merino"), "such as merino:19.5:0.8kg"),
        (DK, "weighed, untwisted, washed or plied back: one at least"),
        (("plan", "2/8", "--fibre", "wool"), "2/8 Nm"),
    ],
)
def test_what_is_missing_or_does_not_fit_is_said_in_a_sentence(yarn, words, sentence):
    code, out, err = yarn(*words)
    assert (code, out) == (1, "")
    assert sentence in err
    assert err.endswith(".\n")


def test_words_that_are_no_figures_are_not_understood(yarn, capsys):
    for words in (
        ("plan", *LACE, "--teeth", "many"),
        (*DK, "--washed", "10"),
        ("become", "--fibre", "wool", "--system", "felt"),
    ):
        with pytest.raises(SystemExit) as stopped:
            yarn(*words)
        assert stopped.value.code == 2
    assert "usage: doffer yarn become" in capsys.readouterr().err


@pytest.mark.slow
def test_lots_of_a_mill_are_read_with_their_yields_and_its_frames(doffer):
    assert doffer("demo").code == 0
    rows = doffer("yarn", "become", "--mill", "demo", "--lot", "L001", "--json").json
    assert rows["diameter_um"] == pytest.approx(23.1)
    dk = next(row for row in rows["yarns"] if (row["product"], row["plies"]) == ("DK", 2))
    assert dk["skeins"]["low"] < dk["skeins"]["high"]
    assert dk["frame_h"] > 0
    found = doffer("yarn", "plan", "2-ply 800 m/100g", "--mill", "demo", "--lot", "L016", "--json").json
    blends = [one for one in found["instead"] if one["way"] == "blend"]
    assert blends
    assert {one["add"] for one in blends} <= {"L015", "L026", "L034", "L035", "L036", "L037", "L038"}
    refused = doffer("yarn", "plan", "2-ply 800 m/100g", "--mill", "demo", "--lot", "L016", "--lot", "L004")
    assert refused.code == 1
    assert "Fibre of two owners does not go into one yarn" in refused.err
