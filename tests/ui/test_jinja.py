from datetime import UTC, date, datetime
from types import SimpleNamespace

import pytest
from jinja2 import UndefinedError

from doffer.errors import NotFoundError
from doffer.ui.icons import DRAWINGS, icon


def test_numbers_are_said_in_the_units_of_the_mill(render):
    us = SimpleNamespace(name="Mill", is_demo=False, units="us", country="US")
    assert render("{{ 1984.5|say('g') }}") == "1.98 kg"
    assert render("{{ 1984.5|say('g') }}", mill=us) == "4 lb 6 oz"


def test_a_page_may_speak_other_units_than_the_mill(render):
    assert render("{{ 1984.5|say('g') }}", units="us") == "4 lb 6 oz"
    assert render("{{ 1984.5|say('g', 'us') }}") == "4 lb 6 oz"


def test_a_filter_without_the_mill_refuses_instead_of_guessing_units(env):
    with pytest.raises(RuntimeError, match="import this macro `with context`"):
        env.from_string("{{ 3|say('g') }}").render()


def test_ranges_spreads_and_counts_have_filters(render):
    spread = SimpleNamespace(mean=1770, low=1610, high=1950)
    assert render("{{ 1610|say_range(1950, 'g') }}") == "1.61 to 1.95 kg"
    assert render("{{ spread|say_spread('g') }}", spread=spread) == "1.77 kg, 90 %: 1.61 to 1.95 kg"
    assert render("{{ 400|say_count }}") == "250 m/100 g (400 tex)"


def test_days_are_said_against_the_day_of_the_page(render):
    assert render("{{ day|say_due }}", day=date(2026, 2, 27)) == "3 days late, since Friday"
    assert render("{{ day|say_day }}", day=None) == "–"
    assert render("{{ at|say_moment }}", at=datetime(2026, 3, 1, 16, 20, tzinfo=UTC)) == "yesterday 16:20"


def test_words_follow_the_country_of_the_mill(render):
    us = SimpleNamespace(name="Mill", is_demo=False, units="us", country="US")
    assert (render("{{ 'Fibre'|word }}"), render("{{ 'Fibre'|word }}", mill=us)) == ("Fibre", "Fiber")


def test_what_people_typed_is_escaped(render):
    assert render("{{ name }}", name="<script>") == "&lt;script&gt;"
    assert "<script>" not in render("{{ notices.error(name) }}", name="<script>")


def test_a_misspelt_name_is_an_error_and_not_an_empty_place(render):
    with pytest.raises(UndefinedError):
        render("{{ weigth }}")


def test_every_icon_is_drawn_and_hidden_unless_it_stands_alone():
    assert all('aria-hidden="true"' in icon(name) and 'stroke-width="2"' in icon(name) for name in DRAWINGS)
    assert 'role="img" aria-label="Add &amp; save"' in icon("plus", "Add & save")


def test_an_unknown_icon_names_the_known_ones():
    with pytest.raises(NotFoundError, match="Known are today, lots"):
        icon("unicorn")
