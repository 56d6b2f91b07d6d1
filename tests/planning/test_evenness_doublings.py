"""Scenario of striping: 3.0 wanted 0.5, with ends apart and with ends that share a deviation."""

import pytest

from doffer.errors import InputError
from doffer.planning.evenness.doublings import doubled_sd, doublings


def test_ends_apart_need_thirty_six_doublings():
    answer = doublings(sd_de=3.0, want_de=0.5)
    assert (answer.needed, answer.is_enough) == (36, True)
    assert [(way.ends, round(way.sd_de, 3)) for way in answer.ways] == [((6, 6), 0.5), ((4, 4, 4), 0.375)]
    assert answer.sentence == "36 doublings are needed: 2 passes of 6 (0.5) or 3 passes of 4 (0.375)."
    assert answer.working.result.value == pytest.approx(0.5)


def test_what_all_ends_share_cannot_be_drawn_away():
    answer = doublings(sd_de=3.0, want_de=0.5, shared_frac=0.2)
    assert (answer.needed, answer.is_enough) == (None, False)
    assert answer.floor_de == pytest.approx(1.34, abs=0.005)
    assert "drawing cannot mend it: pick and card again" in answer.sentence
    assert "1.34" in answer.sentence
    assert doubled_sd(sd_de=3.0, ends=(6, 6), shared_frac=0.2) == pytest.approx(1.41, abs=0.005)


def test_a_shared_part_below_the_wish_only_asks_for_more_doublings():
    apart, shared = doublings(sd_de=3.0, want_de=0.8), doublings(sd_de=3.0, want_de=0.8, shared_frac=0.05)
    assert apart.needed == 15
    assert shared.needed == 45
    assert shared.ways[0].sd_de <= 0.8


def test_a_machine_with_few_ends_is_told_to_be_too_small():
    answer = doublings(sd_de=3.0, want_de=0.2, most_ends=4)
    assert (answer.needed, answer.is_enough) == (225, False)
    assert "makes 64 at most" in answer.sentence


def test_what_is_even_enough_needs_no_drawing():
    answer = doublings(sd_de=0.4, want_de=0.5)
    assert (answer.needed, answer.ways[0].ends) == (1, (1,))


def test_a_wish_of_nothing_is_refused():
    with pytest.raises(InputError, match="above zero"):
        doublings(sd_de=3.0, want_de=0.0)
