"""Losses: a share by fibre and the machine's grams, forward and back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from doffer.errors import InputError
from doffer.process.losses import expected_loss_fracs, lose, loss_range, sample_loss_fracs, unlose
from doffer.tables.loader import load_tables
from doffer.working import Status

masses = st.lists(st.floats(1, 50_000), min_size=1, max_size=6)
shares = st.floats(0, 0.9)


def columns(values):
    return np.array(values, dtype=float)[:, None]


@given(masses, st.data())
def test_oven_dry_mass_closes_to_a_milligram(dry, data):
    share = columns([data.draw(shares) for _ in dry])
    held = data.draw(st.floats(0, 200))
    lost = lose(columns(dry), share_frac=share, held_dry_mass_g=held)
    back = lost.dry_mass_g + lost.lost_mass_g + lost.held_mass_g
    assert np.allclose(back, columns(dry), atol=1e-3, rtol=0)
    assert np.all(lost.dry_mass_g >= 0)


@given(masses, st.data())
def test_what_must_go_in_is_the_inverse_of_what_comes_out(dry, data):
    share = columns([data.draw(shares) for _ in dry])
    out = lose(columns(dry), share_frac=share, held_dry_mass_g=0.5)
    if float(out.dry_mass_g.sum()) > 1:
        back = unlose(out.dry_mass_g, share_frac=share, held_dry_mass_g=0.5)
        assert np.allclose(back, columns(dry), rtol=1e-9)


def test_sixty_grams_in_a_card_are_a_small_share_of_ten_kilos_and_a_large_one_of_one():
    none = np.zeros((1, 1))
    large = lose(columns([10_000]), share_frac=none, held_dry_mass_g=60)
    small = lose(columns([1_000]), share_frac=none, held_dry_mass_g=60)
    assert float(large.held_mass_g[0, 0]) / 10_000 == pytest.approx(0.006)
    assert float(small.held_mass_g[0, 0]) / 1_000 == pytest.approx(0.06)


def test_a_lot_lighter_than_the_hold_up_leaves_nothing_and_loses_no_more_than_it_has():
    lost = lose(columns([30, 10]), share_frac=columns([0.1, 0.0]), held_dry_mass_g=60)
    assert lost.dry_mass_g.sum() == pytest.approx(0)
    assert lost.lost_mass_g.sum() + lost.held_mass_g.sum() == pytest.approx(40)


def test_suri_borrows_the_losses_of_alpaca_and_says_it_is_common_practice():
    tables = load_tables()
    suri = loss_range(tables, stage="card", fibre="suri")
    assert (suri.low_frac, suri.mode_frac, suri.high_frac) == (0.05, 0.12, 0.22)
    assert suri.status is Status.PRACTICE


def test_setting_takes_oil_off_and_no_fibre():
    assert loss_range(load_tables(), stage="set", fibre="wool").high_frac == 0


def test_drawn_shares_stay_in_their_triangle_and_average_to_its_mean():
    tables = load_tables()
    drawn = sample_loss_fracs(
        tables, stage="card", fibres=["wool"], rng=np.random.default_rng(3), n_samples=20_000
    )["wool"]
    mean = expected_loss_fracs(tables, stage="card", fibres=["wool"])["wool"][0]
    assert 0.04 <= drawn.min() <= drawn.max() <= 0.15
    assert drawn.mean() == pytest.approx(mean, abs=3e-4)  # standard error 0.00016


def test_the_same_seed_draws_the_same_shares_whatever_the_order_of_fibres():
    tables = load_tables()
    one, other = (
        sample_loss_fracs(tables, stage="card", fibres=f, rng=np.random.default_rng(8), n_samples=5)
        for f in (["wool", "alpaca"], ["alpaca", "wool", "wool"])
    )
    assert np.array_equal(one["wool"], other["wool"])
    assert np.array_equal(one["alpaca"], other["alpaca"])


@pytest.mark.parametrize(("share", "held"), [(1.0, 0), (-0.1, 0), (0.1, -1)])
def test_impossible_losses_are_refused(share, held):
    with pytest.raises(InputError, match="must be"):
        lose(columns([100]), share_frac=columns([share]), held_dry_mass_g=held)
