"""Figures that a forecast rests on, each with its ends and whose it is, and the passages they make.

Until a mill has measured its own machines a forecast is right within a factor of about 2.5 only (computed
from the usual ranges), so nothing here is said as one number: every passage is run with the figures that
mix best, with the likely ones, and with those that mix worst.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.process.evenness.passage import Card, Draw, Passage, Pick, Step, Toss
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

PICK_HOLD_UP, CARD_HOLD_UP, GRAB = "picker_hold_up", "card_hold_up", "bin_grab"  # rows of evenness_figures
CLUMP_FED, CLUMPS = "clump_fed", ("clump_after_1", "clump_after_2", "clump_after_3")
SHARED, WEIGHING, HELD = "end_correlation", "layer_weighing_sd", "sandwich_held"
WORDS = {
    PICK_HOLD_UP: "what the picker holds",
    GRAB: "one grab out of the bin",
    CARD_HOLD_UP: "what the card holds",
    CLUMP_FED: "weight of the locks as fed",
    CLUMPS[0]: "clumps after the first picking",
    CLUMPS[1]: "clumps after the second picking",
    CLUMPS[2]: "clumps after the third picking",
    SHARED: "what all ends of a drawing have in common",
    WEIGHING: "how far a layer strays from its weight",
    HELD: "how much of a sandwich enters the nip together",
}
G_PER_KG = 1000.0
MIXES_BETTER_WHEN_LARGE = frozenset({PICK_HOLD_UP, CARD_HOLD_UP, HELD})


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
    """All figures of a forecast, and how far each is to be moved for its two ends.

    Unsure figures are not all at their bad ends at once: each is moved by its own part of the way (on a scale
    of ratios) toward its better or its worse end, see `sensitivity.weighed`. A figure without a part stays
    likely.
    """

    figures: tuple[Figure, ...]
    better: tuple[tuple[str, float], ...] = ()
    worse: tuple[tuple[str, float], ...] = ()

    @property
    def own(self) -> tuple[Figure, ...]:
        """Figures the mill has measured."""
        return tuple(one for one in self.figures if one.is_own)

    @property
    def guessed(self) -> tuple[Figure, ...]:
        """Figures that are nobody's measurement here."""
        return tuple(one for one in self.figures if not one.is_own)

    def used_in(self, passage: Passage) -> tuple[Figure, ...]:
        """The unsure figures that this passage has a use for."""
        used = _used(passage)
        return tuple(one for one in self.figures if one.key in used and one.is_unsure)

    def low(self, passage: Passage) -> Passage:
        """The passage with figures that mix better than likely."""
        parts = dict(self.better)
        return at_ends(passage, {one: -parts[one.key] for one in self.figures if one.key in parts})

    def high(self, passage: Passage) -> Passage:
        """The passage with figures that mix worse than likely."""
        parts = dict(self.worse)
        return at_ends(passage, {one: parts[one.key] for one in self.figures if one.key in parts})


def usual_figures(tables: Tables, own: Iterable[Figure] = ()) -> tuple[Figure, ...]:
    """Figures of table evenness_figures with the mill's own in their place."""
    measured = {one.key: one for one in own}
    return tuple(measured.get(key) or _of_table(tables, key) for key in WORDS)


def _of_table(tables: Tables, key: str) -> Figure:
    row = tables.evenness_figures[key]
    low = row.value if row.low is None else row.low
    high = row.value if row.high is None else row.high
    source = tables.sources[row.source].title
    unit = "" if row.unit == "ratio" else row.unit
    return Figure(key, WORDS[key], row.value, low, high, unit, source, row.status, row.note)


def usual_steps(
    figures: Iterable[Figure], *, passes: int, draws: Iterable[Draw] = (), sandwich_g: float = 0.0
) -> tuple[Step, ...]:
    """Pick and toss so often, card, then draw: a route with these figures at their likely values.

    A sandwich enters at the first pass alone: what was picked has no layers left to lie upon one another.
    """
    value = {one.key: one.value for one in figures}
    steps: list[Step] = []
    for number in range(passes):
        clump_g = value[CLUMPS[min(number, len(CLUMPS) - 1)]]
        held_g = 0.0 if number else sandwich_g
        steps += [Pick(value[PICK_HOLD_UP], held_g, clump_g), Toss(value[GRAB])]
    shared = value[SHARED]
    drawn = (dataclasses.replace(draw, correlation=max(shared, draw.correlation)) for draw in draws)
    return (*steps, Card(value[CARD_HOLD_UP]), *drawn)


