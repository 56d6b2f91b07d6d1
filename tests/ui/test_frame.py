import json
import re
from types import SimpleNamespace

import pytest

from doffer.ui.places import PLACES

PAGE = (
    '{% extends "base.html" %}{% set here = "lots" %}{% block title %}Lots{% endblock %}'
    "{% block main %}<h1>Lots</h1>{% endblock %}"
)


def page(env, gallery, **more: object) -> str:
    return env.from_string(PAGE).render(**gallery.context(**more))


def test_the_page_says_where_one_is(env, gallery):
    drawn = page(env, gallery)
    assert re.findall(r'<a href="([^"]+)" aria-current="page">', drawn) == ["/lots/"]
    assert "<title>Lots · Quillfern Hollow</title>" in drawn
    assert [place.path for place in PLACES] == re.findall(r'<a href="([^"]+)"[^>]*><svg class="icon"', drawn)


def test_the_demo_says_so_on_every_page_and_the_own_mill_does_not(env, gallery):
    own = SimpleNamespace(name="Ours", is_demo=False, units="metric", country="GB")
    assert "This is the invented demo mill" in page(env, gallery)
    assert "This is the invented demo mill" not in page(env, gallery, mill=own)


def test_the_acting_person_can_be_changed_from_the_head(env, gallery):
    drawn = page(env, gallery)
    assert '<span class="menu-name-prefix">You: </span>Wrenna' in drawn
    assert re.findall(r'name="person" value="(\w+)" aria-pressed="(\w+)"', drawn) == [
        ("P0", "true"),
        ("P1", "false"),
        ("P2", "false"),
    ]
    assert '<form class="menu-box" method="post" action="/you">' in drawn


def test_a_mill_without_people_yet_still_has_a_page(env, gallery):
    assert "You:" not in page(env, gallery, person=None, people=())


def test_the_frame_has_a_skip_link_and_one_main(env, gallery):
    drawn = page(env, gallery)
    assert '<a class="skip" href="#main">' in drawn
    assert drawn.count("<main") == drawn.count('id="main"') == 1
    assert "Doffer stops no machine." in drawn


def test_the_language_follows_the_country(env, gallery):
    us = SimpleNamespace(name="Mill", is_demo=False, units="us", country="US")
    assert '<html lang="en-US">' in page(env, gallery, mill=us)
    assert '<html lang="en-GB">' in page(env, gallery)


def test_htmx_may_not_run_text_as_code_or_write_styles(env, gallery):
    config = re.search(r"name=\"htmx-config\" content='([^']+)'", page(env, gallery)).group(1)
    kept = json.loads(config)
    assert (kept["allowEval"], kept["includeIndicatorStyles"], kept["selfRequestsOnly"]) == (
        False,
        False,
        True,
    )


@pytest.mark.parametrize("page_name", ["pictures", "macros"])
def test_no_page_carries_inline_style_or_script(env, gallery, sample, page_name):
    drawn = env.get_template(f"gallery_{page_name}.html").render(**gallery.context(sample=sample))
    assert not re.search(r"\sstyle=|<style|\son\w+=|javascript:", drawn)
    assert all('src="' in tag for tag in re.findall(r"<script[^>]*>", drawn))


@pytest.mark.parametrize("page_name", ["pictures", "macros"])
def test_no_id_is_given_twice(env, gallery, sample, page_name):
    drawn = env.get_template(f"gallery_{page_name}.html").render(**gallery.context(sample=sample))
    ids = re.findall(r'\sid="([^"]+)"', drawn)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("status", [400, 403, 404, 409, 422])
def test_a_refusal_shows_its_sentence_and_the_ways_on(env, gallery, status):
    drawn = env.get_template(f"{status}.html").render(**gallery.context(sentence="There is no lot “L999”."))
    assert "There is no lot “L999”." in drawn
    assert drawn.count("<h1>") == 1
    assert 'href="/"' in drawn


def test_a_refusal_without_a_sentence_still_says_something(env, gallery):
    assert "does not name anything this mill knows" in env.get_template("404.html").render(
        **gallery.context()
    )


def test_the_page_of_our_own_fault_needs_nothing_at_all(env):
    drawn = env.get_template("500.html").render()
    assert "What was already written down is safe" in drawn
    assert "{{" not in drawn
