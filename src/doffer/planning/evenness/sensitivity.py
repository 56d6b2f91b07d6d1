"""Which figure matters most: how far each moves the answer, and how far all together may."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.variation import Signals
from doffer.planning.evenness.figures import Figure, FigureBand, at_ends
from doffer.process.evenness.passage import Passage
from doffer.process.evenness.spectrum import between_variance, through

LEAST_LN = 1e-9
JOINT_END = 1.2816 / 1.9600  # quantiles 90 % over 97.5 % of the normal: 8 of 10 cases lie between


@dataclass(frozen=True, slots=True)
class Matter:
    """What one figure does: factor on the spread at its better and at its worse end."""

    figure: Figure
    better_factor: float
    worse_factor: float

    @property
    def reach(self) -> float:
        """Size of its effect: the larger of the two, as a logarithm."""
        return max(self.better_reach, self.worse_reach)

    @property
    def better_reach(self) -> float:
        """Size of its effect at the better end, as a logarithm."""
        return abs(math.log(self.better_factor))

    @property
    def worse_reach(self) -> float:
        """Size of its effect at the worse end, as a logarithm."""
        return abs(math.log(self.worse_factor))


def what_matters(
    passage: Passage, figures: Sequence[Figure], signals: Signals, *, piece_g: float
) -> tuple[Matter, ...]:
    """Every unsure figure of the passage by what it does to the spread between pieces, most first.

    Parameters
    ----------
    passage : Passage
        With likely figures.
    signals : Signals
        What is looked at: the spread is the root of the sum of their variances.
    piece_g : float
        Oven-dry mass of one piece [g].
    """
    band = FigureBand(tuple(figures))
    likely = _sd(passage, signals, piece_g)
    found = [
        Matter(
            one,
            _sd(at_ends(passage, {one: -1.0}), signals, piece_g) / likely,
            _sd(at_ends(passage, {one: 1.0}), signals, piece_g) / likely,
        )
        for one in band.used_in(passage)
    ]
    return tuple(sorted(found, key=lambda matter: -matter.reach))


def weighed(figures: Sequence[Figure], matters: Sequence[Matter]) -> FigureBand:
    """A band whose joint ends hold 8 of 10 cases: pulls in proportion to the effects at either end.

    The ends of one figure hold 95 of 100 cases; with pulls whose squares sum to 1 the joint ends would hold
    as many, and `JOINT_END` of the way they hold 80 (normal in logarithms, computed).
    """
    return FigureBand(
        tuple(figures),
        better=_pull({one.figure.key: one.better_reach for one in matters}),
        worse=_pull({one.figure.key: one.worse_reach for one in matters}),
    )


def _pull(reach: dict[str, float]) -> tuple[tuple[str, float], ...]:
    total = math.sqrt(sum(one**2 for one in reach.values()))
    if total < LEAST_LN:
        return ()
    return tuple((key, JOINT_END * one / total) for key, one in reach.items())


def _sd(passage: Passage, signals: Signals, piece_g: float) -> float:
    variance = between_variance(through(passage, signals), masses_g=np.array([piece_g]))[:, 0]
    return math.sqrt(max(float(variance.sum()), LEAST_LN**2))
