"""Figures of the machines brought up to date by measured spreads: guesses that give way to measurements."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Signals
from doffer.planning.evenness.calibrate import Found
from doffer.planning.evenness.figures import CARD_HOLD_UP, GRAB, PICK_HOLD_UP, Figure, scaled
from doffer.process.evenness.passage import Passage, Pick, Toss
from doffer.process.evenness.spectrum import between_variance, through
from doffer.process.evenness.strip_window import strip_freedom, within_variance
from doffer.working import Status

LEARNED_KEYS = (PICK_HOLD_UP, CARD_HOLD_UP, GRAB)
Z_95 = 1.959963984540054  # of the normal: ends of a figure hold 95 %
MODEL_LN_SD = 0.1  # how far the closed form itself may be off: our own guess after the simulated stream
STEPS = 25
CLOSE_ENOUGH = 1e-6
NUDGE = 1e-3
LONGEST_STEP = 1.0
LEAST_VARIANCE = 1e-18  # of a passage that leaves nothing: its logarithm stays finite
UNTOLD, HALF_TOLD = 0.95, 0.5  # of the guess's width: wider is no news, in between is a narrower guess
RATIO_SENTENCE = (
    "Tossed and picked lots tell the ratio of the grab to what the picker holds, not the two apart; "
    "a lot in layers picked once without tossing tells what the picker holds."
)


@dataclass(frozen=True, eq=False, slots=True)
class Measured:
    """A measured spread of one signal after a passage.

    Parameters
    ----------
    passage : Passage
        What the lot went through up to the place of sampling, with the figures now believed.
    signals : Signals
        One signal: the share or colour axis that was measured.
    piece_g : float
        Oven-dry mass of one piece [g].
    sd : float
        Standard deviation between pieces, in the unit of the signal.
    n : int
        Pieces, >= 2.
    floor_sd : float
        What fibre counts and the reading make of it, in the same unit.
    within_g : float
        Oven-dry mass of the strip whose pieces were compared with one another [g]; 0: of pieces taken from
        all over the lot.
    n_strips : int
        Strips, each with its own mean.
    variance_error : float
        Standard error of the squared spread by the reading itself, in the unit's square; 0: not told.
    """

    passage: Passage
    signals: Signals
    piece_g: float
    sd: float
    n: int
    floor_sd: float = 0.0
    within_g: float = 0.0
    n_strips: int = 1
    variance_error: float = 0.0


@dataclass(frozen=True, slots=True)
class Learned:
    """Figures after the measurements, the ratio of grab to picker hold-up, and what can be told apart."""

    figures: tuple[Figure, ...]
    grab_to_hold_up: Found | None
    sentence: str


def learn(figures: Sequence[Figure], measured: Sequence[Measured]) -> Learned:
    """Bring hold-ups and grab up to date.

    Every figure is log-normal with its value as median and its ends as 95 %; ``ln s`` of n pieces scatters
    about ``ln sigma - 1 / (2 (n - 1))`` with variance ``1 / (2 (n - 1))`` (of chi-square) and the error of
    the closed form. The most likely figures are found by least squares in logarithms, their ends from the
    curvature there. Pieces of one strip are compared with what the passage leaves within a strip of that
    length, and count as few as it has free waves (`strip_window`).

    Raises
    ------
    InputError
        No measurement, fewer than two pieces, or a spread of nothing.
    """
    if not measured or any(one.n < 2 or one.sd <= 0 for one in measured):
        raise InputError("measured spreads", len(measured), "one or more, each above zero from two pieces")
    learned = [one for one in figures if one.key in LEARNED_KEYS and one.is_unsure and one.low > 0]
    if not learned:
        raise InputError("figures", "none", "a picker's or card's hold-up or a grab with a range to narrow")
    sigmas = np.array([math.log(one.high / one.low) / (2 * Z_95) for one in learned])
    moved, covariance = _solved(learned, sigmas, measured)
    after = dict(
        zip([one.key for one in learned], _figures(learned, moved, covariance, measured), strict=True)
    )
    told = tuple(after.get(one.key, one) for one in figures)
    is_tossed = any(isinstance(step, Toss) for one in measured for step in one.passage.steps)
    ratio = _ratio(learned, moved, covariance, n=sum(one.n for one in measured)) if is_tossed else None
    return Learned(told, ratio, RATIO_SENTENCE if ratio is not None and not _plain_pick(measured) else "")


def _plain_pick(measured: Sequence[Measured]) -> bool:
    """Whether a lot was picked without tossing, which tells the picker's hold-up alone."""
    kinds = [{type(step) for step in one.passage.steps} for one in measured]
    return any(Pick in kind and Toss not in kind for kind in kinds)


