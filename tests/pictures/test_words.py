import pytest

from doffer.pictures.words import REGIONAL, say_list, say_many, say_status, sentence, word
from doffer.working import Status


@pytest.mark.parametrize("status", list(Status))
def test_every_status_has_words(status):
    assert len(say_status(status)) > 5


def test_a_status_from_memory_says_that_it_is_unverified():
    assert say_status("memory") == "from memory, unverified"


def test_words_follow_the_country_and_keep_their_capital():
    assert word("fibre", "US") == "fiber"
    assert word("Fibre", "us") == "Fiber"
    assert word("fibre", "GB") == "fibre"
    assert word("roving", "US") == "roving"


def test_every_regional_word_has_two_different_forms():
    assert all(uk != us for uk, us in REGIONAL.values())


def test_small_counts_are_words():
    assert [say_many(n, "lot") for n in (0, 1, 3, 14)] == ["no lots", "one lot", "three lots", "14 lots"]
    assert say_many(2, "batch", "batches") == "two batches"


def test_lists_are_spoken():
    assert say_list(["wool"]) == "wool"
    assert say_list(["wool", "alpaca", "silk"]) == "wool, alpaca and silk"
    assert say_list([]) == ""


def test_a_sentence_begins_large_and_ends_with_one_stop():
    assert sentence("one order is late") == "One order is late."
    assert sentence("Really?") == "Really?"
    assert sentence(" ") == ""
