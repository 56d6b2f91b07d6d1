"""What a strip is drawn with: columns of the stream, and its grain close by."""

import numpy as np
import pytest

from doffer.errors import InputError
from doffer.process.evenness import stream
from doffer.process.evenness.stream import Grain, columns

CELL_G = 0.25


def even(n=4000, shares=(0.2, 0.8)):
    return np.broadcast_to(np.array(shares, dtype=np.float32), (n, len(shares))).copy()


def ramp(n=4000):
    first = np.linspace(0, 1, n, dtype=np.float32)
    return np.stack([first, 1 - first], axis=1)


def rng(seed=1):
    return np.random.Generator(np.random.PCG64(seed))


def test_a_column_is_the_mean_of_its_stretch():
    drawn = columns(ramp(), cell_g=CELL_G, start_g=250.0, length_g=500.0, n=10, grain=Grain(3))
    assert drawn.shape == (3, 10, 2)
    assert drawn[0, :, 0] == pytest.approx(np.linspace(0.275, 0.725, 10), abs=1e-3)
    assert np.array_equal(drawn[0], drawn[2])


def test_columns_finer_than_cells_repeat_them():
    drawn = columns(ramp(8), cell_g=1.0, start_g=2.0, length_g=2.0, n=8)[0, :, 0]
    assert drawn == pytest.approx(np.repeat([2 / 7, 3 / 7], 4), abs=1e-6)


def test_a_stretch_beyond_the_lot_is_moved_into_it():
    inside = columns(ramp(), cell_g=CELL_G, start_g=900.0, length_g=100.0, n=5)
    assert np.array_equal(columns(ramp(), cell_g=CELL_G, start_g=5000.0, length_g=100.0, n=5), inside)
    whole = columns(ramp(), cell_g=CELL_G, start_g=50.0, length_g=1e6, n=2)[0, :, 0]
    assert whole == pytest.approx([0.25, 0.75], abs=1e-3)


@pytest.mark.parametrize(("clump_g", "clumps"), [(0.05, 4), (0.004, 50), (0.001, 200)])
def test_lanes_vary_as_their_clumps_are_counted(clump_g, clumps):
    """A lane of a column weighs 0.2 g."""
    drawn = columns(
        even(), cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=500, grain=Grain(10, clump_g), rng=rng()
    )
    assert drawn[..., 0].mean() == pytest.approx(0.2, abs=0.01)
    assert drawn[..., 0].var() == pytest.approx(0.16 / clumps, rel=0.08)
    assert drawn.sum(axis=2) == pytest.approx(np.ones((10, 500)), abs=1e-6)


def test_a_lock_larger_than_its_place_runs_over_columns():
    grain = Grain(10, 0.8)
    drawn = columns(even(), cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=500, grain=grain, rng=rng())[
        ..., 0
    ]
    assert set(np.unique(drawn)) == {0.0, 1.0}
    changes = (np.diff(drawn, axis=1) != 0).mean()
    assert changes == pytest.approx(2 * 0.16 / 4, rel=0.15)


def test_streaks_run_on_along_the_strand():
    """Computed: neighbouring columns of white noise through a lag of 4 columns agree to 0.889."""
    grain = Grain(24, 0.0005, 8.0)
    drawn = columns(even(), cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=1000, grain=grain, rng=rng())[
        ..., 0
    ]
    away = drawn - 0.2
    following = (away[:, 50:-1] * away[:, 51:]).mean() / (away[:, 50:] ** 2).mean()
    across = (away[:-1, 50:] * away[1:, 50:]).mean() / (away[:, 50:] ** 2).mean()
    assert following == pytest.approx(0.889, abs=0.015)
    assert abs(across) < 0.05


def test_the_same_seed_draws_the_same_grain():
    grain = Grain(8, 0.05)
    first, again, other = (
        columns(even(), cell_g=CELL_G, start_g=0.0, length_g=100.0, n=50, grain=grain, rng=rng(seed))
        for seed in (1, 1, 2)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_three_parts_are_counted_together():
    f = even(shares=(0.2, 0.3, 0.5))
    drawn = columns(f, cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=500, grain=Grain(10, 0.02), rng=rng())
    assert np.cov(drawn[..., 0].ravel(), drawn[..., 1].ravel())[0, 1] == pytest.approx(-0.06 / 10, rel=0.12)


@pytest.mark.parametrize(("n", "lanes", "length_g"), [(0, 1, 10.0), (5, 0, 10.0), (5, 1, 0.0)])
def test_a_picture_of_nothing_is_refused(n, lanes, length_g):
    with pytest.raises(InputError, match="one column"):
        columns(even(), cell_g=CELL_G, start_g=0.0, length_g=length_g, n=n, grain=Grain(lanes))


def test_clumps_of_a_drawn_strip_are_in_the_stream_and_the_grain_alike():
    """Means of columns keep what the stream says; the grain adds what lanes differ by."""
    f = stream.clump(even(), 0.2, rng())
    plain = columns(f, cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=100)
    grained = columns(f, cell_g=CELL_G, start_g=0.0, length_g=1000.0, n=100, grain=Grain(50, 0.05), rng=rng())
    assert np.corrcoef(plain[0, :, 0], grained.mean(axis=0)[:, 0])[0, 1] > 0.6