def sandwich_enters_g(figures: Iterable[Figure], tables: Tables, *, laid_g: float) -> float:
    """What of a sandwich as laid enters the nip at once [g]: what the nip takes, of that the share held.

    Figures ``sandwich_most`` (of table evenness_figures) and ``sandwich_held``.
    """
    held = next(one.value for one in figures if one.key == HELD)
    return held * min(laid_g, tables.evenness_figures["sandwich_most"].value)


def small_lot_factor(passage: Passage, tables: Tables) -> float:
    """By how much the spread of a small lot may lie above the closed form; 1 for others, undrawn too."""
    rows = tables.evenness_figures
    is_drawn = any(isinstance(step, Draw) for step in passage.steps)
    is_small = passage.feed.lot_dry_mass_g < G_PER_KG * rows["small_lot_range"].value
    return rows["small_lot_factor"].value if is_drawn and is_small else 1.0


def _used(passage: Passage) -> frozenset[str]:
    kinds = {type(step) for step in passage.steps}
    picks = sum(isinstance(step, Pick) for step in passage.steps)
    used = {
        PICK_HOLD_UP: Pick in kinds,
        CARD_HOLD_UP: Card in kinds,
        GRAB: Toss in kinds,
        SHARED: Draw in kinds,
        WEIGHING: passage.feed.weighing_sd_g > 0,
        CLUMP_FED: passage.feed.clump_g > 0,
        HELD: any(isinstance(step, Pick) and step.sandwich_g > 0 for step in passage.steps),
    }
    clumps = {key for number, key in enumerate(CLUMPS) if number < picks}
    return frozenset({key for key, is_used in used.items() if is_used} | clumps)


def at_ends(passage: Passage, moves: Mapping[Figure, float]) -> Passage:
    """The passage with figures moved toward their worse (up to 1) or better (down to -1) ends."""
    ratios = {one.key: one.end(worse=worse) / one.value for one, worse in moves.items() if one.value > 0}
    added = sum(one.end(worse=worse) - one.value for one, worse in moves.items() if one.key == SHARED)
    return scaled(passage, ratios, added_share=added)


def scaled(passage: Passage, ratios: Mapping[str, float], *, added_share: float = 0.0) -> Passage:
    """The passage with its figures multiplied by ratios, so that each pass keeps its own.

    Parameters
    ----------
    ratios : mapping of str to float
        By key of a figure; a key that is not there is left alone.
    added_share : float
        Added to the correlation between ends, which is kept from 0 to 1.
    """
    feed = dataclasses.replace(
        passage.feed,
        clump_g=passage.feed.clump_g * ratios.get(CLUMP_FED, 1.0),
        weighing_sd_g=passage.feed.weighing_sd_g * ratios.get(WEIGHING, 1.0),
    )
    steps: list[Step] = []
    picks = 0
    for step in passage.steps:
        clump = CLUMPS[min(picks, len(CLUMPS) - 1)]
        steps.append(_scaled_step(step, ratios, clump=clump, added_share=added_share))
        picks += isinstance(step, Pick)
    return Passage(feed, tuple(steps), passage.strand_tex)


def _scaled_step(step: Step, ratios: Mapping[str, float], *, clump: str, added_share: float) -> Step:
    match step:
        case Pick():
            return dataclasses.replace(
                step,
                hold_up_g=step.hold_up_g * ratios.get(PICK_HOLD_UP, 1.0),
                sandwich_g=step.sandwich_g * ratios.get(HELD, 1.0),
                clump_g=step.clump_g * ratios.get(clump, 1.0),
            )
        case Toss():
            return Toss(step.increment_g * ratios.get(GRAB, 1.0))
        case Card():
            return Card(step.hold_up_g * ratios.get(CARD_HOLD_UP, 1.0))
        case Draw() if added_share:
            return dataclasses.replace(step, correlation=min(1.0, max(0.0, step.correlation + added_share)))
    return step
