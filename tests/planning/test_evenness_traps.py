"""Every trap is found where it lies, and nowhere else."""

import dataclasses

import pytest

from doffer.planning.evenness.traps import traps
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Part, Passage, Pick, Toss
from doffer.tables.loader import load_tables

TABLES = load_tables()


def part(name, share, staple_mm=70.0):
    return Part(name, share, 25, 0.25, staple_mm, 0.2, 1.31)


FEED = Feed(6000, (part("white", 0.8), part("black", 0.2)), 24)
GOOD = (Pick(20), Toss(10), Pick(20), Toss(10), Card(60), Draw(4, 4), Draw(6, 6))


def keys(feed=FEED, steps=GOOD, **more):
    return [trap.key for trap in traps(Passage(feed, steps, 3000), TABLES, **more)]


def test_a_good_passage_has_no_trap():
    assert keys() == []


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"laying": Laying.HANDFULS}, "pure_handfuls"),
        ({"has_half_layer_ends": False}, "full_layer_first"),
        ({"lot_dry_mass_g": 170.0}, "small_lot"),
        ({"parts": (part("white", 0.8, 70), part("black", 0.2, 90))}, "unlike_lengths"),
    ],
)
def test_a_trap_of_the_feed_is_found(changes, key):
    assert keys(dataclasses.replace(FEED, **changes)) == [key]


def test_tossing_before_the_first_pick_is_tossing_pure_handfuls():
    assert keys(steps=(Toss(200), Pick(20), Card(60))) == ["pure_handfuls"]


def test_twenty_four_layers_in_twenty_four_cans_are_in_step():
    drawn = (Pick(20), Card(60), Draw(4, 4), Draw(6, 6))
    assert keys(steps=drawn) == ["cans_in_step"]
    assert keys(dataclasses.replace(FEED, layers=23), drawn) == []
    in_step = (*GOOD[:5], Draw(4, 4, cans=Cans.IN_STEP))
    assert keys(steps=in_step) == ["cans_in_step"]


def test_lengths_up_to_a_quarter_apart_are_no_trap():
    lots = (part("white", 0.8, 80), part("black", 0.2, 100))
    assert keys(dataclasses.replace(FEED, parts=lots)) == []


def test_what_is_not_drawn_is_not_warned_of_drawing():
    lots = dataclasses.replace(FEED, parts=(part("white", 0.8, 70), part("black", 0.2, 90)))
    assert keys(lots, GOOD[:5]) == []
    assert keys(lots, GOOD) == ["unlike_lengths"]


def test_cans_in_step_are_told_in_one_plain_sentence():
    trap = traps(Passage(FEED, (Pick(20), Card(60), Draw(4, 4), Draw(6, 6)), 3000), TABLES)[0]
    assert trap.sentence.startswith("With 24 sets of layers and 24 cans, each can may hold a whole number")
    assert "a third of a set short" in trap.instead


@pytest.mark.parametrize(
    ("wavelength_mm", "found"), [(1200, True), (600, True), (3550, True), (1500, False), (9600, True)]
)
def test_stripes_near_a_multiple_of_a_row_make_a_pattern(wavelength_mm, found):
    assert keys(wavelengths_mm=(wavelength_mm,), yarn_per_row_mm=1200) == (["pooling"] if found else [])


def test_each_sentence_says_what_to_do_instead():
    every = traps(
        Passage(
            Feed(170, (part("white", 0.8), part("black", 0.2, 100)), 24, Laying.HANDFULS, False), GOOD, 3000
        ),
        TABLES,
    )
    assert [trap.key for trap in every] == [
        "pure_handfuls",
        "full_layer_first",
        "small_lot",
        "unlike_lengths",
    ]
    assert all(text.endswith(".") for trap in every for text in (trap.sentence, trap.instead))
    assert "180 g or more" in every[2].instead
    assert "43" in every[3].sentence
