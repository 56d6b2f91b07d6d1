"""Opening: pick with conditioner, rest, dehair."""

from __future__ import annotations

import dataclasses

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.material import Form, Material
from doffer.fibre.moisture import agreed_regain_frac
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def pick(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Open the locks; the conditioner sprayed on the layers stays, its water is added to the regain.

    Conditioner is dosed on conditioned fibre (agreed regain): ``finish_f = d_f (1 + A_f) x dose``; it lies
    on what goes in, so waste takes its part of it along.
    """
    usual = Usual(form=Form.OPENED, loss_words="dust, short fibre and fly")
    return run_through("pick", conditioned(material, settings, tables), settings, loss_fracs, tables, usual)


def conditioned(material: Material, settings: StageSettings, tables: Tables) -> Material:
    """The material with the conditioner and its water on it."""
    if settings.finish_frac_owf == 0:
        return material
    product = _agreed_mass_g(material, tables) * settings.finish_frac_owf
    water_mass_g = float(product.sum(axis=0).mean()) * settings.finish_water_parts
    return _with_spray(material, product, water_mass_g=water_mass_g)


def sprayed(material: Material, tables: Tables, *, product_mass_g: float, water_mass_g: float) -> Material:
    """The material with these grams of conditioner and water on it, spread as agreed masses lie in it.

    The oil stays as finish; the water is added to the regain: ``R + water / oven-dry fibre``.
    """
    agreed = _agreed_mass_g(material, tables)
    total = agreed.sum(axis=0)
    shares = np.divide(agreed, total, out=np.zeros_like(agreed), where=total > 0)
    return _with_spray(material, shares * product_mass_g, water_mass_g=water_mass_g)


def _agreed_mass_g(material: Material, tables: Tables) -> Floats:
    """Each constituent at its agreed regain [g], shape (k, n)."""
    agreed = np.array([[agreed_regain_frac(tables, part.fibre)] for part in material.constituents])
    return np.asarray(material.dry_mass_g * (1 + agreed))


def _with_spray(material: Material, product_mass_g: Floats, *, water_mass_g: float) -> Material:
    dry_mass_g = float(material.total_dry_mass_g.mean())
    water_frac = water_mass_g / dry_mass_g if dry_mass_g > 0 else 0.0
    return dataclasses.replace(
        material,
        finish_mass_g=material.finish_mass_g + product_mass_g,
        actual_regain_frac=material.actual_regain_frac + water_frac,
    )


def rest(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Stand covered until water and conditioner are even; regain settles in the room of the settings."""
    return run_through("rest", material, settings, loss_fracs, tables, Usual())


def dehair(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Take guard hair out; the share is large and is the point of the stage, so it is named."""
    usual = Usual(form=Form.OPENED, loss_words="guard hair and short fibre")
    return run_through("dehair", material, settings, loss_fracs, tables, usual)
