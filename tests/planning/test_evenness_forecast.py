"""What each stage leaves, in points and in shade, low, likely and high; what is guessed; what it costs."""

import dataclasses

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.fibre.colour.blend import default_mixing
from doffer.fibre.colour.spectrum import light
from doffer.planning.evenness.cost import lost_and_minutes, stage_costs
from doffer.planning.evenness.figures import (
    CARD_HOLD_UP,
    GRAB,
    Figure,
    sandwich_enters_g,
    usual_figures,
    usual_steps,
)
from doffer.planning.evenness.forecast import forecast, one_more_pass
from doffer.planning.evenness.slope import slope_lab, spectra_of_labs
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Toss
from doffer.tables.loader import load_tables
from doffer.working import Status

TABLES = load_tables()
FIGURES = usual_figures(TABLES)
SEEN_IN = light(TABLES)


def part(name, share):
    return Part(name, share, 25, 0.25, 70, 0.2, 1.31)


FEED = Feed(6000, (part("dark", 0.2), part("silver", 0.8)), 24)


def passage(passes=2, draws=(4, 6), feed=FEED):
    drawn = tuple(Draw(ends, ends) for ends in draws)
    return Passage(feed, usual_steps(FIGURES, passes=passes, draws=drawn), 3000)


def slope(labs=((25, 1, 3), (65, 0, 3))):
    spectra = spectra_of_labs(np.array(labs), SEEN_IN)
    return slope_lab(spectra, FEED.shares, SEEN_IN, mixing=default_mixing(TABLES))


def told(route=None, **more):
    return forecast(route or passage(), tables=TABLES, figures=FIGURES, **more)


# Computed by the stand-alone closed form: 6 kg, 20/80, 24 layers, sd of 1 g in points
@pytest.mark.parametrize(("passes", "points"), [(1, 1.24), (2, 0.57), (3, 0.27)])
def test_the_spread_of_a_gram_is_that_of_the_stand_alone_closed_form(passes, points):
    last = told(passage(passes)).stages[-1]
    assert last.parts[0].points.mid == pytest.approx(points, rel=0.05)


@pytest.mark.parametrize(
    ("layers", "passes", "card_only"),
    [
        (120, 0, 3.85),
        (60, 0, 7.49),
        (24, 0, 16.5),
        (120, 1, 2.80),
        (60, 1, 5.13),
        (24, 2, 3.77),
        (6, 3, 2.21),
    ],
)
def test_the_spread_at_the_card_is_that_of_the_stand_alone_closed_form(layers, passes, card_only):
    # reckoned without clumps
    steps = (*(Pick(20), Toss(10)) * passes, Card(60))
    route = Passage(dataclasses.replace(FEED, layers=layers), steps, 3000)
    assert told(route).stages[-1].parts[0].points.mid == pytest.approx(card_only, rel=0.05)


def test_stages_are_named_as_a_mill_says_them():
    names = [stage.name for stage in told().stages]
    assert names == ["fed", "picked once", "tossed", "picked twice", "tossed", "carded", "drawn 4", "drawn 6"]
    assert [stage.key for stage in told().stages][-3:] == ["card", "draw", "draw"]


def test_every_stage_lies_between_its_ends_and_the_guess_is_two_and_a_half_fold():
    stages = told().stages
    for stage in stages:
        points = stage.parts[0].points
        assert points.low <= points.mid <= points.high
    last = stages[-1].parts[0].points
    assert 2 < last.high / last.mid < 3.6
    assert 1.8 < last.mid / last.low < 3


def test_measured_figures_narrow_the_range():
    own = [
        dataclasses.replace(one, low=0.95 * one.value, high=1.05 * one.value, status=Status.OWN)
        for one in FIGURES
    ]
    sure = forecast(passage(), tables=TABLES, figures=own).stages[-1].parts[0].points
    assert sure.high / sure.low < 1.2
    assert told().figures.guessed == FIGURES
    said = forecast(passage(), tables=TABLES, figures=own).figures_sentence
    assert said == "All figures of the machines are the mill's own."


