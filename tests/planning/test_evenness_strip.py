"""A strip of 30 cm shows the waves shorter than itself, and machines are judged by no more than that."""

import dataclasses

import numpy as np
import pytest

from doffer.fibre.variation import Signals
from doffer.planning.evenness.figures import CARD_HOLD_UP, scaled, usual_figures, usual_steps
from doffer.planning.evenness.learn import Measured, learn
from doffer.process.evenness import stream
from doffer.process.evenness.passage import Card, Feed, Part, Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through
from doffer.process.evenness.strip_window import strip_freedom, within_variance
from doffer.tables.loader import load_tables

FIGURES = usual_figures(load_tables())
PIECE_G, STRIP_G = 0.03, 0.9  # 1 cm and 30 cm of 3 g/m
PARTS = tuple(Part(name, share, 25, 0.25, 70, 0.2, 1.31) for name, share in (("white", 0.8), ("black", 0.2)))
FEED = Feed(6000, PARTS, 24, weighing_sd_g=1.0)
BLACK = Signals(("black",), np.array([[0.0, 1.0]]))
CARDED = Passage(FEED, usual_steps(FIGURES, passes=1), 3000)


def photo(route, *, strips=1, variance=None, **more):
    """What a photo reads that reads what there is."""
    if variance is None:
        variance = within_variance(through(route, BLACK), piece_g=PIECE_G, strip_g=STRIP_G)[0]
    told = {"within_g": STRIP_G, "n_strips": strips} | more
    return Measured(route, BLACK, PIECE_G, float(variance) ** 0.5, 30 * strips, **told)


@pytest.mark.parametrize("strips", [1, 3, 10])
def test_a_perfect_photo_of_machines_as_believed_leaves_the_figures_alone(strips):
    moved = learn(FIGURES, [photo(CARDED, strips=strips)]).figures
    for before, after in zip(FIGURES, moved, strict=True):
        if before.is_unsure and before.low > 0:
            noise = np.log(before.high / before.low) / (2 * 1.96)
            assert abs(np.log(after.value / before.value)) < 0.35 * noise / strips**0.5 + 1e-6, before.key


def test_what_a_strip_shows_is_far_less_than_what_the_lot_holds():
    variation = through(CARDED, BLACK)
    whole = between_variance(variation, masses_g=np.array([PIECE_G]))[0, 0]
    within = within_variance(variation, piece_g=PIECE_G, strip_g=STRIP_G)[0]
    assert 100 * whole**0.5 > 40 * 100 * within**0.5
    lot = within_variance(variation, piece_g=PIECE_G, strip_g=5e5)[0]
    assert lot == pytest.approx(whole, rel=0.01)


def test_a_strip_has_few_free_waves_where_shades_wander_and_many_where_they_are_noise():
    wandering = strip_freedom(through(CARDED, BLACK), piece_g=PIECE_G, strip_g=STRIP_G)[0]
    assert 1 <= wandering < 4
    noise = through(Passage(FEED, (Pick(0, clump_g=0.002),), 3000), BLACK)
    noise = dataclasses.replace(noise, line_variance=0 * noise.line_variance)
    noise = dataclasses.replace(noise, density_g=np.ones_like(noise.density_g))
    assert strip_freedom(noise, piece_g=PIECE_G, strip_g=STRIP_G)[0] > 10


def test_the_readings_own_error_weakens_it():
    dark = photo(CARDED, strips=3, variance=1e-6)
    unsure = dataclasses.replace(dark, variance_error=5e-6)
    moves = []
    for one in (dark, unsure):
        after = {figure.key: figure for figure in learn(FIGURES, [one]).figures}
        moves.append(abs(np.log(after[CARD_HOLD_UP].value / 60)))
    assert moves[1] < 0.5 * moves[0]


def strips_of(route, *, truth, rng, seed, strips):
    """Variance of 1 cm pieces within strips cut anywhere from a lot mixed cell by cell."""
    shares = stream.run(scaled(route, truth), cell_g=PIECE_G, seed=seed)[-1][:, 1].astype(np.float64)
    cells = round(STRIP_G / PIECE_G)
    starts = rng.integers(len(shares) // 5, 4 * len(shares) // 5, strips)
    return np.mean([shares[at : at + cells].var() for at in starts])


def small(steps, lot_g=1500.0, layers=15):
    return Passage(
        dataclasses.replace(FEED, lot_dry_mass_g=lot_g, layers=layers, weighing_sd_g=0), steps, 3000
    )


def test_strips_of_a_simulated_lot_vary_as_the_closed_form_says():
    route = small((Pick(20, clump_g=0.3), Toss(10), Card(20)))
    rng = np.random.default_rng(2)
    found = np.mean([strips_of(route, truth={}, rng=rng, seed=seed, strips=60) for seed in range(4)])
    expected = within_variance(through(route, BLACK), piece_g=PIECE_G, strip_g=STRIP_G)[0]
    assert found == pytest.approx(expected, rel=0.25)


def test_photos_of_simulated_lots_hold_the_true_card_as_often_as_they_say():
    card = next(one for one in FIGURES if one.key == CARD_HOLD_UP)
    card = dataclasses.replace(card, value=40, low=40 / 3, high=40 * 3)
    route, rng, held, gaps = (
        small((Pick(20, clump_g=0.3), Toss(10), Card(40))),
        np.random.default_rng(6),
        [],
        [],
    )
    for seed in range(24):
        truth = float(np.exp(np.log(3) / 1.96 * rng.standard_normal()))
        for _ in range(3):
            variance = strips_of(route, truth={CARD_HOLD_UP: truth}, rng=rng, seed=seed, strips=3)
            after = learn([card], [photo(route, strips=3, variance=variance)]).figures[0]
            held.append(after.low <= 40 * truth <= after.high)
            gaps.append(np.log(after.value / (40 * truth)))
    assert 0.88 <= np.mean(held) <= 1.0
    assert abs(np.mean(gaps)) < 0.15
