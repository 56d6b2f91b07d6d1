"""A count at the terminal: all systems, with strands, and questions where there are two meanings."""

import json

import pytest

from doffer.cli.main import main
from doffer.pictures.wording import THIN


@pytest.fixture
def count(capsys):
    """`count("2/8 Nm")` -> exit code, what was printed, what was said on the error stream."""

    def ask(*words):
        code = main(["count", *words])
        said = capsys.readouterr()
        return code, said.out.replace(THIN, " "), said.err

    return ask


def test_two_strands_of_metric_eight_are_said_in_all_systems(count):
    code, out, _ = count("2/8 Nm")
    assert code == 0
    assert "2 strands of Nm 8: together 250 tex, Nm 4, 400 m in 100 g, 1984 yd/lb; before washing." in out
    rows = {line.split("  ")[0]: line.split() for line in out.splitlines() if line}
    assert rows["tex"][-2:] == ["125", "250"]
    assert rows["metric count"][-2:] == ["8", "4"]
    assert rows["worsted count"][-2:] == ["7.086", "3.543"]
    assert rows["cotton count"][-2:] == ["4.724", "2.362"]
    assert rows["yards per pound"][-2:] == ["3968", "1984"]
    assert "also sold as fingering" in out
    assert "125 tex x 2 or R 250 tex / 2 (in the style of ISO 1139, from memory, unverified)" in out


def test_strands_that_were_not_said_can_be_given_beside(count):
    _, out, _ = count("1100 yd/lb")
    assert "each strand" not in out
    assert "give --plies" in out
    _, out, _ = count("1100 yd/lb", "--plies", "2")
    assert "each of 2 strands 225 tex" in out


@pytest.mark.parametrize(
    ("typed", "to", "said"),
    [
        ("450 m/100g", "tex", "222.2 tex\n"),
        ("450 m/100g", "yd/lb", "2232 yards per pound\n"),
        ("2/8 Nm", "Ne", "2.362 cotton count; each of 2 strands 4.724 cotton count\n"),
        ("3 run", "woollen_cut", "16 woollen cut\n"),
        ("50 gr/yd", "g/m", "3.543 grams per metre\n"),
        ("80 tex", "m/100 g", "1250 metres per 100 g\n"),
        ("12s worsted", "Nm", "13.55 metric count\n"),
    ],
)
def test_one_system_alone_is_said_in_one_line(count, typed, to, said):
    assert count(typed, "--to", to) == (0, said, "")


def test_programs_get_what_was_said_and_what_follows(count):
    data = json.loads(count("2/8s worsted", "--json")[1])
    assert data["typed"]["system"] == "new_worsted"
    assert data["typed"]["said_of"] == "single"
    assert data["typed"]["plies"] == 2
    assert data["single"]["new_worsted"] == pytest.approx(8, rel=1e-12)
    assert data["yarn"]["tex"] == pytest.approx(221.453, abs=5e-4)
    assert data["thickness_class"]["name"] == "Super Fine"
    assert json.loads(count("Nm 8", "--to", "tex", "--json")[1])["yarn"] == {"tex": 125}


def test_the_working_shows_factor_and_source(count):
    out = count("12 NeW", "--working")[1]
    assert "tex = factor ÷ count" in out
    assert "560 yd per lb" in out
    assert "by the hank as it was given" in count("2/16 leas of 300 yd/lb", "--working")[1]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["2/8"], "2/8 Nm is 250 tex, 2/8s worsted is 221 tex, and in cotton 8/2 Ne is 148 tex."),
        (["64s"], "64s is a grade of wool"),
        (["8 ply"], "a number of strands, and in some countries a thickness"),
        (["2/8 Nm", "--plies", "3"], "--plies is “3”; it must be 2 as “2/8 Nm” says itself, or left out."),
        (["250 m/100g", "--plies", "40"], "from 1 to 8"),
        (["2/8 Nm", "--to", "hanks of 300 yd/lb"], "There is no count system “hanks of 300 yd/lb”."),
        (["2/8 Nm", "--to", "wpi"], "There is no count system “wpi”. Known are nm, ne_cotton"),
    ],
)
def test_what_has_two_meanings_is_asked_in_one_sentence(count, words, sentence):
    code, out, err = count(*words)
    assert (code, out) == (1, "")
    assert sentence in err
    assert err.endswith(".\n")
