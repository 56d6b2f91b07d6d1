"""The trial card: about 20 g of every recipe are carded and measured before the blend is made.

Its measurement decides whether the blend may be made, corrects the recipe, and is one more sample blend for
the mixing constant.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError, RefusedError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import blend
from doffer.fibre.colour.calibrate import Observation
from doffer.fibre.colour.chart import Sketch
from doffer.fibre.colour.difference import de2000
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.fibre.colour.words import difference_words
from doffer.planning.shade.target import Target
from doffer.planning.shade.ways import ShadeWays
from doffer.process.portions import apportion

CG_PER_G = 100


@dataclass(frozen=True, eq=False, slots=True)
class Trial:
    """A trial card that was carded and measured.

    `lots` are the spectra of its lots, shape (k, n); `shares` theirs by oven-dry mass, shape (k,); `labs`
    what was measured under each light of the target, shape (m, 3); `reflectance` the measured spectrum where
    the instrument gives one, shape (n,).
    """

    lots: Floats
    shares: Floats
    labs: Floats
    reflectance: Floats | None = None


@dataclass(frozen=True, slots=True)
class TrialResult:
    """What a trial says: its distance to the target, how it differs, and how far the prediction was off."""

    de_to_target: float
    words: tuple[str, ...]
    prediction_off_de: float


def trial_card_cg(shares: tuple[float, ...], *, card_g: float) -> tuple[int, ...]:
    """Hundredths of a gram of each lot for a trial card, summing exactly.

    >>> trial_card_cg((0.5, 0.3, 0.2), card_g=20.0)
    (1000, 600, 400)
    """
    return apportion(round(card_g * CG_PER_G), shares)


def read_trial(trial: Trial, target: Target, ways: ShadeWays) -> TrialResult:
    """The trial beside its target and beside its prediction."""
    _check(trial, target)
    predicted = _predicted_labs(trial, target, ways)
    return TrialResult(
        de_to_target=float(target.apart(trial.labs[0])),
        words=difference_words(target.labs[0], trial.labs[0]),
        prediction_off_de=float(de2000(predicted[0], trial.labs[0])),
    )


def target_after_trial(trial: Trial, target: Target, ways: ShadeWays) -> Target:
    """The target to search again with: moved by what the prediction was off on the trial card.

    ``aim = target + (predicted - measured)`` in L*a*b* under each light, so that a recipe near the trial
    comes out on the target although the model is off. The further the new recipe is from the trial, the less
    this holds: make another card.
    """
    _check(trial, target)
    return dataclasses.replace(target, labs=target.labs + _predicted_labs(trial, target, ways) - trial.labs)


def observation_of(trial: Trial) -> Observation:
    """The trial as a sample blend for `fit_m`.

    Raises
    ------
    InputError
        It was measured as Lab only.
    """
    if trial.reflectance is None:
        raise InputError("spectrum of the trial card", None, "measured to teach the mixing constant")
    return Observation(trial.shares, trial.lots, trial.reflectance)


def release_blend(
    trial: Trial | Sketch | None, target: Target, ways: ShadeWays, *, tolerance_de: float
) -> TrialResult:
    """Leave to make the whole blend, given only on a measured trial card within the tolerance.

    Raises
    ------
    RefusedError
        No trial card, one that was only photographed, or one that is off.
    """
    act, mend = "Making the whole blend", "Card the trial card, measure it, and correct the recipe by it"
    if trial is None:
        raise RefusedError(
            act, ("no trial card was measured; the model may be wrong by more than it says",), mend
        )
    if isinstance(trial, Sketch):
        raise RefusedError(act, ("the trial card was only photographed",), mend)
    result = read_trial(trial, target, ways)
    if result.de_to_target > tolerance_de:
        off = f"the trial card is {result.de_to_target:.1f} off, more than {tolerance_de:g}"
        raise RefusedError(act, (f"{off}: {', '.join(result.words)}",), mend)
    return result


def _predicted_labs(trial: Trial, target: Target, ways: ShadeWays) -> Floats:
    mixed = blend(trial.lots, trial.shares, ways.mixing)
    return np.stack([lab_of_reflectance(mixed, one) for one in target.lights])


def _check(trial: Trial, target: Target) -> None:
    if trial.labs.shape != target.labs.shape or not np.all(np.isfinite(trial.labs)):
        allowed = "one Lab under each light of the target"
        raise InputError("measurement of the trial card", trial.labs.shape, allowed)
