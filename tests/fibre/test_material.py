"""Materials add up, and what cannot lie on a scale is refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.fibre.material import Constituent, Form, Material, join, take

masses = st.lists(st.floats(0.1, 1e5), min_size=1, max_size=4)


def lot(name, dry_mass_g, regain=0.15, foreign_mass_g=0.0, form=Form.SCOURED):
    dry = np.atleast_2d(np.asarray(dry_mass_g, dtype=float))
    return Material(
        (Constituent(name, "wool", 25.0, 0.24, 90.0, 0.2),),
        dry,
        np.full_like(dry, foreign_mass_g),
        np.zeros_like(dry),
        regain,
        form,
    )


@given(masses, masses, st.floats(0, 1), st.floats(0, 1))
def test_joining_keeps_every_gram_of_fibre_and_water(first, second, regain_1, regain_2):
    a, b = lot("A", [first[0]], regain_1, 3.0), lot("B", [second[0]], regain_2)
    heap = join([a, b])
    assert heap.total_dry_mass_g == pytest.approx(a.total_dry_mass_g + b.total_dry_mass_g)
    assert heap.weighed_mass_g == pytest.approx(a.weighed_mass_g + b.weighed_mass_g)
    assert heap.shares.sum() == pytest.approx(1)


def test_the_same_lot_in_two_bags_becomes_one_constituent():
    heap = join([lot("A", [100.0]), lot("B", [50.0]), lot("A", [20.0])])
    assert [part.lot for part in heap.constituents] == ["A", "B"]
    assert heap.dry_mass_g[:, 0].tolist() == [120, 50]


def test_a_certain_lot_is_spread_over_the_samples_of_the_other():
    heap = join([lot("A", [1.0, 2.0, 3.0]), lot("B", [10.0])])
    assert heap.total_dry_mass_g.tolist() == [11, 12, 13]
    with pytest.raises(InputError, match="samples"):
        join([lot("A", [1.0, 2.0, 3.0]), lot("B", [1.0, 2.0])])


def test_nothing_and_one_lot():
    only = lot("A", [1.0])
    assert join([only]) is only
    with pytest.raises(InputError, match="at least one"):
        join([])


def test_two_forms_joined_are_opened_fibre():
    assert join([lot("A", [1.0]), lot("B", [1.0], form=Form.ROVING)]).form is Form.OPENED


@given(st.floats(0, 1))
def test_a_share_and_its_rest_make_the_whole(share):
    whole = lot("A", [1000.0], foreign_mass_g=30.0)
    part, rest = take(whole, share=share), take(whole, share=1 - share)
    assert part.weighed_mass_g + rest.weighed_mass_g == pytest.approx(whole.weighed_mass_g)


def test_more_than_everything_cannot_be_taken():
    with pytest.raises(InputError, match="share"):
        take(lot("A", [1.0]), share=1.5)


@pytest.mark.parametrize(
    "change",
    [
        {"dry_mass_g": np.array([[-1.0]])},
        {"dry_mass_g": np.array([[np.nan]])},
        {"dry_mass_g": np.array([1.0])},
        {"foreign_mass_g": np.zeros((1, 2))},
        {"finish_mass_g": np.array([[np.inf]])},
        {"actual_regain_frac": 17.0},
        {"actual_regain_frac": -0.1},
        {
            "dry_mass_g": np.zeros((1, 0)),
            "foreign_mass_g": np.zeros((1, 0)),
            "finish_mass_g": np.zeros((1, 0)),
        },
    ],
)
def test_what_cannot_lie_on_a_scale_is_refused(change):
    with pytest.raises(InputError):
        dataclasses.replace(lot("A", [1.0]), **change)


def test_a_lot_named_twice_is_refused():
    part = lot("A", [1.0]).constituents[0]
    with pytest.raises(InputError, match="each once"):
        Material((part, part), np.ones((2, 1)), np.zeros((2, 1)), np.zeros((2, 1)), 0.1, Form.SCOURED)
