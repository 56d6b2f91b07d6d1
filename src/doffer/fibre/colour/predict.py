"""What a blend will look like, how far that moves with the constant, and what other models would say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import (
    MOST_M,
    OF_SPECTRA,
    BlendModel,
    Mixing,
    blend,
    default_mixing,
    stearns_noechel,
    two_constant_reflectance,
)
from doffer.fibre.colour.difference import Formula, apart, de2000
from doffer.fibre.colour.spectrum import Light, lab_of_reflectance
from doffer.tables.loader import Tables

N_ERRORS = 2.0  # standard errors to either side: about 95 %
TWO_CONSTANT = "two_constant"

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Band:
    """A predicted colour with the ends of its band as the constant runs over about 95 % of its range.

    `moved_de` is how far the colour moves to the farther end; `de` is the distance to the standard with
    `de_low` and `de_high` the least and most over the band (None without a standard). All CIEDE2000.
    """

    lab: Lab
    lab_low_m: Lab
    lab_high_m: Lab
    moved_de: float
    de: float | None = None
    de_low: float | None = None
    de_high: float | None = None


@dataclass(frozen=True, slots=True)
class ModelAnswer:
    """What one model says: its Lab, its distance to the standard (None without one), to the first model."""

    model: str
    constant: float | None
    lab: Lab
    de_to_standard: float | None
    de_to_first: float


@dataclass(frozen=True, slots=True)
class PublishedError:
    """Published errors of a model, CIEDE2000: lowest and highest mean, and the largest single one."""

    mean_low_de: float
    mean_high_de: float
    most_de: float | None


def default_ln_m_sd(tables: Tables) -> float:
    """Standard deviation of ln M before the mill has fitted its own (table colour_models)."""
    return tables.colour_models["stearns_noechel/ln_m_sd/any"].value


def mixing_ends(mixing: Mixing, *, ln_m_sd: float) -> tuple[Mixing, Mixing]:
    """The model with ``M exp(-2 sd)`` and ``M exp(+2 sd)``: about 95 % of where M may lie.

    Raises
    ------
    InputError
        A model without M, or a negative spread.
    """
    if mixing.model is not BlendModel.STEARNS_NOECHEL:
        raise InputError(
            "blend model", str(mixing.model), "Stearns-Noechel; only its constant has a known spread"
        )
    if ln_m_sd < 0:
        raise InputError("spread of ln M", ln_m_sd, "zero or more")
    spread = float(np.exp(N_ERRORS * ln_m_sd))
    return stearns_noechel(mixing.constant / spread), stearns_noechel(min(MOST_M, mixing.constant * spread))


def predict_band(
    lots: Floats,
    shares: Floats,
    seen_in: Light,
    *,
    mixing: Mixing,
    ln_m_sd: float,
    standard_lab: Floats | None = None,
    formula: Formula = Formula.DE2000,
) -> Band:
    """Colour of one blend and its band from M -2 to +2 standard errors.

    Parameters
    ----------
    lots : ndarray, shape (k, n)
        Reflectance of the lots.
    shares : ndarray, shape (k,)
        Shares by oven-dry mass.
    ln_m_sd : float
        Standard error of ln M: of the fit, or `default_ln_m_sd`.
    standard_lab : ndarray, shape (3,), optional
        The colour that is wanted.
    formula : Formula
        What the difference to it is reckoned in.
    """
    ends = mixing_ends(mixing, ln_m_sd=ln_m_sd)
    labs = np.stack([lab_of_reflectance(blend(lots, shares, one), seen_in) for one in (mixing, *ends)])
    moved = float(de2000(labs[:1], labs[1:]).max())
    lab, low, high = (as_lab(row) for row in labs)
    if standard_lab is None:
        return Band(lab, low, high, moved)
    off = apart(np.broadcast_to(standard_lab, labs.shape), labs, formula)
    return Band(lab, low, high, moved, float(off[0]), float(off.min()), float(off.max()))


def compare_models(
    lots: Floats,
    shares: Floats,
    seen_in: Light,
    *,
    mixings: Sequence[Mixing],
    standard_lab: Floats | None = None,
    constants: tuple[Floats, Floats] | None = None,
    formula: Formula = Formula.DE2000,
) -> tuple[ModelAnswer, ...]:
    """The same blend by several models, in the order given; the others are measured against the first.

    Parameters
    ----------
    lots : ndarray, shape (k, n)
        Reflectance of the lots.
    shares : ndarray, shape (k,)
        Shares by oven-dry mass.
    mixings : sequence of Mixing
        See `usual_mixings`.
    standard_lab : ndarray, shape (3,), optional
        The colour that is wanted.
    constants : pair of ndarray, shape (k, n), optional
        Absorption and scattering of every lot: adds two-constant Kubelka-Munk, last.
    formula : Formula
        What the difference to the wanted colour is reckoned in.

    Raises
    ------
    InputError
        No model asked for.
    """
    if not mixings:
        raise InputError("models to compare", "none", "one or more")
    labs = [lab_of_reflectance(blend(lots, shares, one), seen_in) for one in mixings]
    told: list[tuple[str, float | None]] = [(str(one.model), one.constant or None) for one in mixings]
    if constants is not None:
        labs.append(lab_of_reflectance(two_constant_reflectance(*constants, shares), seen_in))
        told.append((TWO_CONSTANT, None))
    return tuple(
        ModelAnswer(
            model,
            constant,
            as_lab(lab),
            None if standard_lab is None else float(apart(standard_lab, lab, formula)),
            float(de2000(labs[0], lab)),
        )
        for (model, constant), lab in zip(told, labs, strict=True)
    )


def usual_mixings(tables: Tables, first: Mixing) -> tuple[Mixing, ...]:
    """The mill's own model first, then every other with its published constant, plain averaging last."""
    others = [model for model in OF_SPECTRA if model is not first.model]
    return (first, *(default_mixing(tables, model) for model in others))


def published_error(tables: Tables, model: str) -> PublishedError:
    """What publications found a model to be off by when fitted (table colour_models).

    Raises
    ------
    InputError
        Nothing was published on this model.
    """
    found = [row for row in tables.colour_models.values() if row.model == model]
    means = [row.value for row in found if row.quantity == "error_mean"]
    if not means:
        raise InputError("blend model", model, "one with a published error: see table colour_models")
    most = [row.value for row in found if row.quantity == "error_most"]
    return PublishedError(min(means), max(means), max(most, default=None))


def as_lab(row: Floats) -> Lab:
    """Three plain numbers."""
    lightness, a, b = (float(x) for x in row)
    return lightness, a, b