def test_the_words_say_which_figures_are_guesses():
    own = Figure(CARD_HOLD_UP, "what the card holds", 60, 55, 65, "g", "own", Status.OWN)
    mixed = [own if one.key == CARD_HOLD_UP else one for one in FIGURES]
    said = forecast(passage(), tables=TABLES, figures=mixed)
    assert said.figures.own == (own,)
    assert said.figures_sentence.startswith("The mill's own: what the card holds. Guessed, not measured here")


def test_the_verdict_names_the_stripes_and_what_one_more_pass_does():
    bad = told(passage(1, draws=(4,)), slope_lab=slope())
    assert bad.stages[-1].is_visible
    assert bad.stages[-1].sentence.startswith("stripes of about ")
    assert bad.stages[-1].sentence.endswith(" apart: seen")
    assert bad.verdict.startswith(bad.stages[-1].sentence + "; one more pass: ")
    assert bad.stages[0].sentence.startswith("bands of about ")


def test_lots_of_nearly_one_shade_need_no_more_passes():
    even = told(slope_lab=slope(((64.5, 0, 3), (65, 0, 3))))
    assert even.verdict.endswith(" apart: not seen")
    assert (even.stages[-1].is_visible, even.stages[-1].may_be_visible) == (False, False)


def test_the_floor_is_told_apart_from_stripes():
    fine = dataclasses.replace(passage(), strand_tex=100)
    assert told(fine, slope_lab=slope()).floor_de == pytest.approx(
        told(slope_lab=slope()).floor_de * 30**0.5, rel=1e-6
    )
    assert "no stripe" in told(slope_lab=slope()).floor_sentence
    more = told(passage(3, draws=(6, 6)), slope_lab=slope())
    assert more.floor_de == pytest.approx(told(slope_lab=slope()).floor_de)


@pytest.mark.parametrize(("strand_tex", "floor_de"), [(100, 2.0), (3000, 0.37)])
def test_black_and_white_half_and_half_are_heather_by_fibre_counts_alone(strand_tex, floor_de):
    # Computed on its own: a slope of 45.7 to 46, pieces of 1 cm
    half = Feed(6000, (part("black", 0.5), part("white", 0.5)), 24)
    weights = np.array([[23.0, -23.0], [0, 0], [0, 0]])
    route = Passage(half, usual_steps(FIGURES, passes=1), strand_tex)
    assert told(route, slope_lab=weights).floor_de == pytest.approx(floor_de, rel=0.05)


def test_the_curve_falls_with_length_and_the_label_gets_safer():
    answer = told(slope_lab=slope())
    points = [one.points.mid for one in answer.curve]
    assert points == sorted(points, reverse=True)
    assert answer.curve_part == "dark"
    risk = answer.label[0]
    assert risk.low.chance <= risk.mid.chance <= risk.high.chance
    assert risk.mid.chance < 1e-4
    assert told(passage(1, draws=())).label[0].mid.chance > 0.3


def test_the_figure_that_matters_most_comes_first():
    reach = [one.reach for one in told().matters]
    assert reach == sorted(reach, reverse=True)
    assert told().matters[0].figure.key == GRAB
    assert told().matters[0].worse_factor == pytest.approx(1.31 / 0.57, rel=0.05)


def test_one_more_pass_is_picked_before_the_card():
    more = one_more_pass(passage(2), FIGURES)
    assert [type(step) for step in more.steps][:6] == [Pick, Toss, Pick, Toss, Pick, Toss]
    assert len(more.steps) == len(passage(3).steps)


def test_costs_are_fibre_lost_and_minutes():
    costs = stage_costs(passage(), TABLES, ("alpaca", "wool"))
    loss = (0.2 * 10 / 3 + 0.8 * 6.5 / 3) / 100
    assert costs[1].lost_g == pytest.approx(6000 * loss)
    assert costs[1].minutes == pytest.approx(6 / 5 * 60 + 10)
    assert costs[3].minutes == pytest.approx(6 * (1 - loss) / 5 * 60)
    assert lost_and_minutes(costs).lost_g == pytest.approx(sum(one.lost_g for one in costs))
    assert told(costs=costs).stages[1].lost_g == pytest.approx(6000 * loss)


def test_costs_need_a_fibre_for_every_lot():
    with pytest.raises(InputError, match="one for each of the 2 lots"):
        stage_costs(passage(), TABLES, ("alpaca",))


