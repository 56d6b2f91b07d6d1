"""What other models would add to a batch, and how far off a plan is if they are right."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import BlendModel, Mixing, blend
from doffer.fibre.colour.predict import mixing_ends
from doffer.fibre.colour.spectrum import lab_of_reflectance, three_bands
from doffer.planning.shade.correct import Batch, Correction, correct_batch, corrections_by_model
from doffer.planning.shade.target import Stock, Target
from doffer.planning.shade.ways import ShadeWays

FOUR_IN_FIVE_SD = 1.2816  # of a normal distribution: 80 % lie within this many standard deviations
ENDS_SD = 2.0  # `mixing_ends` goes this many standard errors out
WITHOUT_SPECTRA = "without_spectra"


@dataclass(frozen=True, slots=True)
class OtherAnswer:
    """What one model would add, oven-dry [g] by lot, and how far off this plan is if that model is right.

    `m` is its constant, None without one; `this_plan_then_off_de` is None where the model says
    nothing of spectra.
    """

    model: str
    m: float | None
    added_dry_mass_g: Mapping[str, float] = dataclasses.field(hash=False)
    this_plan_then_off_de: float | None


def other_answers(
    batch: Batch,
    best: Correction,
    *,
    target: Target,
    stock: Stock,
    owners: frozenset[str],
    ways: ShadeWays,
    tolerance_de: float,
    most_added_frac: float,
) -> tuple[OtherAnswer, ...]:
    """The two ends of where M lies four times in five, plain averaging, and the model without spectra.

    How much these differ from the plan is how much hangs on the trial card. Models without M have no ends.

    Parameters
    ----------
    best : Correction
        The plan, as `correct_batch` found it by the mill's own model.
    """
    ends: tuple[Mixing, ...] = ()
    if ways.mixing.model is BlendModel.STEARNS_NOECHEL:
        ends = mixing_ends(ways.mixing, ln_m_sd=ways.ln_m_sd * FOUR_IN_FIVE_SD / ENDS_SD)
    mixings = (*ends, Mixing(BlendModel.PLAIN_AVERAGE))
    answers = corrections_by_model(
        batch,
        mixings,
        target=target,
        stock=stock,
        owners=owners,
        ways=ways,
        tolerance_de=tolerance_de,
        most_added_frac=most_added_frac,
    )
    places = [stock.names.index(name) for name in best.lots]
    spectra = np.concatenate([batch.reflectance, stock.reflectance[places]])
    masses_g = np.concatenate([batch.dry_mass_g, best.added_dry_mass_g])
    rows = []
    for mixing, answer in zip(mixings, answers, strict=True):
        made = lab_of_reflectance(blend(spectra, masses_g / masses_g.sum(), mixing), target.lights[0])
        off_de = float(target.apart(made))
        rows.append(OtherAnswer(str(mixing.model), mixing.constant or None, _added(answer), off_de))
    alone = _without_spectra(
        batch,
        target=target,
        stock=stock,
        owners=owners,
        ways=ways,
        tolerance_de=tolerance_de,
        most_added_frac=most_added_frac,
    )
    return (*rows, OtherAnswer(WITHOUT_SPECTRA, ways.mixing.constant or None, _added(alone), None))


def _added(answer: Correction | None) -> dict[str, float]:
    return dict(zip(answer.lots, answer.added_dry_mass_g, strict=True)) if answer else {}


def _without_spectra(
    batch: Batch,
    *,
    target: Target,
    stock: Stock,
    owners: frozenset[str],
    ways: ShadeWays,
    tolerance_de: float,
    most_added_frac: float,
) -> Correction | None:
    """The same model on the three ratios X/Xn, Y/Yn, Z/Zn alone: a second opinion where only Lab is known."""
    seen_in = target.lights[0]
    found = correct_batch(
        Batch(_ratios(batch.reflectance, seen_in.weights, seen_in.white_xyz), batch.dry_mass_g),
        target=Target(
            target.labs[:1],
            (three_bands(seen_in),),
            target.light_weights[:1],
            has_spectrum=target.has_spectrum,
            formula=target.formula,
        ),
        stock=dataclasses.replace(
            stock, reflectance=_ratios(stock.reflectance, seen_in.weights, seen_in.white_xyz)
        ),
        owners=owners,
        ways=ways,
        tolerance_de=tolerance_de,
        most_added_frac=most_added_frac,
        n_results=1,
    )
    return found[0] if found else None


def _ratios(reflectance: Floats, weights: Floats, white_xyz: Floats) -> Floats:
    return np.asarray(reflectance @ weights / white_xyz)
