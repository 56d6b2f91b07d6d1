"""The temperature of a dye bath follows its steps, and a step that cannot get there says so."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.dye_curve import CurveStep, dye_curve, temperature_at

STEPS = (
    CurveStep(what="wet out", minutes=15, temperature_c=40),
    CurveStep(what="heat", minutes=55, temperature_c=95, ramp_c_per_min=1),
    CurveStep(what="hold", minutes=45),
    CurveStep(what="cool", minutes=60, temperature_c=60),
)


def test_the_steps_follow_each_other():
    line = dye_curve(STEPS)
    assert [(part.start_min, part.end_min) for part in line] == [(0, 15), (15, 70), (70, 115), (115, 175)]
    assert [(part.start_c, part.end_c) for part in line] == [(40, 40), (40, 95), (95, 95), (95, 60)]
    assert sum(part.heating_min for part in line) == 55
    assert not any(part.is_too_short for part in line)


def test_a_fast_ramp_gets_there_early_and_holds():
    (_, heat) = dye_curve([STEPS[0], CurveStep(what="heat", minutes=40, temperature_c=90, ramp_c_per_min=2)])
    assert (heat.there_min, heat.end_min, heat.end_c) == (40, 55, 90)


def test_a_ramp_that_needs_longer_than_its_minutes_is_said_and_ends_where_it_gets():
    (_, heat) = dye_curve([STEPS[0], CurveStep(what="heat", minutes=30, temperature_c=95, ramp_c_per_min=1)])
    assert heat.is_too_short
    assert heat.end_c == 70


def test_a_bath_that_begins_with_heating_begins_where_the_heating_leads_from():
    assert dye_curve(STEPS[1:])[0].start_c == 40
    cold = dye_curve([CurveStep(what="heat", minutes=90, temperature_c=95, ramp_c_per_min=1)])
    assert cold[0].start_c == 20
    assert cold[0].there_min == 75


def test_the_temperature_at_a_minute():
    line = dye_curve(STEPS)
    assert [temperature_at(line, minute) for minute in (0, 30, 100, 145)] == [40, 55, 95, 77.5]
    assert temperature_at(line, 176) is None


@given(
    st.lists(
        st.builds(
            CurveStep,
            what=st.just("step"),
            minutes=st.floats(1, 120),
            temperature_c=st.none() | st.floats(20, 100),
            ramp_c_per_min=st.none() | st.floats(0.2, 5),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_the_line_has_no_gaps_and_never_moves_faster_than_its_rate(steps):
    line = dye_curve(steps)
    for before, after in itertools.pairwise(line):
        assert (before.end_min, before.end_c) == (after.start_min, after.start_c)
    for step, part in zip(steps, line, strict=True):
        assert part.start_min <= part.there_min <= part.end_min
        if step.ramp_c_per_min:
            moved = abs(part.end_c - part.start_c)
            assert moved <= step.ramp_c_per_min * (part.there_min - part.start_min + 0.51) + 1e-9


def test_a_step_without_minutes_is_refused():
    with pytest.raises(InputError, match="above zero"):
        dye_curve([CurveStep(what="heat", minutes=0)])
