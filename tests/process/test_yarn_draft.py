"""Drafting: doublings, drafts of the gears, the roving that is needed."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.yarn.draft import (
    Gears,
    card_delivery_tex,
    choose_draft,
    colour_left_frac,
    cv_after_drawing_frac,
    draw_chain,
    drawn_tex,
    feed_tex,
    nearest_draft,
    needed_roving_tex,
)
from doffer.process.yarn.roving import finer_roving_tex, rovings_for
from doffer.process.yarn.wish import SpinMachine
from doffer.tables.loader import load_tables

TABLES = load_tables()
FRAME = Gears(low_draft=6, high_draft=25, constant=480, teeth=tuple(range(24, 61)))
STEPLESS = Gears(low_draft=6, high_draft=25)


def test_a_card_delivers_its_web_over_its_width():
    assert card_delivery_tex(web_g_per_m2=12, width_m=0.5) == 6000
    assert card_delivery_tex(web_g_per_m2=12, width_m=0.52, ends=24) == pytest.approx(260)


def test_strips_of_the_card_raise_the_feed():
    assert feed_tex(delivery_tex=4000, draft=100) == 400_000
    assert feed_tex(delivery_tex=4000, draft=100, loss_frac=0.1) == pytest.approx(400_000 / 0.9)


@given(
    tex=st.floats(1000, 8000),
    ends=st.lists(st.integers(2, 6), min_size=1, max_size=3),
    wanted=st.floats(500, 8000),
)
def test_a_chain_of_drawings_ends_at_the_wanted_roving(tex, ends, wanted):
    chain = draw_chain(card_tex=tex, roving_tex=wanted, doublings=ends, low_draft=4, high_draft=8)
    if chain is None:
        total = tex / wanted
        for n in ends:
            total *= n
        assert not 4.001 <= total ** (1 / len(ends)) <= 7.999
        return
    now = tex
    for drawing, n in zip(chain, ends, strict=True):
        assert drawing.in_tex == pytest.approx(now)
        assert 4 * (1 - 1e-8) <= drawing.draft <= 8 * (1 + 1e-8)
        now = drawn_tex(in_tex=now, doublings=n, draft=drawing.draft)
        assert drawing.out_tex == pytest.approx(now)
    assert now == pytest.approx(wanted)


def test_the_card_roving_is_spun_as_it_is_only_where_it_fits():
    ways = {"card_tex": 3000, "doublings": (), "low_draft": 4, "high_draft": 8}
    assert draw_chain(roving_tex=3000, **ways) == ()
    assert draw_chain(roving_tex=2900, **ways) is None


@given(cv=st.floats(0, 0.3), add=st.floats(0, 0.1), n=st.integers(1, 8), rho=st.floats(0, 1))
def test_doublings_even_out_but_alike_ends_do_not(cv, add, n, rho):
    def after(doublings, correlation):
        return cv_after_drawing_frac(
            cv_frac=cv, doublings=doublings, added_cv_frac=add, correlation=correlation
        )

    assert after(n + 1, rho) <= after(n, rho) + 1e-12
    assert after(n, 1.0) ** 2 == pytest.approx(cv**2 + add**2)
    assert after(n, 0.0) ** 2 == pytest.approx(cv**2 / n + add**2)


def test_colour_is_evened_by_the_root_of_all_doublings():
    assert colour_left_frac((6, 6)) == pytest.approx(1 / 6)
    assert colour_left_frac(()) == 1


@given(roller=st.floats(40, 400), rovings=st.lists(st.floats(800, 6000), min_size=1, max_size=4))
def test_choices_are_ranked_by_error_and_none_is_left_out(roller, rovings):
    choices = choose_draft(roller_tex=roller, roving_texs=rovings, gears=FRAME)
    assert len(choices) == len(rovings) * len(FRAME.drafts())
    off = [max(c.out_tex / roller, roller / c.out_tex) for c in choices]
    assert off == pytest.approx(sorted(off), rel=1e-8)
    assert off[0] == pytest.approx(min(off), rel=1e-8)
    for choice in choices[:3]:
        assert choice.out_tex == pytest.approx(choice.roving_tex / choice.draft)
        assert choice.error_frac == pytest.approx(choice.out_tex / roller - 1)


def test_pinions_out_of_the_window_are_not_offered():
    narrow = Gears(low_draft=10, high_draft=16, constant=480, teeth=tuple(range(24, 61)))
    assert [draft.setting for draft in narrow.drafts()][::18] == ["30 teeth", "48 teeth"]


def test_of_equal_errors_the_draft_nearest_the_best_wins():
    both = choose_draft(roller_tex=200, roving_texs=[4000, 2400], gears=STEPLESS)
    assert [choice.roving_tex for choice in both] == [2400, 4000]
    assert [choice.error_frac for choice in both] == [0, 0]
    fast = Gears(low_draft=6, high_draft=25, sweet_draft=20)
    assert choose_draft(roller_tex=200, roving_texs=[2400, 4000], gears=fast)[0].roving_tex == 4000


def test_where_nothing_fits_the_needed_roving_is_told():
    assert choose_draft(roller_tex=58.5, roving_texs=[3000], gears=STEPLESS) == ()
    assert choose_draft(roller_tex=201, roving_texs=[3000], gears=FRAME, most_error_frac=0.004) == ()
    assert needed_roving_tex(roller_tex=58.5, draft=12) == pytest.approx(702)


def test_a_stepless_head_is_kept_in_its_window():
    assert nearest_draft(STEPLESS, wanted_draft=40).draft == 25
    assert nearest_draft(FRAME, wanted_draft=12.4).setting == "39 teeth"
    assert STEPLESS.tooth_step_frac() == 0
    assert FRAME.tooth_step_frac() == pytest.approx(1 / 48)
    # one tooth of the 26 that are set, however wide the gaps of the box are elsewhere
    box = Gears(low_draft=8, high_draft=24, constant=480, teeth=(24, 26, 36, 40))
    assert box.tooth_frac(480 / 26) == pytest.approx(1 / 26)
    assert STEPLESS.tooth_frac(12.0) == 0


def test_a_roving_is_made_where_none_stands_ready():
    frame = SpinMachine("frame", gears=FRAME, card_tex=4000, doublings=((4, 4), (4,)))
    found = rovings_for(frame, roller_tex=200, tables=TABLES)
    assert found.best.error_frac == pytest.approx(0, abs=1e-12)
    assert [drawing.doublings for drawing in found.drawings] == [4, 4]
    assert found.drawings[-1].out_tex == pytest.approx(found.best.roving_tex)
    assert found.best.draft == pytest.approx(FRAME.sweet, rel=0.02)
    assert found.can_be_drawn


def test_the_roving_is_as_near_the_best_draft_as_the_drafter_can_bring_it():
    frame = SpinMachine("frame", gears=STEPLESS, card_tex=4000, doublings=((4,),))
    found = rovings_for(frame, roller_tex=100, tables=TABLES)
    assert found.best.roving_tex == pytest.approx(4000 * 4 / 8)
    assert found.best.draft == pytest.approx(20)
    assert found.drawings[0].draft == pytest.approx(8)


def test_a_card_roving_too_far_from_the_frame_is_told():
    frame = SpinMachine("frame", gears=STEPLESS, card_tex=9000, doublings=((2,),))
    found = rovings_for(frame, roller_tex=30, tables=TABLES)
    assert not found.can_be_drawn
    assert found.drawings == ()


def test_the_drafters_own_drafts_count_not_those_of_the_table():
    usual = SpinMachine("frame", rovings_tex=(1500,), card_tex=4000, doublings=((4,), (3,)))
    own = dataclasses.replace(usual, drafter_window=(4.0, 6.0))
    # three ends of 4 g/m to 1.5 g/m are a draft of 8, which the table's pins can do and this drafter cannot
    assert rovings_for(usual, roller_tex=120, tables=TABLES).drawings[0].draft == pytest.approx(8)
    assert not rovings_for(own, roller_tex=120, tables=TABLES).can_be_drawn


def test_needed_rovings_span_the_drafts_of_the_frame():
    found = rovings_for(SpinMachine("frame", rovings_tex=(3000,)), roller_tex=58.5, tables=TABLES)
    assert found.best is None
    assert found.needed_tex[0] == pytest.approx(6 * 58.5)
    assert found.needed_tex[2] == pytest.approx(25 * 58.5)


def test_a_roving_that_can_be_drawn_at_once_stays():
    assert finer_roving_tex(roving_tex=2000, roller_tex=100, high_draft=25) == (2000, 20)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: Gears(low_draft=10, high_draft=6),
        lambda: Gears(low_draft=6, high_draft=25, teeth=(30,)),
        lambda: Gears(low_draft=6, high_draft=25, constant=480, teeth=(0,)),
        lambda: drawn_tex(in_tex=0, doublings=4, draft=6),
        lambda: feed_tex(delivery_tex=4000, draft=100, loss_frac=1),
        lambda: cv_after_drawing_frac(cv_frac=-0.1, doublings=2, added_cv_frac=0),
        lambda: needed_roving_tex(roller_tex=float("nan"), draft=6),
    ],
)
def test_what_cannot_be_is_refused(refused):
    with pytest.raises(InputError, match="must be"):
        refused()
