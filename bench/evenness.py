"""How long evenness takes: loops of the stream beside a copy, routes, lots and pictures beside limits.

Ratios are to `np.copyto` of the same single-precision arrays of 128 MB, larger than any cache. Seconds are of
the processor, so that what else the machine does counts little; all of it runs in one thread.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from closed_forms import closed_form_routes
from doffer.process.evenness import kernels, stream
from doffer.process.evenness.kernels import Loops
from doffer.process.evenness.passage import Card, Draw, Feed, Part, Passage, Pick, Step, Toss
from figure import Figure, beside

N_CELLS, N_PARTS, CELL_G = 8_000_000, 4, 0.25
REPEATS = 5
HOLD_UP_RATIO, CLUMP_RATIO, ENDS = 80.0, 0.1, 6
ROUTE: tuple[Step, ...] = (
    Pick(20.0, 0.0, 0.05),
    Toss(10.0),
    Pick(20.0, 0.0, 0.05),
    Toss(10.0),
    Pick(20.0, 0.0, 0.02),
    Card(60.0),
    Draw(4, 4.0),
    Draw(6, 6.0),
)
LOTS_S, PICTURE_S, N_LOTS = 0.15, 0.1, 100


def pairs_s(act: Callable[[], object], copy: Callable[[], object]) -> tuple[float, float]:
    """Best seconds of an act and of a copy, taken in turns so that both meet the same load."""
    act(), copy()
    taken = [(worked_s(act), worked_s(copy)) for _ in range(REPEATS)]
    return min(act_s for act_s, _ in taken), min(copy_s for _, copy_s in taken)


def worked_s(act: Callable[[], object]) -> float:
    """Processor seconds of an act."""
    begun = time.process_time()
    act()
    return time.process_time() - begun


def median_s(act: Callable[[], object], *, repeats: int) -> float:
    """Median processor seconds of an act, after one turn to warm up."""
    act()
    return statistics.median(worked_s(act) for _ in range(repeats))


def some_stream(n: int) -> np.ndarray:
    """Shares of four parts in n cells."""
    f = np.random.default_rng(1).random((n, N_PARTS), dtype=np.float32)
    f /= f.sum(axis=1, keepdims=True)
    return f


def loops_beside_a_copy(name: str, loops: Loops, limits: dict[str, float]) -> list[Figure]:
    """Lag, clumps, drawing and colour of one kind of loops, and the whole route a stage."""
    f = some_stream(N_CELLS)
    out, lab = np.zeros_like(f), np.zeros((N_CELLS, 3), dtype=np.float32)
    more = np.zeros_like(f)
    shares, slope = kernels.mean_shares(f), np.arange(3.0 * N_PARTS).reshape(N_PARTS, 3)
    starts = np.random.default_rng(2).integers(N_CELLS // ENDS, size=ENDS)
    acts = {
        "lag": lambda: loops.lag(f, hold_up_ratio=HOLD_UP_RATIO, start=shares, out=out),
        "clumps": lambda: loops.speckled(f, clump_ratio=CLUMP_RATIO, seed=3, shares=shares, out=out),
        "draw": lambda: loops.doubled(f, starts=starts, out=out),
        "colour": lambda: kernels.blended(f, slope, out=lab),
    }
    figures = []
    for act_name, act in acts.items():
        act_s, copy_s = pairs_s(act, lambda: np.copyto(out, f))
        told = f"{act_name}, {name}, 8 million cells of 4 parts"
        figures.append(beside(told, act_s, reference="copy", reference_s=copy_s, most=limits.get(act_name)))
    act_s, copy_s = pairs_s(lambda: along(f, loops, shares, (out, more)), lambda: np.copyto(out, f))
    told = f"a stage of a route of 8, {name}"
    figures.append(
        beside(told, act_s / len(ROUTE), reference="copy", reference_s=copy_s, most=limits["route"])
    )
    return figures


def along(f: np.ndarray, loops: Loops, shares: np.ndarray, memory: tuple[np.ndarray, np.ndarray]) -> None:
    """The stream through the steps of the route, in memory taken before."""
    for place, step in enumerate(ROUTE):
        rng, out = np.random.default_rng(place), memory[place % 2]
        f = stream.passed(f, step, cell_g=CELL_G, rng=rng, loops=loops, shares=shares, out=out)


def lot(layers: int = 24) -> Passage:
    """A lot of 6 kg of two parts."""
    parts = tuple(Part(name, share, 25.0, 0.25, 70.0, 0.3, 1.31) for name, share in (("a", 0.2), ("b", 0.8)))
    return Passage(Feed(6000.0, parts, layers), ROUTE, 3000.0)


def picture() -> None:
    """Eight stages of a lot and the columns they are drawn with."""
    for place, f in enumerate(stream.run(lot(), cell_g=CELL_G, seed=1)[1:]):
        rng = np.random.default_rng(1)
        grain = stream.Grain(24, 0.3 if place < 5 else 4e-5)
        stream.columns(f, cell_g=CELL_G, start_g=1000.0, length_g=1000.0, n=1000, grain=grain, rng=rng)


def routes() -> list[Figure]:
    """A picture and many lots beside their limits."""
    picture_s = median_s(picture, repeats=5)
    lots_s = median_s(lambda: list(stream.runs(lot(), cell_g=CELL_G, seeds=range(N_LOTS))), repeats=3)
    is_fast = kernels.loops_for(kernels.WORTH_LOADING) is not kernels.PLAIN
    most = 1 if is_fast else None
    return [
        beside("picture of 8 stages, 6 kg", picture_s, reference="limit", reference_s=PICTURE_S, most=1),
        beside("100 lots of 6 kg, 8 stages", lots_s, reference="limit", reference_s=LOTS_S, most=most),
    ]


def difference(fast: Loops) -> Figure:
    """Farthest apart that the two kinds of loops are anywhere on a route."""
    both = [stream.run(lot(), cell_g=CELL_G, seed=1, loops=loops) for loops in (kernels.PLAIN, fast)]
    apart = max(float(np.abs(a - b).max()) for a, b in zip(*both, strict=True))
    return Figure(
        "compiled beside plain, farthest apart", apart, "share", "plain", None, "<= 1e-5", apart <= 1e-5
    )


def measure() -> list[Figure]:
    """Figures of evenness; compiled loops only where the extra `fast` is installed."""
    fast = kernels.loops_for(kernels.WORTH_LOADING)
    figures = [*closed_form_routes(), *routes()]
    if fast is not kernels.PLAIN:
        limits = {"lag": 2, "clumps": 6, "draw": 3, "colour": 3, "route": 3}
        figures += [difference(fast), *loops_beside_a_copy("compiled", fast, limits)]
    return [*figures, *loops_beside_a_copy("plain", kernels.PLAIN, {"route": 30})]
