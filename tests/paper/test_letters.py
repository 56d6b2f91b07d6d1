"""Printable text: hidden signs go, undrawn ones show, long words may break."""

from hypothesis import given
from hypothesis import strategies as st

from doffer.paper.letters import BREAK, PLAIN, breakable, printable, shortened, undrawn
from doffer.paper.render import _draws


def never(_signs):
    return False


def test_the_typeface_draws_all_that_is_taken_for_granted():
    assert undrawn(PLAIN, _draws) == set()


def test_an_emoji_is_found_among_letters_by_halving():
    asked = []

    def draws(signs):
        asked.append(signs)
        return "\N{SHEEP}" not in signs

    assert undrawn("абвгд\N{SHEEP}еёжз", draws) == {"\N{SHEEP}"}
    assert len(asked) < 10


def test_hidden_signs_leave_and_spaces_become_plain():
    assert printable("a\x00\u202eb\u200d\tc\nd\u202fe", never) == "ab c d\u00a0e"


def test_accents_are_composed():
    assert printable("e\u0301", never) == "é"


def test_a_mark_that_makes_no_letter_is_left_out_and_marks_of_other_scripts_stay():
    assert printable("t\u0301", never) == "t"
    hebrew = "\u05d1\u05b7"
    assert printable(hebrew, lambda _: True) == hebrew


def test_a_cut_is_shown():
    assert shortened("Moonbucket Farm", 11) == "Moonbucket…"
    assert shortened("Moonbucket", 10) == "Moonbucket"


def test_a_long_word_may_break_and_a_short_one_may_not():
    assert breakable("x" * 50 + " ab") == BREAK.join(["x" * 24, "x" * 24, "xx"]) + " ab"


@given(st.text(max_size=80))
def test_any_text_becomes_one_line_of_drawable_signs(text):
    line = printable(text, never)
    assert set(line) <= PLAIN | {"?"}
    assert printable(line, never) == line
    assert breakable(line).replace(BREAK, "") == line
