"""A typed count said in the other systems, in the sentence that stands beside its field."""

import pytest

from doffer.exchange.count_words import class_of, designation, say_typed_count
from doffer.exchange.counts import parse_count
from doffer.tables.loader import load_tables

TABLES = load_tables()
THIN = "\u202f"


def said(typed: str, plies: int | None = None):
    return say_typed_count(parse_count(typed, TABLES), TABLES, plies=plies)


@pytest.mark.parametrize(
    ("typed", "plies", "headline"),
    [
        (
            "2/8 Nm",
            None,
            "2 strands of Nm 8: together 250 tex, Nm 4, 400 m in 100 g, 1984 yd/lb; before washing.",
        ),
        ("250 m/100g", None, "250 m in 100 g: 400 tex, Nm 2.50, 1240 yd/lb."),
        (
            "250 m/100g",
            2,
            "250 m in 100 g: 400 tex, Nm 2.50, 1240 yd/lb; each of 2 strands 200 tex, Nm 5.",
        ),
        ("1100 yd/lb", None, "1100 yd/lb: 451 tex, Nm 2.22, 222 m in 100 g."),
        ("Nm 8 singles", None, "Nm 8: 125 tex, 800 m in 100 g, 3968 yd/lb; before washing."),
        (
            "8/2 cotton",
            None,
            "2 strands of 8 Ne: together 148 tex, Nm 6.77, 677 m in 100 g, 3360 yd/lb; before washing.",
        ),
        ("50 gr/yd", None, "50 grains/yd: 3.54 ktex, 3.54 g/m, 28.2 m in 100 g."),
    ],
)
def test_a_count_is_said_in_the_systems_that_are_spoken(typed, plies, headline):
    assert said(typed, plies).headline.replace(THIN, " ") == headline


def test_a_bare_figure_beside_plies_says_how_the_other_thing_is_typed():
    assert said("Nm 8", 2).notes == ("Taken of the whole yarn. If each strand is meant, type 2/8 Nm.",)
    assert said("Nm 8").notes == said("250 m/100 g", 2).notes == ()


def test_plies_in_the_count_and_other_plies_beside_it_are_told_apart():
    assert "This count says 2 plies itself" in said("2/8 Nm", 3).notes[0]
    assert said("2/8 Nm", 2).notes == ()


def test_a_yarn_says_its_class_and_a_roving_has_none():
    assert said("2/8 Nm").sold_as == "Class 1, Super Fine; also sold as fingering."
    assert said("50 gr/yd").sold_as == ""
    assert class_of(parse_count("40 m/100 g", TABLES), TABLES).name == "Jumbo"


def test_the_designation_names_the_single_and_the_resultant():
    assert designation(parse_count("2/8 Nm", TABLES)) == ("125 tex x 2", "R 250 tex / 2")
    assert designation(parse_count("1/8 Nm", TABLES)) == ("125 tex",)
    assert designation(parse_count("Nm 8", TABLES)) == ()
    for words in designation(parse_count("20/2 Ne", TABLES)):
        assert parse_count(words, TABLES).plies == 2
