"""Figures that a forecast rests on, each with its ends and whose it is, and the passages they make.

Until a mill has measured its own machines a forecast is right within a factor of about 2.5 only (computed
from the usual ranges), so nothing here is said as one number: every passage is run with the figures that
mix best, with the likely ones, and with those that mix worst.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.process.evenness.passage import Card, Draw, Feed, Passage, Pick, Step, Toss
from doffer.working import Status, Term, Working

PICK_HOLD_UP, CARD_HOLD_UP, GRAB, CLUMP = (
    "pick_hold_up_g",
    "card_hold_up_g",
    "bin_increment_g",
    "feed_clump_g",
)
SHARED, WEIGHING = "end_correlation", "layer_weighing_sd_g"
MIXES_BETTER_WHEN_LARGE = frozenset({PICK_HOLD_UP, CARD_HOLD_UP})


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the machines: its likely value, the ends of its range, and on whose word.

    Parameters
    ----------
    key : str
        What it is, as in table evenness_figures.
    words : str
        What a mill person calls it.
    value, low, high : float
        Likely value and the ends of about 95 % of where it may lie, all above zero or zero.
    unit : str
        Unit word of `pictures.wording`.
    """

    key: str
    words: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    status: Status
    note: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.value <= self.high:
            raise InputError(self.words, (self.low, self.value, self.high), "three rising numbers from zero")

    @property
    def is_own(self) -> bool:
        """Measured by the mill, not guessed."""
        return self.status is Status.OWN

    @property
    def is_unsure(self) -> bool:
        """Whether it has a range at all."""
        return self.high > self.low

    def end(self, *, worse: float) -> float:
        """The figure moved toward the end that mixes worse (`worse` up to 1) or better (down to -1)."""
        up = -worse if self.key in MIXES_BETTER_WHEN_LARGE else worse
        end = self.high if up > 0 else self.low
        if min(end, self.value) <= 0:
            return self.value + abs(up) * (end - self.value)
        return self.value * math.exp(abs(up) * math.log(end / self.value))

    def working(self) -> Working:
        """Where the figure comes from."""
        return Working(
            title=self.words[:1].upper() + self.words[1:],
            formula="measured by the mill" if self.is_own else "a usual figure; measure your own",
            inputs=(Term("low", self.low, self.unit), Term("high", self.high, self.unit)),
            result=Term(self.words, self.value, self.unit),
            source=self.source,
            status=self.status,
            note=self.note,
        )


@dataclass(frozen=True, slots=True)
class FigureBand:
    """All figures of a forecast.

    Several unsure figures are not all at their bad ends at once: with n of them that matter, each is moved
    by ``1 / sqrt(n)`` of its way (on a scale of ratios), which keeps the joint chance of the ends.
    """

    figures: tuple[Figure, ...]

    @property
    def own(self) -> tuple[Figure, ...]:
        """Figures the mill has measured."""
        return tuple(one for one in self.figures if one.is_own)

    @property
    def guessed(self) -> tuple[Figure, ...]:
        """Figures that are nobody's measurement here."""
        return tuple(one for one in self.figures if not one.is_own)

    def of(self, key: str) -> Figure | None:
        """The figure of this key."""
        return next((one for one in self.figures if one.key == key), None)

    def used_in(self, passage: Passage) -> tuple[Figure, ...]:
        """The unsure figures that this passage has a use for."""
        used = {key for key, is_used in _uses(passage).items() if is_used}
        return tuple(one for one in self.figures if one.key in used and one.is_unsure)

    def low(self, passage: Passage) -> Passage:
        """The passage with figures that mix better than likely."""
        return self._moved(passage, worse=-1.0)

    def high(self, passage: Passage) -> Passage:
        """The passage with figures that mix worse than likely."""
        return self._moved(passage, worse=1.0)

    def with_one(self, passage: Passage, key: str, *, worse: float) -> Passage:
        """The passage with one figure at its end, all others likely."""
        return _with_figures(passage, {one.key: (one, worse) for one in self.figures if one.key == key})

    def _moved(self, passage: Passage, *, worse: float) -> Passage:
        used = self.used_in(passage)
        part = worse / math.sqrt(len(used)) if used else 0.0
        return _with_figures(passage, {one.key: (one, part) for one in used})


def _uses(passage: Passage) -> dict[str, bool]:
    steps, feed = passage.steps, passage.feed
    return {
        PICK_HOLD_UP: any(isinstance(step, Pick) for step in steps),
        CARD_HOLD_UP: any(isinstance(step, Card) for step in steps),
        GRAB: any(isinstance(step, Toss) for step in steps),
        CLUMP: feed.clump_g > 0 or any(isinstance(step, Pick) and step.clump_g > 0 for step in steps),
        SHARED: any(isinstance(step, Draw) for step in steps),
        WEIGHING: feed.weighing_sd_g > 0,
    }


Moves = Mapping[str, tuple[Figure, float]]


def _scaled(amount: float, key: str, moves: Moves) -> float:
    """An amount of the passage moved as its figure moves: by ratio, so that each pass keeps its own."""
    if key not in moves:
        return amount
    figure, worse = moves[key]
    end = figure.end(worse=worse)
    return amount * end / figure.value if figure.value > 0 else end


def _with_figures(passage: Passage, moves: Moves) -> Passage:
    feed: Feed = dataclasses.replace(
        passage.feed,
        clump_g=_scaled(passage.feed.clump_g, CLUMP, moves),
        weighing_sd_g=_scaled(passage.feed.weighing_sd_g, WEIGHING, moves),
    )
    return Passage(feed, tuple(_moved_step(step, moves) for step in passage.steps), passage.strand_tex)


def _moved_step(step: Step, moves: Moves) -> Step:
    match step:
        case Pick():
            return dataclasses.replace(
                step,
                hold_up_g=_scaled(step.hold_up_g, PICK_HOLD_UP, moves),
                clump_g=_scaled(step.clump_g, CLUMP, moves),
            )
        case Toss():
            return Toss(_scaled(step.increment_g, GRAB, moves))
        case Card():
            return Card(_scaled(step.hold_up_g, CARD_HOLD_UP, moves))
        case Draw() if SHARED in moves:
            figure, worse = moves[SHARED]
            shared = min(1.0, max(0.0, step.correlation + figure.end(worse=worse) - figure.value))
            return dataclasses.replace(step, correlation=shared)
    return step