def _solved(learned: Sequence[Figure], sigmas: Floats, measured: Sequence[Measured]) -> tuple[Floats, Floats]:
    """Moves of the logarithms and their covariance, by Gauss-Newton on prior and measurements together."""
    keys = [one.key for one in learned]
    free = np.array([_freedom(one) for one in measured])
    read = np.array([one.variance_error / (2 * one.sd**2) for one in measured])
    told = np.log([one.sd for one in measured]) + 1 / (2 * free)
    errors = np.sqrt(np.maximum(1 / (2 * free), read**2) + MODEL_LN_SD**2)
    moved = np.zeros(len(keys))
    for _ in range(STEPS):
        now, slope = _predicted(keys, moved, measured)
        rows = np.concatenate([np.diag(1 / sigmas), slope / errors[:, None]])
        gaps = np.concatenate([-moved / sigmas, (told - now) / errors])
        step = np.linalg.lstsq(rows, gaps, rcond=None)[0]
        moved = moved + step * min(1.0, LONGEST_STEP / max(float(np.abs(step).max()), CLOSE_ENOUGH))
        if float(np.abs(step).max()) < CLOSE_ENOUGH:
            break
    return moved, np.linalg.inv(rows.T @ rows)


def _freedom(one: Measured) -> float:
    """Degrees of freedom of a measured spread."""
    if not one.within_g:
        return one.n - 1.0
    variation = through(one.passage, one.signals)
    free = strip_freedom(variation, piece_g=one.piece_g, strip_g=one.within_g)
    return min(one.n - 1.0, one.n_strips * float(free[0]))


def _predicted(keys: list[str], moved: Floats, measured: Sequence[Measured]) -> tuple[Floats, Floats]:
    """Logarithm of every spread (m,) and its slope by every figure (m, k)."""
    points = np.concatenate([moved[None], moved + NUDGE * np.eye(len(keys))])
    values = np.array([[_log_sd(one, keys, point) for point in points] for one in measured])
    return values[:, 0], (values[:, 1:] - values[:, :1]) / NUDGE


def _log_sd(one: Measured, keys: list[str], moved: Floats) -> float:
    passage = scaled(one.passage, dict(zip(keys, np.exp(moved).tolist(), strict=True)))
    variation = through(passage, one.signals)
    if one.within_g:
        variance = within_variance(variation, piece_g=one.piece_g, strip_g=one.within_g)[0]
    else:
        variance = between_variance(variation, masses_g=np.array([one.piece_g]))[0, 0]
    return 0.5 * math.log(max(float(variance) + one.floor_sd**2, LEAST_VARIANCE))


def _figures(
    learned: Sequence[Figure], moved: Floats, covariance: Floats, measured: Sequence[Measured]
) -> list[Figure]:
    n = sum(one.n for one in measured)
    note = f"from {n} pieces of {len(measured)} trials"
    found = []
    for figure, move, sd in zip(learned, moved.tolist(), np.sqrt(np.diag(covariance)).tolist(), strict=True):
        told = sd * 2 * Z_95 / math.log(figure.high / figure.low)
        value, half = figure.value * math.exp(move), math.exp(Z_95 * sd)
        after = dataclasses.replace(figure, value=value, low=value / half, high=value * half, note=note)
        if told < HALF_TOLD:
            after = dataclasses.replace(after, status=Status.OWN, source="own trials")
        found.append(figure if told > UNTOLD else after)
    return found


def _ratio(learned: Sequence[Figure], moved: Floats, covariance: Floats, *, n: int) -> Found | None:
    place = {one.key: at for at, one in enumerate(learned)}
    if GRAB not in place or PICK_HOLD_UP not in place:
        return None
    grab, hold = place[GRAB], place[PICK_HOLD_UP]
    log = math.log(learned[grab].value / learned[hold].value) + moved[grab] - moved[hold]
    variance = covariance[grab, grab] + covariance[hold, hold] - 2 * covariance[grab, hold]
    half = Z_95 * math.sqrt(max(0.0, float(variance)))
    return Found(math.exp(log), math.exp(log - half), math.exp(log + half), n)
