"""The inner loops against the plainest loops, and the compiled ones against the plain ones."""

import dataclasses
import importlib
import importlib.util
import math
import subprocess
import sys

import numpy as np
import pytest

from doffer.process.evenness import kernels, stream
from doffer.process.evenness.kernels import PLAIN, loops_for
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Part, Passage, Pick, Toss

HAS_NUMBA = importlib.util.find_spec("numba") is not None
CLOSE = 1e-5


def some(n=1003, k=3, seed=1):
    f = np.random.Generator(np.random.PCG64(seed)).random((n, k), dtype=np.float32) ** 3
    return f / f.sum(axis=1, keepdims=True)


@pytest.fixture(params=["plain", "compiled"])
def loops(request):
    if request.param == "compiled" and not HAS_NUMBA:
        pytest.skip("the extra “fast” is not installed")
    return PLAIN if request.param == "plain" else loops_for(kernels.WORTH_LOADING)


@pytest.mark.parametrize("k", [2, 3, 4])
@pytest.mark.parametrize("hold_up_ratio", [0.01, 0.0999, 0.4, 3.0, 80.0, 5000.0])
def test_a_lag_is_a_tank_followed_cell_by_cell(loops, hold_up_ratio, k):
    f, start = some(k=k), np.eye(k)[0]
    found, held = loops.lag(f, hold_up_ratio=hold_up_ratio, start=start)
    state, expected = start.copy(), []
    for x in f.astype(np.float64):
        left = hold_up_ratio * -math.expm1(-1 / hold_up_ratio)
        expected.append(x + left * (state - x))
        state = x + math.exp(-1 / hold_up_ratio) * (state - x)
    assert np.abs(found - expected).max() < CLOSE
    assert np.abs(held - state).max() < CLOSE


@pytest.mark.parametrize("ends", [2, 3, 7])
def test_cans_are_fed_together_each_from_its_own_start(loops, ends):
    f, starts = some(), np.arange(ends) * 5
    found = loops.doubled(f, starts=starts)
    length = len(f) // ends
    for place in (0, 1, length - 3, length - 1):
        rows = [f[can * length + (place + starts[can]) % length] for can in range(ends)]
        assert np.abs(found[place * ends : place * ends + ends] - np.mean(rows, axis=0)).max() < CLOSE
    assert found.sum(axis=0) == pytest.approx(f.sum(axis=0), rel=1e-5)


@pytest.mark.parametrize("k", [2, 4])
@pytest.mark.parametrize("clump_ratio", [0.2, 0.01])
def test_clumps_add_the_variance_of_counting_and_keep_the_totals(loops, clump_ratio, k):
    f = np.broadcast_to(some(1, k), (200_000, k)).copy()
    found = loops.speckled(f, clump_ratio=clump_ratio, seed=11, shares=kernels.mean_shares(f))
    shares = f[0].astype(np.float64)
    expected = clump_ratio * (np.diag(shares) - np.outer(shares, shares))
    assert np.cov(found.T) == pytest.approx(expected, abs=0.01 * clump_ratio * shares.max())
    assert kernels.mean_shares(found) == pytest.approx(shares, rel=1e-6)
    assert found.min() >= 0
    neighbours = np.corrcoef(found[:-1, 0], found[1:, 0])[0, 1]
    assert abs(neighbours) < 4 / math.sqrt(len(f))


def test_signals_are_weighted_sums():
    f, weights = some(10_000, 4), np.arange(12.0).reshape(4, 3)
    assert np.abs(kernels.blended(f, weights) - f.astype(np.float64) @ weights).max() < 2e-5


def test_a_box_is_the_mean_over_its_window_mirrored_at_the_ends():
    f = some(50)
    wide = np.concatenate([f[::-1], f, f[::-1]]).astype(np.float64)
    for window_ratio, reach, edge in ((1.5, 1, 0.25), (3.0, 1, 1.0), (7.4, 4, 0.2), (40.0, 20, 0.5)):
        weights = np.ones(2 * reach + 1)
        weights[[0, -1]] = edge
        expected = [weights @ wide[50 + i - reach : 51 + i + reach] / window_ratio for i in range(50)]
        found = kernels.box(f, window_ratio=window_ratio)
        assert np.abs(found - expected).max() < CLOSE
        assert found.sum(axis=0) == pytest.approx(f.sum(axis=0), rel=1e-5)


