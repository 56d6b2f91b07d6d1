"""Everything a person needs to know of a recipe, from its lots and shares."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.colour.blend import BlendModel, blend
from doffer.fibre.colour.difference import apart, de2000, de_cmc
from doffer.fibre.colour.metamerism import metamerism_de
from doffer.fibre.colour.predict import Band, as_lab, predict_band
from doffer.fibre.colour.spectrum import lab_of_reflectance
from doffer.planning.shade.target import Recipe, Stock, Target, score_of
from doffer.planning.shade.trial import trial_card_cg
from doffer.planning.shade.ways import ShadeWays
from doffer.tables.loader import Tables

POINT = 0.01  # one percentage point of a share


def recipe_of(lots: Sequence[int], shares: Floats, stock: Stock, target: Target, ways: ShadeWays) -> Recipe:
    """A set of lots with shares, places of lots (k,) and shares (k,), as a `Recipe`, largest share first."""
    order = np.argsort(-shares, kind="stable")
    chosen, w = np.asarray(lots, dtype=np.intp)[order], np.asarray(shares)[order]
    spectra = stock.reflectance[chosen]
    labs = labs_under(spectra, w, target, ways)
    by_light = apart(target.labs, labs, target.formula)
    is_metamerism_known = target.has_spectrum and len(target.lights) > 1
    return Recipe(
        lots=tuple(stock.names[lot] for lot in chosen),
        shares=tuple(float(x) for x in w),
        lab=as_lab(labs[0]),
        de={one.illuminant: float(x) for one, x in zip(target.lights, by_light, strict=True)},
        de_cmc=float(de_cmc(target.labs[0], labs[0])),
        metamerism=metamerism_de(target.labs, labs, target.lights) if is_metamerism_known else None,
        score=float(score_of(labs[None], target)[0]),
        band=band_of(spectra, w, target, ways),
        cost_cents_per_kg=float(w @ stock.cost_cents_per_kg[chosen]),
        de_per_point=_de_per_point(spectra, w, target, ways),
        trial_card_cg=trial_card_cg(tuple(float(x) for x in w), card_g=ways.trial_card_g),
        formula=target.formula,
    )


def surest_first(recipes: Sequence[Recipe], tables: Tables) -> tuple[Recipe, ...]:
    """Recipes as a person should try them: of those the model cannot tell apart, the one it is surest of.

    Scores within shade_least_told (table constants) of the best count as alike; they are ordered by how far
    off they may be at worst over the band of M, then by cost. The others follow as they came.
    """
    if not recipes:
        return ()
    near = min(one.score for one in recipes) + tables.constants["shade_least_told"].value
    alike = sorted((one for one in recipes if one.score <= near), key=_worst_then_cost)
    return (*alike, *(one for one in recipes if one.score > near))


def _worst_then_cost(recipe: Recipe) -> tuple[float, float]:
    worst = recipe.band.de_high if recipe.band is not None else None
    return round(recipe.score if worst is None else worst, 1), recipe.cost_cents_per_kg


def labs_under(spectra: Floats, shares: Floats, target: Target, ways: ShadeWays) -> Floats:
    """Lab of a blend under every light of the target, shape (..., m, 3), for shares of shape (..., k)."""
    mixed = blend(spectra, shares, ways.mixing)
    return np.stack([lab_of_reflectance(mixed, one) for one in target.lights], axis=-2)


def band_of(spectra: Floats, shares: Floats, target: Target, ways: ShadeWays) -> Band | None:
    """How the answer moves with M; None for a model without M."""
    if ways.mixing.model is not BlendModel.STEARNS_NOECHEL:
        return None
    return predict_band(
        spectra,
        shares,
        target.lights[0],
        mixing=ways.mixing,
        ln_m_sd=ways.ln_m_sd,
        standard_lab=target.labs[0],
        formula=target.formula,
    )


def _de_per_point(spectra: Floats, shares: Floats, target: Target, ways: ShadeWays) -> tuple[float, ...]:
    """How far the blend moves when one lot is a percentage point too heavy, the others in proportion."""
    off = shares + POINT * (np.eye(len(shares)) - shares)
    moved = labs_under(spectra, off, target, ways)[:, 0]
    return tuple(float(x) for x in de2000(labs_under(spectra, shares, target, ways)[0], moved))
