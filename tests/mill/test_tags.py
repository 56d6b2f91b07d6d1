"""Tags are short, never doubled, and misread ones are noticed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.mill.tags import ALPHABET, TAG_SIGNS, read_tag, tag_of

serials = st.integers(min_value=1, max_value=len(ALPHABET) ** TAG_SIGNS - 1)


@given(serials)
def test_a_tag_that_is_given_out_reads_as_itself(serial):
    tag = tag_of(serial)
    if tag is not None:
        assert read_tag(tag) == tag
        assert read_tag(f" {tag[:3].lower()}-{tag[3:]} ") == tag


@given(serials, st.integers(0, TAG_SIGNS), st.sampled_from(ALPHABET))
def test_one_wrong_sign_is_noticed(serial, place, wrong):
    tag = tag_of(serial)
    if tag is None or tag[place] == wrong:
        return
    with pytest.raises(InputError, match="read again"):
        read_tag(tag[:place] + wrong + tag[place + 1 :])


@given(serials, st.integers(0, TAG_SIGNS - 1))
def test_two_neighbours_exchanged_are_noticed(serial, place):
    tag = tag_of(serial)
    if tag is None or tag[place] == tag[place + 1]:
        return
    swapped = tag[:place] + tag[place + 1] + tag[place] + tag[place + 2 :]
    with pytest.raises(InputError):
        read_tag(swapped)


def test_no_tag_comes_twice_in_a_lifetime_of_bags():
    tags = [tag for serial in range(1, 50_000) if (tag := tag_of(serial))]
    assert len(set(tags)) == len(tags) > 43_000
    assert all(set(tag) <= set(ALPHABET) for tag in tags)


@pytest.mark.parametrize("typed", ["", "7Q4K2", "7Q4K2YY", "7Q4K2U", "../etc"])
def test_what_is_no_tag_is_said_in_words(typed):
    with pytest.raises(InputError, match=r"tag .*6 digits and letters"):
        read_tag(typed)


def test_letters_that_look_like_digits_are_read_as_digits():
    tag = next(tag for serial in range(1, 1000) if (tag := tag_of(serial)) and "0" in tag and "1" in tag)
    assert read_tag(tag.replace("0", "O").replace("1", "I")) == tag
    assert read_tag(tag.replace("1", "l")) == tag