def test_the_working_carries_every_figure_with_its_status():
    stripes, floor = told().working
    assert stripes.result.value == pytest.approx(told().stages[-1].parts[0].points.mid / 100)
    assert {part.status for part in stripes.parts} == {Status.PRACTICE}
    assert floor.result.value == pytest.approx(0.0031, abs=0.0001)


WHITE_GREY = Feed(6000, (part("white", 0.8), part("grey", 0.2)), 120, weighing_sd_g=1.0)


@pytest.mark.parametrize(("layers", "sandwich_g"), [(120, 45.0), (60, 90.0), (120, 0.0)])
def test_one_more_pass_is_what_the_forecast_of_one_more_pass_says(layers, sandwich_g):
    feed = dataclasses.replace(WHITE_GREY, layers=layers)
    spectra = spectra_of_labs(np.array([(88.0, 0, 9), (60.0, 0, 5)]), SEEN_IN)
    weights = slope_lab(spectra, feed.shares, SEEN_IN, mixing=default_mixing(TABLES))
    once, twice = (
        Passage(feed, usual_steps(FIGURES, passes=passes, draws=(Draw(4, 4.0),), sandwich_g=sandwich_g), 3000)
        for passes in (1, 2)
    )
    assert one_more_pass(once, FIGURES) == twice
    after = told(twice, slope_lab=weights).stages[-1]
    seen = "seen" if after.is_visible else "likely not seen, but not sure"
    said = seen if after.may_be_visible else "not seen"
    assert told(once, slope_lab=weights).verdict.endswith(f"; one more pass: {said}")


def test_one_more_pass_than_the_fibre_should_see_is_not_offered():
    bad = told(passage(1, draws=(4,)), slope_lab=slope(), most_passes=1)
    assert bad.verdict.endswith(", but this fibre should see one pass at most")
    assert "at most" not in told(passage(1, draws=(4,)), slope_lab=slope(), most_passes=2).verdict


def test_lots_of_one_wool_cannot_miss_the_label_together():
    wool = tuple(dataclasses.replace(one, fibre="wool") for one in FEED.parts)
    only = told(passage(1, draws=(), feed=dataclasses.replace(FEED, parts=wool))).label
    assert [(one.name, one.high.chance) for one in only] == [("wool", 0.0)]
    three = (part("dark", 0.2), part("pale", 0.3), part("silver", 0.5))
    fibres = ("alpaca", "wool", "suri")
    named = tuple(dataclasses.replace(one, fibre=fibre) for one, fibre in zip(three, fibres, strict=True))
    label = told(passage(1, draws=(), feed=dataclasses.replace(FEED, parts=named))).label
    assert [one.name for one in label] == ["alpaca", "wool"]
    assert label[0].points.mid == pytest.approx(label[1].points.mid)


def test_only_what_the_nip_takes_of_a_sandwich_counts_and_how_much_is_held_has_a_range():
    held = TABLES.evenness_figures["sandwich_held"]
    assert sandwich_enters_g(FIGURES, TABLES, laid_g=60) == pytest.approx(60 * held.value)
    most_g = TABLES.evenness_figures["sandwich_most"].value
    assert sandwich_enters_g(FIGURES, TABLES, laid_g=1140) == pytest.approx(most_g * held.value)
    steps = usual_steps(FIGURES, passes=2, sandwich_g=90.0)
    assert [step.sandwich_g for step in steps if isinstance(step, Pick)] == [90.0, 0.0]
    feed = dataclasses.replace(FEED, layers=60)
    answer = told(Passage(feed, usual_steps(FIGURES, passes=1, sandwich_g=90.0), 3000), slope_lab=slope())
    assert "sandwich_held" in [matter.figure.key for matter in answer.matters]
    assert "how much of a sandwich enters the nip together" in answer.figures_sentence


def test_small_lots_that_are_drawn_have_a_wider_range_and_say_so():
    small = dataclasses.replace(FEED, lot_dry_mass_g=1500)
    drawn = told(passage(1, draws=(4, 6), feed=small), slope_lab=slope())
    carded = drawn.stages[-3].apart_de
    last = drawn.stages[-1].apart_de
    assert last.high / last.mid > 1.3 * carded.high / carded.mid
    assert "small_lot_drawn" in [trap.key for trap in drawn.traps]
    assert "small_lot_drawn" not in [trap.key for trap in told(slope_lab=slope()).traps]
