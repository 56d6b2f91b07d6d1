"""What a trial tells by itself: the figure of its machine, or the variance between its pieces."""

from __future__ import annotations

import math

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.mill.evenness_facts import (
    NO_RESULT,
    CleanDownFacts,
    Facts,
    FoundFigure,
    PieceVariance,
    PulseFacts,
    SampleFacts,
    Signal,
    TrialResult,
    TuftFacts,
)
from doffer.mill.evenness_figures import HOLD_UP_OF_STAGE
from doffer.planning.evenness.calibrate import (
    Found,
    clump_from_tufts,
    hold_up_from_clean_down,
    hold_up_from_pulse,
)

POINTS = 100
MOST_CLUMPS = 3  # later passes open no further than this in the tables


def result_of(facts: Facts, *, stage: str, passes: int) -> TrialResult:
    """What comes of a trial; nothing of a photo, which is read before it is kept.

    Raises
    ------
    InputError
        A pulse that does not die away within its pieces.
    """
    match facts:
        case CleanDownFacts():
            return _figure(HOLD_UP_OF_STAGE.get(stage, ""), hold_up_from_clean_down(_dry_g(facts)))
        case PulseFacts():
            dry_g = _dry_g(facts)
            middles_g = np.cumsum(dry_g) - dry_g / 2
            found = hold_up_from_pulse(middles_g, np.array(facts.shares_frac))
            return _figure(HOLD_UP_OF_STAGE.get(stage, ""), found)
        case TuftFacts():
            return _figure(_clump_key(stage, passes), clump_from_tufts(_dry_g(facts)))
        case SampleFacts():
            return _between_samples(facts)
    return NO_RESULT


def _dry_g(facts: CleanDownFacts | PulseFacts | TuftFacts | SampleFacts) -> Floats:
    """The pieces as oven-dry fibre [g], shape (n,)."""
    return np.array(facts.masses_g) / (1 + facts.actual_regain_frac)


def _clump_key(stage: str, passes: int) -> str:
    if stage != "pick":
        return ""
    return f"clump_after_{min(passes, MOST_CLUMPS)}" if passes else "clump_fed"


def _figure(key: str, found: Found) -> TrialResult:
    if not key:
        return NO_RESULT
    figure = FoundFigure(key, found.value, found.low, found.high)
    return TrialResult(figures=(figure,), words=(found.note,) if found.note else ())


def _between_samples(facts: SampleFacts) -> TrialResult:
    """Variance between the pieces as they were measured; the standard error of a normal sample's variance.

    ``se = variance x sqrt(2 / (n - 1))``. What fibre counts and weighing add is still in it.
    """
    dry_g = _dry_g(facts)
    if facts.shares_frac:
        signal, values = Signal.SHARE, np.array(facts.shares_frac) * POINTS
    else:
        signal, values = Signal.MASS, dry_g / dry_g.mean() * POINTS
    variance = float(values.var(ddof=1))
    piece = PieceVariance(
        variance=variance,
        standard_error=variance * math.sqrt(2 / (values.size - 1)),
        n_pieces=int(values.size),
        piece_g=None if facts.length_mm else float(dry_g.mean()),
        length_mm=facts.length_mm,
    )
    return TrialResult(signal=signal, pieces=(piece,))
