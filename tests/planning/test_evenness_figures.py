"""Figures with their ends: which way is worse, what a passage has a use for, each pass its own clumps."""

import pytest

from doffer.errors import InputError
from doffer.planning.evenness.figures import (
    CARD_HOLD_UP,
    CLUMPS,
    GRAB,
    PICK_HOLD_UP,
    SHARED,
    WEIGHING,
    Figure,
    FigureBand,
    at_ends,
    scaled,
    usual_figures,
    usual_steps,
)
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Toss
from doffer.tables.loader import load_tables
from doffer.working import Status

FIGURES = usual_figures(load_tables())
BY_KEY = {one.key: one for one in FIGURES}
PARTS = tuple(Part(name, 0.5, 25, 0.25, 70, 0.2, 1.31) for name in ("black", "white"))


ONCE = (Draw(4, 4.0),)


def passage(passes=4, draws=ONCE, **feed):
    return Passage(Feed(6000, PARTS, 24, **feed), usual_steps(FIGURES, passes=passes, draws=draws), 3000)


def test_usual_steps_give_every_pass_its_clumps():
    picks = [step for step in passage().steps if isinstance(step, Pick)]
    assert [step.clump_g for step in picks] == [0.3, 0.05, 0.02, 0.02]
    assert [type(step) for step in passage(1).steps] == [Pick, Toss, Card, Draw]


def test_each_pass_keeps_its_own_clumps_when_one_figure_is_scaled():
    picks = [step for step in scaled(passage(), {CLUMPS[1]: 2.0}).steps if isinstance(step, Pick)]
    assert [step.clump_g for step in picks] == [0.3, 0.1, 0.02, 0.02]
    last = [step for step in scaled(passage(), {CLUMPS[2]: 2.0}).steps if isinstance(step, Pick)]
    assert [step.clump_g for step in last] == [0.3, 0.05, 0.04, 0.04]


@pytest.mark.parametrize(("key", "worse"), [(PICK_HOLD_UP, 5), (CARD_HOLD_UP, 40), (GRAB, 30), (SHARED, 0.2)])
def test_the_worse_end_is_the_one_that_mixes_less(key, worse):
    assert BY_KEY[key].end(worse=1.0) == pytest.approx(worse)
    assert BY_KEY[key].end(worse=0.0) == pytest.approx(BY_KEY[key].value)


def test_half_way_is_half_way_in_ratios():
    assert BY_KEY[GRAB].end(worse=0.5) == pytest.approx((10 * 30) ** 0.5)
    assert BY_KEY[PICK_HOLD_UP].end(worse=-0.5) == pytest.approx((20 * 50) ** 0.5)


def test_only_what_the_passage_uses_counts():
    used = {one.key for one in FigureBand(FIGURES).used_in(passage(1, draws=()))}
    assert used == {PICK_HOLD_UP, GRAB, CARD_HOLD_UP, CLUMPS[0]}
    assert WEIGHING in {one.key for one in FigureBand(FIGURES).used_in(passage(weighing_sd_g=1.0))}


def test_a_shared_part_is_added_and_stays_a_share():
    drawn = passage(draws=(Draw(4, 4.0, 0.95),))
    worst = at_ends(drawn, {BY_KEY[SHARED]: 1.0})
    assert [step.correlation for step in worst.steps if isinstance(step, Draw)] == [1.0]
    usual = at_ends(passage(), {BY_KEY[SHARED]: 0.5})
    assert [step.correlation for step in usual.steps if isinstance(step, Draw)] == pytest.approx([0.1])


def test_own_figures_take_the_place_of_guesses():
    own = Figure(CARD_HOLD_UP, "what the card holds", 58, 52, 64, "g", "own", Status.OWN)
    band = FigureBand(usual_figures(load_tables(), [own]))
    assert band.own == (own,)
    assert len(band.guessed) == len(FIGURES) - 1
    assert own.working().formula == "measured by the mill"


def test_ends_that_do_not_rise_are_refused():
    with pytest.raises(InputError, match="three rising numbers"):
        Figure(GRAB, "one grab out of the bin", 10, 12, 30, "g", "own", Status.OWN)
