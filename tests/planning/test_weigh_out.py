"""Weigh-out: scenarios 6 and 7 of the acceptance list (formula derived, worked by hand)."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.planning.weigh_out import Component, weigh_out


def three(alpaca_on_hand=None):
    return [
        Component("wool", 0.5, 0.147, 0.17, 0.12, None),
        Component("alpaca", 0.3, 0.097, 0.17, 0.20, alpaca_on_hand),
        Component("silk", 0.2, 0.098, 0.11, 0.08, None),
    ]


def test_three_fibres_three_regains_and_unequal_losses():
    sheet = weigh_out(three(), finished_mass_g=6000)
    assert [line.weigh_mass_g for line in sheet.lines] == pytest.approx([3342, 2110, 1290], abs=1)
    assert sheet.total_mass_g == pytest.approx(6742, abs=1)
    assert [100 * line.weighed_share_frac for line in sheet.lines] == pytest.approx(
        [49.6, 31.3, 19.1], abs=0.05
    )


def test_weighing_the_label_shares_out_would_miss_the_label():
    sheet = weigh_out(three(), finished_mass_g=6000)
    naive = [100 * line.share_if_weighed_as_label_frac for line in sheet.lines]
    assert naive == pytest.approx([50.4, 28.7, 20.9], abs=0.05)


def test_the_limiting_fibre_is_named_and_sets_the_batch():
    sheet = weigh_out(three(alpaca_on_hand=1600), finished_mass_g=6000)
    assert sheet.limited_by == "alpaca"
    assert sheet.finished_mass_g == pytest.approx(4551, abs=1)
    assert [line.weigh_mass_g for line in sheet.lines] == pytest.approx([2535, 1600, 979], abs=1)


def test_without_a_wish_the_batch_is_as_large_as_the_fibre_allows():
    sheet = weigh_out(three(alpaca_on_hand=1600))
    assert sheet.finished_mass_g == pytest.approx(4551, abs=1)


def test_enough_fibre_limits_nothing():
    assert weigh_out(three(alpaca_on_hand=9000), finished_mass_g=6000).limited_by is None


@given(
    st.lists(
        st.tuples(st.floats(0.05, 1), st.floats(0, 0.3), st.floats(0, 0.2), st.floats(0, 0.6)),
        min_size=1,
        max_size=5,
    ),
    st.floats(10, 1e5),
)
def test_what_is_weighed_out_comes_out_as_promised(rows, finished):
    total = sum(share for share, *_ in rows)
    parts = [Component(str(i), s / total, r, a, loss) for i, (s, r, a, loss) in enumerate(rows)]
    sheet = weigh_out(parts, finished_mass_g=finished)
    out = [
        line.weigh_mass_g / (1 + c.actual_regain_frac) * (1 - c.loss_frac) * (1 + c.agreed_regain_frac)
        for line, c in zip(sheet.lines, parts, strict=True)
    ]
    assert sum(out) == pytest.approx(finished)
    assert [mass / finished for mass in out] == pytest.approx([c.share_frac for c in parts])


@given(st.floats(100, 5000), st.floats(100, 5000))
def test_more_of_the_limiting_fibre_never_makes_the_batch_smaller(one, other):
    assume(one < other)
    small, large = (weigh_out(three(alpaca_on_hand=m), finished_mass_g=6000) for m in (one, other))
    assert small.finished_mass_g <= large.finished_mass_g + 1e-9


def test_shares_that_do_not_sum_to_a_hundred_are_refused():
    with pytest.raises(InputError, match="100 % together"):
        weigh_out([Component("wool", 0.5, 0.15, 0.17, 0.1)], finished_mass_g=1000)


def test_an_open_batch_needs_something_to_limit_it():
    with pytest.raises(InputError, match="finished weight is missing"):
        weigh_out(three())
