"""What a photo of a strip showed, beside what such a strip would show by the forecast: like with like."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.variation import Signals
from doffer.mill.evenness_facts import PhotoFacts, SampleFacts, Signal
from doffer.mill.queries.evenness import TrialRow
from doffer.office.evenness_blend import Route
from doffer.office.evenness_pictures import G_PER_MM_PER_TEX
from doffer.pictures.variance_length import Measured
from doffer.process.evenness.passage import Card, Draw, Passage, Pick
from doffer.process.evenness.spectrum import through
from doffer.process.evenness.strip_window import within_variance
from doffer.tables.loader import Tables

STEP_OF = {"pick": Pick, "card": Card, "draw": Draw}
PHOTO, ERRORS = "photo", 2.0
STRANDS = ("card", "draw")
LEAST_PIECES = 2.5  # a length is compared within strips that hold as many pieces of it
WITHIN_POINTS = 12


@dataclass(frozen=True, slots=True)
class Photographed:
    """The newest photo of a carded or drawn strip: its points as the chart counts them, and its trial."""

    points: tuple[Measured, ...]
    trial: TrialRow


def measured_of(trials: Sequence[TrialRow], tables: Tables) -> Photographed | None:
    """What the newest photo of a carded or drawn strip showed, as the chart counts it."""
    told = (one for one in trials if one.counts and one.kind == PHOTO and one.result.pieces)
    photo = next((one for one in told if one.stage in STRANDS), None)
    if photo is None:
        return None
    times = tables.evenness_figures["pair_95"].value
    found = []
    for piece in photo.result.pieces:
        if piece.length_mm is None:
            continue
        ends = [piece.variance + k * piece.standard_error for k in (-ERRORS, 0.0, ERRORS)]
        low, mid, high = (times * math.sqrt(max(0.0, end)) for end in ends)
        found.append(Measured(piece.length_mm, mid, low, high, within_mm=strip_mm(photo)))
    return Photographed(tuple(found), photo)


def strip_mm(trial: TrialRow) -> float:
    """Length of one strip of a photo; 0 for pieces from all over a lot."""
    facts = trial.facts
    return facts.length_mm / facts.n_strips if isinstance(facts, PhotoFacts) else 0.0


def strand_tex(route: Route, trial: TrialRow) -> float:
    """Count of the strand that was tried: as it was told with the photo, else as the route has it."""
    facts = trial.facts
    told = facts.strand_tex if isinstance(facts, PhotoFacts) else None
    return told or route.passage.strand_tex


def within_strip(route: Route, trial: TrialRow) -> tuple[tuple[float, float], ...]:
    """What 95 of 100 pairs of pieces of such a strip stay within by the likely figures: lengths and dE.

    Nothing where the route never comes to where the strip was taken, or its colours are not known.
    """
    passage, signals = up_to(route.passage, trial.stage, passes=trial.passes), signals_of(route, trial)
    longest = strip_mm(trial) / LEAST_PIECES
    shortest = min((one.length_mm or longest for one in trial.result.pieces), default=longest)
    if passage is None or signals is None or not shortest < longest:
        return ()
    variation = through(passage, signals)
    times = route.inputs.tables.evenness_figures["pair_95"].value
    g_per_mm = strand_tex(route, trial) * G_PER_MM_PER_TEX
    found = []
    for length_mm in np.geomspace(shortest, longest, WITHIN_POINTS).tolist():
        variance = within_variance(
            variation, piece_g=length_mm * g_per_mm, strip_g=strip_mm(trial) * g_per_mm
        )
        found.append((length_mm, times * math.sqrt(float(variance[0]))))
    return tuple(found)


def up_to(passage: Passage, stage: str, *, passes: int) -> Passage | None:
    """The passage up to the place where a trial was taken; None where it never came there."""
    kind = STEP_OF.get(stage)
    places = [at for at, step in enumerate(passage.steps, start=1) if kind and isinstance(step, kind)]
    if not 1 <= passes <= len(places):
        return None
    return Passage(passage.feed, passage.steps[: places[passes - 1]], passage.strand_tex)


def signals_of(route: Route, trial: TrialRow) -> Signals | None:
    """Along what a trial was measured: lightness, the way of one lot's colour, or the share of one lot."""
    names, slope = [part.name for part in route.passage.feed.parts], route.slope_lab
    kind = trial.result.signal
    if kind == Signal.LIGHTNESS and slope is not None:
        return Signals(("lightness",), slope[:1])
    facts = trial.facts
    if not isinstance(facts, PhotoFacts | SampleFacts) or facts.component not in names:
        return None
    at = names.index(facts.component)
    if kind == Signal.COLOUR and slope is not None and isinstance(facts, PhotoFacts):
        toward = slope[:, at]
        return Signals(("colour",), (toward / np.linalg.norm(toward) @ slope)[None])
    if kind == Signal.SHARE and isinstance(facts, SampleFacts):
        return Signals((names[at],), np.eye(len(names))[at : at + 1])
    return None
