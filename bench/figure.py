"""One measured figure: its value beside a reference, as a ratio, and whether it meets its target."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """A row of a measurement; `ratio` is value / reference where there is a reference in the same unit."""

    name: str
    value: float
    unit: str
    reference: str
    ratio: float | None
    target: str
    met: bool | None


def beside(
    name: str, value_s: float, *, reference: str, reference_s: float, most: float | None = None
) -> Figure:
    """Seconds beside a reference; met when their ratio is at most `most`, or only reported."""
    ratio = value_s / reference_s
    target = "report" if most is None else f"<= {most:g}"
    return Figure(
        name, value_s, "s", f"{reference} {reference_s:.3g} s", ratio, target, most and ratio <= most
    )


def median_s(act: Callable[[], object], *, repeats: int) -> float:
    """Median seconds of an act, after one turn to warm up."""
    act()
    return statistics.median(_timed(act) for _ in range(repeats))


def quantile_s(acts: list[Callable[[], object]], quantile: float) -> float:
    """A quantile of the seconds that many acts take, each done once."""
    taken = sorted(_timed(act) for act in acts)
    return taken[min(len(taken) - 1, int(quantile * len(taken)))]


def _timed(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun
