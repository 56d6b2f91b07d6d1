"""The dip stick against the arithmetic of a cylinder, and two marks against the line through them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.dip_stick import KettleShape, StickMark, dip_mark
from doffer.working import Status

TWO_MARKS = KettleShape(low=StickMark(20, 120), high=StickMark(60, 320))


def test_a_litre_in_a_bore_of_two_over_root_pi_decimetres_stands_one_decimetre_high():
    bore_mm = 200 / math.sqrt(math.pi)  # its floor is one square decimetre
    assert dip_mark(KettleShape(bore_mm=bore_mm), volume_l=1).height_mm == pytest.approx(100)


def test_78_litres_in_a_kettle_of_50_cm():
    found = dip_mark(KettleShape(bore_mm=500), volume_l=78)
    assert found.height_mm == pytest.approx(397.25, abs=0.01)  # 78 000 cm3 / (pi 25^2 cm2) = 39.725 cm
    assert found.working.result.value == found.height_mm
    assert found.working.status is Status.COMPUTED


@given(bore_mm=st.floats(100, 2000), volume_l=st.floats(0.5, 500))
def test_the_bath_under_the_mark_is_the_bath_that_was_asked_for(bore_mm, volume_l):
    height_mm = dip_mark(KettleShape(bore_mm=bore_mm), volume_l=volume_l).height_mm
    assert math.pi / 4 * bore_mm**2 * height_mm / 1e6 == pytest.approx(volume_l)


def test_two_marks_are_hit_exactly_and_halved_between():
    assert [dip_mark(TWO_MARKS, volume_l=litres).height_mm for litres in (20, 40, 60)] == [120, 220, 320]
    assert dip_mark(TWO_MARKS, volume_l=40).is_measured
    assert not dip_mark(TWO_MARKS, volume_l=80).is_measured
    assert dip_mark(TWO_MARKS, volume_l=80).height_mm == pytest.approx(420)


@given(bore_mm=st.floats(300, 800), floor_mm=st.floats(0, 30), volume_l=st.floats(30, 90))
def test_two_marks_in_a_cylinder_on_a_block_agree_with_its_diameter(bore_mm, floor_mm, volume_l):
    """A raised floor shifts every mark alike: two marks find both the bore and the block."""
    plain = KettleShape(bore_mm=bore_mm)
    marks = [
        StickMark(litres, floor_mm + dip_mark(plain, volume_l=litres).height_mm) for litres in (30.0, 90.0)
    ]
    found = dip_mark(KettleShape(low=marks[0], high=marks[1]), volume_l=volume_l).height_mm
    assert found == pytest.approx(floor_mm + dip_mark(plain, volume_l=volume_l).height_mm)


@pytest.mark.parametrize(
    ("shape", "sentence"),
    [
        ({}, "its inner diameter, or two marks"),
        ({"bore_mm": 30.0}, "from 10 to 200 cm"),
        ({"low": StickMark(20, 120)}, "two marks"),
        (
            {"low": StickMark(20, 120), "high": StickMark(60, 110)},
            "more litres and higher than 20 L at 12 cm",
        ),
        ({"low": StickMark(20, 120), "high": StickMark(10, 300)}, "more litres and higher"),
        ({"low": StickMark(20, 120), "high": StickMark(21, 125)}, "by 2 cm at least"),
    ],
)
def test_a_shape_that_cannot_be_is_refused(shape, sentence):
    with pytest.raises(InputError, match=sentence):
        KettleShape(**shape)


@pytest.mark.parametrize(("volume_l", "height_mm"), [(0, 100), (1e9, 100), (20, 0), (20, float("nan"))])
def test_a_mark_that_cannot_be_is_refused(volume_l, height_mm):
    with pytest.raises(InputError, match="from"):
        StickMark(volume_l, height_mm)


@pytest.mark.parametrize("volume_l", [0.0, -3.0, float("nan"), 5000.0])
def test_a_bath_that_cannot_be_is_refused(volume_l):
    with pytest.raises(InputError, match="above 0 and at most 2000 L"):
        dip_mark(TWO_MARKS, volume_l=volume_l)


def test_less_than_lies_below_the_line_of_the_marks_is_refused():
    steep = KettleShape(low=StickMark(20, 10), high=StickMark(40, 210))
    with pytest.raises(InputError, match="above the floor"):
        dip_mark(steep, volume_l=5)
