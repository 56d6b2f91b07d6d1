"""The simulated stream of fibre: laid, picked, tossed, carded and drawn, cell by cell.

A stream is f[n, k]: oven-dry shares of k parts in n cells of one mass, in the order of the flow. Every step
keeps the total of each part; rows sum to 1. The same seed gives the same stream. The closed forms of the same
steps are in `spectrum`; where both apply they agree within the error of the simulation.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import SINGLE, Floats, Ints
from doffer.process.evenness import kernels
from doffer.process.evenness.kernels import PLAIN, Loops
from doffer.process.evenness.passage import Cans, Card, Draw, Feed, Laying, Passage, Pick, Step, Toss

FINE_CLUMPS = 5  # clumps in a cell from which only their mean and variance are kept
SAME_SHARES = 1e-9  # mean shares nearer than this need no mending


def cells(feed: Feed, *, cell_g: float) -> int:
    """Number of cells of a lot: equal cells, as near to the mass asked for as the lot allows."""
    if not cell_g > 0:
        raise InputError("cell", cell_g, "above zero grams")
    return max(1, round(feed.lot_dry_mass_g / cell_g))


def lay(feed: Feed, *, cell_g: float, rng: np.random.Generator) -> Floats:
    """Stream as laid on the belt, shape (n, k), by exact cumulative mass.

    Errors of weighing change single layers; the total of every part stays what was weighed out for the lot.
    Locks inside pure layers change nothing.

    Parameters
    ----------
    feed : Feed
        What is laid.
    cell_g : float
        Mass of a cell [g oven-dry]; the lot is cut into `cells` equal cells.
    rng : Generator
        For errors of weighing and the order of handfuls.
    """
    order, masses_g = _layers(feed, rng)
    n = cells(feed, cell_g=cell_g)
    bounds = np.concatenate([[0.0], np.cumsum(masses_g)])
    edges = np.linspace(0, bounds[-1], n + 1)
    f = np.empty((n, len(feed.parts)), dtype=SINGLE)
    rest = np.ones(n)
    for part in range(len(feed.parts) - 1):
        laid_g = np.concatenate([[0.0], np.cumsum(np.where(order == part, masses_g, 0.0))])
        share = np.diff(np.interp(edges, bounds, laid_g)) * (n / bounds[-1])
        rest -= share
        f[:, part] = share
    f[:, -1] = rest
    return f


def _layers(feed: Feed, rng: np.random.Generator) -> tuple[Ints, Floats]:
    """Part and mass of each layer in the order of the belt."""
    shares = feed.shares
    largest = int(np.argmax(shares))
    one_set = np.arange(len(shares))
    if feed.laying is Laying.LAYERS:  # every set begins with the largest, as the feed sheet has it
        one_set = np.roll(one_set, -largest)
    order = np.tile(one_set, feed.layers)
    masses_g = shares[order] * feed.set_mass_g
    if feed.laying is Laying.HANDFULS:
        order = rng.permutation(order)
        masses_g = shares[order] * feed.set_mass_g
    elif feed.has_half_layer_ends:
        half_g = masses_g[0] / 2
        masses_g[0] = half_g
        order, masses_g = np.append(order, largest), np.append(masses_g, half_g)
    if feed.weighing_sd_g > 0:
        masses_g = np.maximum(masses_g + rng.normal(0, feed.weighing_sd_g, len(masses_g)), 0)
        weighed_g = np.bincount(order, masses_g, minlength=len(shares))
        masses_g = masses_g * (shares * feed.lot_dry_mass_g / weighed_g)[order]
    return order, masses_g


def pick(
    f: Floats,
    step: Pick,
    *,
    cell_g: float,
    rng: np.random.Generator,
    loops: Loops = PLAIN,
    shares: Floats | None = None,
    out: Floats | None = None,
) -> Floats:
    """Stream after one pass of the picker: mean over the sandwich, lag of the hold-up, then new clumps.

    Parameters
    ----------
    f : ndarray, shape (n, k)
        What is fed.
    step : Pick
        The pass.
    cell_g : float
        Mass of a cell [g].
    rng : Generator
        For the clumps.
    loops : Loops
        Plain or compiled.
    shares : ndarray, shape (k,), optional
        Mean shares of the stream where they are known.
    out : ndarray, shape (n, k), optional
        Memory for the stream that leaves, not that of the stream fed.
    """
    if step.sandwich_g > cell_g:
        f = kernels.box(f, window_ratio=step.sandwich_g / cell_g)
    f = _through_tank(f, hold_up_ratio=step.hold_up_g / cell_g, loops=loops, out=out)
    return clump(f, step.clump_g / cell_g, rng, loops=loops, shares=shares, out=f)


def toss(
    f: Floats, step: Toss, *, cell_g: float, rng: np.random.Generator, out: Floats | None = None
) -> Floats:
    """Stream grabbed from the bin in any order; what is less than a grab comes last."""
    grab = min(len(f), max(1, round(step.increment_g / cell_g)))
    n_grabs = len(f) // grab
    whole = n_grabs * grab
    out = np.empty_like(f) if out is None else out
    grabs = f[:whole].reshape(n_grabs, -1)
    np.take(grabs, rng.permutation(n_grabs), axis=0, out=out[:whole].reshape(grabs.shape), mode="clip")
    out[whole:] = f[whole:]
    return out


def card(f: Floats, step: Card, *, cell_g: float, loops: Loops = PLAIN, out: Floats | None = None) -> Floats:
    """Stream after the card: lag of its hold-up."""
    return _through_tank(f, hold_up_ratio=step.hold_up_g / cell_g, loops=loops, out=out)


def _through_tank(
    f: Floats, *, hold_up_ratio: float, loops: Loops = PLAIN, out: Floats | None = None
) -> Floats:
    """Lag of a machine that fills first, then gives what it is fed, and is cleaned down in the end.

    The first H cells fill it and are mixed; the last H cells are what is left in it. So the total of every
    part comes out again, later by the hold-up. A lot no larger than the hold-up comes out even.
    """
    if hold_up_ratio == 0:
        return f.copy()
    filling = min(math.ceil(hold_up_ratio), len(f))
    first = kernels.mean_shares(f[:filling])
    if filling == len(f):
        return np.broadcast_to(first.astype(SINGLE), f.shape).copy()
    out = np.empty_like(f) if out is None else out
    _, held = loops.lag(f[filling:], hold_up_ratio=hold_up_ratio, start=first, out=out[:-filling])
    out[-filling:] = first + (held - first) * (hold_up_ratio / filling)
    return out


def clump(
    f: Floats,
    clump_ratio: float,
    rng: np.random.Generator,
    *,
    loops: Loops = PLAIN,
    shares: Floats | None = None,
    out: Floats | None = None,
) -> Floats:
    """Stream in which every clump is pure fibre: variance ``f (1 - f)`` on the scale of a clump."""
    if clump_ratio == 0:
        return f
    shares = kernels.mean_shares(f) if shares is None else shares
    if clump_ratio * FINE_CLUMPS <= 1:
        seed = int(rng.integers(kernels.WORD))
        return loops.speckled(f, clump_ratio=clump_ratio, seed=seed, shares=shares, out=out)
    n_clumps = max(1, round(len(f) / clump_ratio))
    means = kernels.recut(f, edges=np.linspace(0, len(f), n_clumps + 1))
    chosen = (rng.random((n_clumps, 1)) > np.cumsum(means, axis=1)[:, :-1]).sum(axis=1)
    pure = np.eye(f.shape[1], dtype=SINGLE)[chosen]
    mixed = kernels.recut(pure, edges=np.linspace(0, n_clumps, len(f) + 1))
    return mended(mixed, shares)


def mended(f: Floats, shares: Floats) -> Floats:
    """Stream with its mean shares put right: each part in excess gives the same fraction of it everywhere."""
    found = kernels.mean_shares(f)
    if np.abs(found - shares).max() < SAME_SHARES:
        return f
    return kernels.blended(f, kernels.exchange(found, shares))


def draw(f: Floats, step: Draw, *, rng: np.random.Generator, period_ratio: float = 0.0) -> Floats:
    """Stream after one drawing: mean of its ends, N times as long in grams.

    Parameters
    ----------
    f : ndarray, shape (n, k)
        Stream that was put into N equal cans.
    step : Draw
        Ends, correlation, how the cans are cut.
    rng : Generator
        For the start of each can.
    period_ratio : float
        Set of layers in cells, for cans in step with it.
    """
    return _draw(_Row(f, f), step, rng, period_ratio=period_ratio).drawn()


@dataclass(frozen=True, eq=False)
class _Row:
    """Drawings in a row: the mean of all ends so far, and one end that is followed for what all share."""

    mean: Floats
    one: Floats
    doublings: int = 1
    common: float = 0.0  # of the variance fed to the first drawing
    left: float = 1.0  # of that variance, now

    def drawn(self) -> Floats:
        """Mean and the one end weighted so that the variance left is ``rho + (1 - rho) / (n1 n2 ...)``."""
        if self.common == 0 or self.doublings == 1:
            return self.mean
        plain = 1 / self.doublings
        weight = math.sqrt((self.left - plain) / (1 - plain))
        mixed = (1 - weight) * self.mean + weight * self.one
        return mended(mixed.astype(SINGLE), kernels.mean_shares(self.mean))


def _draw(
    row: _Row,
    step: Draw,
    rng: np.random.Generator,
    *,
    period_ratio: float,
    loops: Loops = PLAIN,
    out: Floats | None = None,
) -> _Row:
    ends, length = step.ends, len(row.mean) // step.ends
    if length == 0 or ends == 1:
        return row
    if step.cans is Cans.IN_STEP and period_ratio > 0:
        starts = np.round(-np.arange(ends) * length % period_ratio).astype(np.intp) % length
    else:
        starts = rng.integers(length, size=ends)
    common = max(row.common, min(step.correlation, row.left))
    left = common + (row.left - common) / ends
    one = _followed(row.one, starts) if common > 0 else row.one
    mean = loops.doubled(row.mean, starts=starts, out=out)
    return _Row(mean, one, row.doublings * ends, common, left)


def _followed(f: Floats, starts: Ints) -> Floats:
    """One end at a time, each can for an equal stretch, so that every can is heard."""
    ends, length = len(starts), len(f) // len(starts)
    places = np.arange(length)
    can = places * ends // length
    single = f[can * length + (places + starts[can]) % length]
    out = f.copy()
    out[: ends * length] = np.repeat(single, ends, axis=0)
    return out


def ply(f: Floats, *, plies: int, rng: np.random.Generator) -> Floats:
    """Stream of the plied yarn: mean of m bobbins, begun anywhere. Stripes are judged on the singles."""
    return draw(f, Draw(ends=plies, draft=1.0), rng=rng)


def run(passage: Passage, *, cell_g: float, seed: int, loops: Loops | None = None) -> tuple[Floats, ...]:
    """Stream as laid and after each step in turn, each of shape (n, k).

    Every step has random numbers of its own, so a step more or less at the end changes none before it.

    Parameters
    ----------
    passage : Passage
        Feed and steps.
    cell_g : float
        Mass of a cell [g oven-dry], about a twentieth of the smallest hold-up and of a set of layers.
    seed : int
        The same seed gives the same stream.
    loops : Loops, optional
        Plain or compiled; chosen by the size of the lot if left out.
    """
    return tuple(_flow(passage, cell_g=cell_g, seed=seed, loops=loops))


def runs(passage: Passage, *, cell_g: float, seeds: Iterable[int]) -> Iterator[Floats]:
    """Stream after the last step, lot after lot, each of its own seed: what chance may make of it."""
    seeds = tuple(seeds)
    loops = kernels.loops_for(cells(passage.feed, cell_g=cell_g) * len(seeds))
    feed, laid = passage.feed, None
    if feed.laying is Laying.LAYERS and feed.weighing_sd_g == 0:  # then chance has no part in it
        laid = lay(feed, cell_g=cell_g, rng=np.random.Generator(np.random.PCG64(0)))
    for seed in seeds:
        for f in _flow(passage, cell_g=cell_g, seed=seed, loops=loops, laid=laid):
            last = f
        yield last


def _flow(
    passage: Passage, *, cell_g: float, seed: int, loops: Loops | None, laid: Floats | None = None
) -> Iterator[Floats]:
    seeds = np.random.SeedSequence(seed).spawn(len(passage.steps) + 1)
    rngs = [np.random.Generator(np.random.PCG64(own)) for own in seeds]
    f = lay(passage.feed, cell_g=cell_g, rng=rngs[0]) if laid is None else laid
    loops = loops or kernels.loops_for(len(f))
    yield f
    cell_g = passage.feed.lot_dry_mass_g / len(f)
    row, period_g, shares = None, passage.feed.set_mass_g, kernels.mean_shares(f)
    for step, rng in zip(passage.steps, rngs[1:], strict=True):
        if isinstance(step, Draw):
            row = _draw(row or _Row(f, f), step, rng, period_ratio=period_g / cell_g, loops=loops)
            f = row.drawn()
            period_g *= step.ends
        else:
            row = None
            f = passed(f, step, cell_g=cell_g, rng=rng, loops=loops, shares=shares)
        yield f


def passed(
    f: Floats,
    step: Step,
    *,
    cell_g: float,
    rng: np.random.Generator,
    loops: Loops = PLAIN,
    shares: Floats | None = None,
    out: Floats | None = None,
) -> Floats:
    """Stream after one step, whatever it is; see `pick`, `toss`, `card` and `draw`."""
    match step:
        case Pick():
            return pick(f, step, cell_g=cell_g, rng=rng, loops=loops, shares=shares, out=out)
        case Toss():
            return toss(f, step, cell_g=cell_g, rng=rng, out=out)
        case Card():
            return card(f, step, cell_g=cell_g, loops=loops, out=out)
        case Draw():
            return _draw(_Row(f, f), step, rng, period_ratio=0.0, loops=loops, out=out).drawn()


@dataclass(frozen=True, slots=True)
class Grain:
    """How a strip looks close by.

    Parameters
    ----------
    lanes : int
        Lanes side by side across the strip.
    clump_g : float
        Mass of what is of one part: a clump before the card, a fibre after it [g]; 0: none is seen.
    streak_columns : float
        Length over which a lane keeps its shade, as fibres do after the card; in columns of the picture.
    """

    lanes: int
    clump_g: float = 0.0
    streak_columns: float = 0.0


def columns(
    f: Floats,
    *,
    cell_g: float,
    start_g: float,
    length_g: float,
    n: int,
    grain: Grain = Grain(1),
    rng: np.random.Generator | None = None,
) -> Floats:
    """Shares to draw a stretch of strip with, shape (lanes, n, k).

    Columns of equal mass are columns of equal length too, as a strand is: length = mass / count. Each lane of
    a column is a count of its clumps about the mean of the column; after the card lanes run on as streaks.

    Parameters
    ----------
    f : ndarray, shape (n_cells, k)
        The stream.
    cell_g, start_g, length_g : float
        Mass of a cell, where the stretch begins and how much of it is shown [g]; a stretch that reaches
        beyond the lot is moved back into it.
    n : int
        Columns.
    grain : Grain
        Lanes, clumps and streaks.
    rng : Generator, optional
        For the grain; without it every lane shows the mean.
    """
    if n < 1 or grain.lanes < 1 or not length_g > 0 or not cell_g > 0:
        raise InputError(
            "picture", (n, grain.lanes, length_g), "one column, one lane or more, above zero grams"
        )
    whole_g = len(f) * cell_g
    length_g = min(length_g, whole_g)
    start_g = min(max(start_g, 0.0), whole_g - length_g)
    edges = np.linspace(start_g, start_g + length_g, n + 1) / cell_g
    means = np.maximum(kernels.recut(f, edges=np.clip(edges, 0, len(f))), 0)  # sums round a none below it
    lanes = np.broadcast_to(means, (grain.lanes, *means.shape))
    if rng is None or grain.clump_g == 0:
        return lanes.copy()
    return _grained(lanes, grain, lane_mass_g=length_g / n / grain.lanes, rng=rng)


MOST_COUNTED = 50  # clumps in a lane of a column; more are taken as normal


def _grained(lanes: Floats, grain: Grain, *, lane_mass_g: float, rng: np.random.Generator) -> Floats:
    """Lanes with their clumps counted, shape (lanes, n, k)."""
    clumps = lane_mass_g / grain.clump_g
    if clumps > MOST_COUNTED:
        g = np.sqrt(lanes / SINGLE(clumps)) * rng.standard_normal(lanes.shape, dtype=SINGLE)
        seen = np.maximum(lanes + g - lanes * g.sum(axis=2, keepdims=True), 0)
        seen /= seen.sum(axis=2, keepdims=True)
    else:
        seen = _counted(lanes, lane_ratio=clumps, rng=rng)
    if grain.streak_columns == 0:
        return np.asarray(seen)
    return _streaked(seen, lanes, streak_ratio=grain.streak_columns)


def _counted(lanes: Floats, *, lane_ratio: float, rng: np.random.Generator) -> Floats:
    """Lanes of few clumps; one larger than its place in the picture runs over several columns."""
    n_lanes, n, _ = lanes.shape
    span = min(n, max(1, round(1 / lane_ratio)))
    places = np.minimum((np.arange(n) + rng.integers(span, size=(n_lanes, 1))) // span, (n - 1) // span)
    chances = lanes[0, ::span].astype(np.float64)
    chances /= chances.sum(axis=1, keepdims=True)
    counts = max(1, round(lane_ratio))
    drawn = rng.multinomial(counts, chances, size=(n_lanes, len(chances))) / counts
    return np.asarray(np.take_along_axis(drawn, places[..., None], axis=1), dtype=SINGLE)


def _streaked(seen: Floats, lanes: Floats, *, streak_ratio: float) -> Floats:
    """Lanes whose difference from the mean of the column runs on along the flow."""
    n_lanes, n, k = seen.shape
    apart = (seen - lanes).transpose(1, 0, 2).reshape(n, n_lanes * k)
    run_on, _ = kernels.lag(apart, hold_up_ratio=streak_ratio / 2, start=np.zeros(n_lanes * k))
    kept = np.clip(lanes + run_on.reshape(n, n_lanes, k).transpose(1, 0, 2), 0, 1)
    return np.asarray(kept / kept.sum(axis=2, keepdims=True), dtype=SINGLE)
