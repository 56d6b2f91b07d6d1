"""The front of a run card: the whole order on one page, large enough for a tired person at arm's length."""

import dataclasses

import pytest
from tests.paper import sample
from tests.paper.test_render import US, pages_of, plain, words_of

from doffer.paper import render
from doffer.paper.papers import PaperSize
from doffer.pictures.settings_words import first_settings
from doffer.pictures.wording import say, say_duration

BATCHES = {"own fleece": sample.own_fleece, "sock blend": sample.sock_blend}
EACH = pytest.mark.parametrize("batch", [make() for make in BATCHES.values()], ids=list(BATCHES))
ARMS_LENGTH_PT = 11  # half a metre away a figure of 11 pt is still read


def front_of(batch, *, imprint=sample.IMPRINT, size=PaperSize.A4):
    return pages_of(render.run_cards([sample.run_card(batch=batch)], imprint, size=size))[0]


def words_on(page):
    return plain(page.extract_text())


def sizes_of(page):
    """Every text of a page with the size it is set in [pt]."""
    found = []

    def visit(text, _cm, tm, _font, size):
        if text.strip():
            found.append((plain(text).strip(), abs(size * tm[3])))

    page.extract_text(visitor_text=visit)
    return found


@EACH
def test_the_front_says_the_count_the_twist_and_what_ten_metres_weigh(batch):
    words, yarn = words_on(front_of(batch)), batch.yarn
    assert plain(say(100_000 / yarn.finished.tex, "m_per_100g")) in words
    assert plain(say(yarn.single_twist.tpm, "tpm")) in words
    assert plain(say(yarn.ply_twist.tpm, "tpm")) in words
    assert plain(say(yarn.single.tex / 100, "g", digits=2)) in words
    assert "ten metres weigh" in words


@EACH
def test_every_stage_stands_on_the_front_with_weights_settings_and_minutes(batch):
    words = words_on(front_of(batch))
    for stage in batch.stages:
        assert plain(say(stage.weighed_in.mean, "g")) in words
        assert plain(say(stage.weighed.mean, "g")) in words
        assert plain(say_duration(stage.minutes.taken.p50)) in words
        assert "hands " + plain(say_duration(stage.minutes.hands_on_min)) in words
        for name, value in first_settings(stage.suggestions, stage.stage, "metric"):
            assert name in words
            assert plain(value) in words


@EACH
def test_what_is_set_is_large_enough_for_arms_length(batch):
    sizes = dict(sizes_of(front_of(batch)))
    for stage in batch.stages:
        for _, value in first_settings(stage.suggestions, stage.stage, "metric"):
            assert sizes[plain(value)] >= ARMS_LENGTH_PT, value


@EACH
@pytest.mark.parametrize("size", [PaperSize.A4, PaperSize.LETTER])
def test_the_front_is_one_page_and_the_boxes_to_write_in_follow(batch, size):
    first, second = pages_of(render.run_cards([sample.run_card(batch=batch)], sample.IMPRINT, size=size))[:2]
    assert "if nothing waits" in words_on(first)
    assert "initials" not in words_on(first)
    assert "initials" in words_on(second)


def test_the_hands_of_all_stages_are_added_up():
    batch = sample.own_fleece()
    whole = sum(stage.minutes.hands_on_min for stage in batch.stages)
    assert batch.time.hands_on_min == pytest.approx(whole)
    assert f"{plain(say_duration(whole))} of hands" in words_on(front_of(batch))


def test_in_the_us_rovings_are_grains_and_the_test_length_is_in_yards():
    words = words_on(front_of(sample.sock_blend(), imprint=US, size=PaperSize.LETTER))
    assert "gr/yd" in words
    assert "ten yards weigh" in words
    assert "turns/in" in words
    assert "g/m" not in words


def test_a_plan_kept_before_there_were_settings_still_prints():
    batch = sample.own_fleece()
    stages = tuple(dataclasses.replace(s, suggestions=(), minutes=None, counts=()) for s in batch.stages)
    old = dataclasses.replace(batch, stages=stages, yarn=None, time=None)
    words = words_of(render.run_cards([sample.run_card(batch=old)], sample.IMPRINT))
    assert "ten metres weigh" not in words
    assert plain(say(batch.stages[-1].weighed.mean, "g")) in words
