"""Differences in words, verdicts, and metamerism."""

from __future__ import annotations

import numpy as np
import pytest

from doffer.errors import InputError, RefusedError
from doffer.fibre.colour.chart import Sketch
from doffer.fibre.colour.difference import de_cmc
from doffer.fibre.colour.metamerism import metamerism_de
from doffer.fibre.colour.spectrum import lab_of_reflectance, light
from doffer.fibre.colour.verdict import Formula, Tolerance, Verdict, judge, usual_tolerance
from doffer.fibre.colour.words import difference_words
from doffer.tables.loader import load_tables

TABLES = load_tables()
LIGHTS = tuple(light(TABLES, name) for name in ("D65", "A", "LED-B3"))


def polar(lightness: float, chroma: float, hue_deg: float) -> np.ndarray:
    hue = np.radians(hue_deg)
    return np.array([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])


@pytest.mark.parametrize(
    ("sample", "words"),
    [
        (polar(60, 30, 40), ("lighter",)),
        (polar(45, 30, 40), ("darker",)),
        (polar(50, 38, 40), ("stronger",)),
        (polar(50, 22, 40), ("less strong",)),
        (polar(50, 30, 55), ("yellower",)),
        (polar(50, 30, 25), ("redder",)),
        (polar(46, 24, 40), ("darker", "less strong")),
    ],
)
def test_each_way_of_differing_from_an_orange_has_its_word(sample, words):
    assert difference_words(polar(50, 30, 40), sample) == words


@pytest.mark.parametrize(
    ("hue_deg", "forward", "back"),
    [
        (0, "yellower", "bluer"),
        (90, "greener", "redder"),
        (137, "greener", "yellower"),
        (180, "bluer", "yellower"),
        (270, "redder", "greener"),
        (350, "yellower", "bluer"),
        (85, "greener", "redder"),
    ],
)
def test_a_hue_turns_towards_the_next_hue_that_it_is_not_already(hue_deg, forward, back):
    standard = polar(50, 30, hue_deg)
    assert difference_words(standard, polar(50, 30, hue_deg + 12)) == (forward,)
    assert difference_words(standard, polar(50, 30, hue_deg - 12)) == (back,)


@pytest.mark.parametrize(
    ("sample", "words"),
    [
        ((50, 3, 0), ("redder",)),
        ((50, -3, 0), ("greener",)),
        ((50, 0, 3), ("yellower",)),
        ((50, 0, -3), ("bluer",)),
    ],
)
def test_greys_are_told_by_red_green_and_yellow_blue(sample, words):
    assert difference_words(np.array([50.0, 0, 0]), np.array(sample, dtype=float)) == words


def test_equal_colours_and_differences_too_small_to_tell_have_no_words():
    lab = polar(50, 30, 40)
    assert difference_words(lab, lab) == ()
    assert difference_words(lab, polar(50.1, 30, 40), least_de=0.5) == ()
    assert difference_words(lab, polar(50.1, 30, 40)) == ("lighter",)


def test_the_usual_tolerance_is_cmc_one_and_one_and_a_half():
    assert usual_tolerance(TABLES) == Tolerance(Formula.CMC, 1.0, 1.5)


@pytest.mark.parametrize(("times", "verdict"), [(0.9, Verdict.PASS), (1.2, Verdict.ASK), (1.6, Verdict.FAIL)])
def test_a_measured_sample_passes_asks_or_fails(times, verdict):
    standard, step = polar(50, 30, 40), np.array([1.0, 0, 0])
    for _ in range(30):  # the lightness step that is `times` away
        step *= times / float(de_cmc(standard, standard + step))
    found = judge(standard, standard + step, usual_tolerance(TABLES))
    assert (found.verdict, found.words) == (verdict, ("lighter",))
    assert found.de == pytest.approx(times)


def test_a_tolerance_may_be_written_in_ciede2000():
    standard = np.array([46.6, -20.9, 19.2])
    found = judge(standard, np.array([46.0, -22, 18]), Tolerance(Formula.DE2000, 1.2, 1.2))
    assert found.verdict is Verdict.PASS
    assert found.de == pytest.approx(1.192, abs=1e-3)


def test_a_photograph_passes_and_fails_nothing():
    with pytest.raises(RefusedError, match=r"a photograph may be off by 3 to 8\. Measure the fibre"):
        judge(np.zeros(3), Sketch((0.0, 0.0, 0.0), 3, 8), usual_tolerance(TABLES))


def test_a_tolerance_rises():
    with pytest.raises(InputError, match="above zero and rising"):
        Tolerance(Formula.CMC, 1.5, 1.0)


def under_all(reflectance: np.ndarray) -> np.ndarray:
    return np.stack([lab_of_reflectance(reflectance, one) for one in LIGHTS])


def metameric_pair() -> tuple[np.ndarray, np.ndarray]:
    """Two spectra of one colour under D65: the second has something added that D65 does not see."""
    blind = np.linalg.svd(LIGHTS[0].weights.T)[2][3:]  # directions without effect on X, Y and Z
    wiggle = blind.T @ (blind @ np.sin(np.linspace(0, 9, 31)))
    one = np.full(31, 0.4)
    return one, one + 0.1 * wiggle / np.abs(wiggle).max()


def test_a_metameric_pair_matches_under_the_first_light_only():
    one, other = metameric_pair()
    assert under_all(one)[0] == pytest.approx(under_all(other)[0], abs=1e-9)
    index = metamerism_de(under_all(one), under_all(other), LIGHTS)
    assert set(index) == {"A", "LED-B3"}
    assert min(index.values()) > 0.3


def test_what_differs_under_the_first_light_is_taken_out_before():
    one, _ = metameric_pair()
    darker = one * 0.97  # the same under every light, only darker
    index = metamerism_de(under_all(one), under_all(darker), LIGHTS)
    assert max(index.values()) < 1e-9


def test_metamerism_needs_two_lights():
    with pytest.raises(InputError, match="two or more"):
        metamerism_de(np.zeros((1, 3)), np.zeros((1, 3)), LIGHTS[:1])


@pytest.mark.parametrize(
    ("sample", "word"),
    [((40, 44, 26), "redder"), ((74, 4, 58), "yellower"), ((22, 3, -24), "bluer"), ((50, -40, 5), "greener")],
)
def test_another_colour_altogether_is_named_by_where_it_is_and_not_by_the_way_there(sample, word):
    far = {"redder": (46.6, -20.9, 19.2), "yellower": (22, 3, -24)}.get(word, (40.0, 44.0, 26.0))
    assert word in difference_words(np.array(far), np.array(sample, dtype=float))