def test_cutting_anew_keeps_what_was_there():
    f = some(12)
    assert kernels.recut(f, edges=np.linspace(0, 12, 13)) == pytest.approx(f, abs=CLOSE)
    assert kernels.recut(f, edges=np.linspace(0, 12, 4)) == pytest.approx(
        f.reshape(3, 4, 3).mean(axis=1), abs=CLOSE
    )
    finer = kernels.recut(f, edges=np.linspace(0, 12, 31))
    assert finer.mean(axis=0) == pytest.approx(f.mean(axis=0), abs=CLOSE)


def test_chances_are_even_and_independent():
    drawn = kernels.chances(0, 200_000, seed=3).astype(np.float64)
    error = 1 / math.sqrt(len(drawn))
    assert drawn.mean() == pytest.approx(0.5, abs=3 * error * 0.289)
    assert drawn.var() == pytest.approx(1 / 12, rel=3 * error)
    assert np.histogram(drawn, 20, (0, 1))[0] == pytest.approx(np.full(20, 10_000), abs=400)
    for apart in (1, 2, 7, 64):
        assert abs(np.corrcoef(drawn[:-apart], drawn[apart:])[0, 1]) < 4 * error
    other = kernels.chances(0, 200_000, seed=4)
    assert abs(np.corrcoef(drawn, other)[0, 1]) < 4 * error
    assert np.array_equal(kernels.chances(1000, 5, seed=3), kernels.chances(0, 1005, seed=3)[1000:])


def test_chances_are_the_same_on_every_machine():
    assert (kernels.chances(0, 3, seed=1) * 2**24).astype(int).tolist() == FIRST_WORDS


FIRST_WORDS = [6850960, 10440790, 4441393]


def route():
    parts = tuple(Part(name, share, 25.0, 0.25, 70.0, 0.3, 1.31) for name, share in (("a", 0.2), ("b", 0.8)))
    steps = (
        Pick(20.0, 0.0, 0.3),
        Toss(10.0),
        Pick(20.0, 30.0, 0.02),
        Card(60.0),
        Draw(4, 4.0, 0.2),
        Draw(7, 7.0, cans=Cans.IN_STEP),
    )
    return Passage(Feed(1500.0, parts, 6), steps, 3000.0)


@pytest.mark.skipif(not HAS_NUMBA, reason="the extra “fast” is not installed")
def test_a_whole_route_is_the_same_compiled():
    plain = stream.run(route(), cell_g=0.25, seed=1, loops=PLAIN)
    fast = stream.run(route(), cell_g=0.25, seed=1, loops=loops_for(kernels.WORTH_LOADING))
    assert max(np.abs(a - b).max() for a, b in zip(plain, fast, strict=True)) < CLOSE


@pytest.mark.parametrize("changed", [{}, {"weighing_sd_g": 5.0}, {"laying": Laying.HANDFULS}])
def test_lots_run_one_after_another_are_the_lots_of_their_seeds(changed):
    passage = dataclasses.replace(route(), feed=dataclasses.replace(route().feed, **changed))
    several = list(stream.runs(passage, cell_g=0.5, seeds=[4, 5]))
    assert np.array_equal(several[1], stream.run(passage, cell_g=0.5, seed=5)[-1])
    assert len(several) == 2


def test_little_work_takes_the_plain_loops_and_loads_nothing_heavy():
    assert loops_for(kernels.WORTH_LOADING - 1) is PLAIN
    code = "import sys, doffer.process.evenness.stream; print('numba' in sys.modules, 'scipy' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "False"]


def test_without_the_extra_much_work_takes_the_plain_loops(monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert loops_for(10 * kernels.WORTH_LOADING) is PLAIN


def test_without_a_folder_for_machine_code_much_work_takes_the_plain_loops(monkeypatch):
    def no_folder(_name):
        raise RuntimeError("cannot cache function: no locator available")

    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: True)
    monkeypatch.setattr(importlib, "import_module", no_folder)
    assert loops_for(10 * kernels.WORTH_LOADING) is PLAIN
