"""What the page lets a blend go through: tender lots once, a sandwich as far as it truly enters together."""

import pytest

from doffer.mill.queries.mixing import mixing_of_lots
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import route_of, usual_of
from doffer.process.evenness.passage import Pick

pytestmark = pytest.mark.django_db


def route(lots, **typed):
    inputs = mixing_of_lots(lots)
    asked = {"set": "yes", "layers": "12", "drawn": "", **typed}
    return route_of(inputs, read_mixed(asked, "metric", usual_of(inputs)))


def test_a_tender_lot_is_picked_once_and_a_sound_blend_up_to_three_times(demo_mill):
    tender = route({"L005": 900.0, "L027": 300.0})
    assert tender.limits.most_passes == 1
    assert {one.passes for one in tender.chosen().by_passes} <= {1}
    assert route({"L027": 900.0, "L028": 300.0}).limits.most_passes == 3


def test_a_sandwich_counts_as_far_as_it_enters_together(demo_mill):
    laid = route({"L027": 900.0, "L028": 300.0}, sandwich="yes")
    picks = [step for step in laid.passage.steps if isinstance(step, Pick)]
    assert [step.sandwich_g for step in picks] == pytest.approx([0.9 * 100])
