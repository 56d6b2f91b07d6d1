"""Settings of machines in words: one wording for pages and papers."""

import pytest

from doffer.pictures.settings_words import (
    first_settings,
    name_of,
    say_between,
    say_roving,
    say_setting,
    say_test_length,
)
from doffer.process.settings.suggestion import Suggestion
from doffer.working import Status


def suggestion(setting, value, unit, *, low=None, high=None, words=""):
    return Suggestion(setting, low, value, high, unit, "why", "", Status.PRACTICE, words)


def plain(text):
    return text.replace("\u202f", " ")


@pytest.mark.parametrize(
    ("setting", "value", "unit", "metric", "us"),
    [
        ("roving", 1500.0, "tex", "1.50 g/m", "21 gr/yd"),
        ("draft", 20.425, "ratio", "20.43", "20.43"),
        ("twist", 344.66, "tpm", "345 turns/m", "8.8 turns/in"),
        ("ratch", 160.65, "mm", "161 mm", "6.3 in"),
        ("count", 76.617, "tex", "76.6 tex", "76.6 tex"),
        ("feed", 67.5, "g per 0.5 m", "67.5 g per 0.5 m", "2.2 oz per half yard"),
        ("room_rh", 0.7, "frac", "70 %", "70 %"),
        ("plies", 3.0, "plies", "3", "3"),
        ("speed", 2.0, "step", "", ""),
    ],
)
def test_a_setting_is_said_in_the_units_of_the_mill(setting, value, unit, metric, us):
    one = suggestion(setting, value, unit)
    assert (plain(say_setting(one, "metric")), plain(say_setting(one, "us"))) == (metric, us)


def test_fifty_grains_a_yard_are_3_543_ktex():
    assert say_roving(3543.2, "us") == "50\u202fgr/yd"
    assert plain(say_roving(3543.2, "metric")) == "3.54 g/m"


def test_ten_metres_weigh_a_hundredth_of_the_tex_and_ten_yards_less():
    assert say_test_length(197.0, "metric") == ("ten metres weigh", "1.97\u202fg")
    name, said = say_test_length(197.0, "us")
    assert (name, plain(said)) == ("ten yards weigh", "1.80 g (0.06 oz)")


def test_a_range_has_its_unit_once():
    assert plain(say_between(suggestion("beater", 700, "rpm", low=450, high=900), "metric")) == (
        "450 to 900 turns/min"
    )
    assert plain(say_between(suggestion("roving", 4000, "tex", low=2000, high=6000), "metric")) == (
        "2.00 to 6.00 g/m"
    )
    assert say_between(suggestion("draft", 20, "ratio"), "metric") == ""


def test_a_run_card_shows_what_is_set_first_with_the_pinion_and_the_way():
    found = (
        suggestion("room_rh", 0.7, "frac"),
        suggestion("twist", 186, "tpm", words="41 teeth"),
        suggestion("twist_way", None, "", words="Z"),
        suggestion("draft", 21, "ratio", words="some reason"),
        suggestion("roving", 4000, "tex"),
    )
    shown = [(name, plain(value)) for name, value in first_settings(found, "spin", "metric")]
    assert shown == [("Roving in", "4.00 g/m"), ("Draft", "21.00"), ("Twist", "186 turns/m Z, 41 teeth")]
    assert first_settings(found, "wash", "metric") == []


def test_a_roving_goes_in_at_the_frame_and_comes_out_of_the_card():
    assert [name_of("roving", stage) for stage in ("card", "spin")] == ["Roving out", "Roving in"]
    assert name_of("wire_settings") == "Wire settings"
