"""Dyeing loose fibre: mass is kept, water is taken up; colour comes with the colour model."""

from __future__ import annotations

from doffer.fibre.material import Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def dye(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Dye in the wool: conditioner washes out in the kettle, fibre leaves it dripping wet."""
    usual = Usual(
        regain_after_frac=tables.plan_defaults["water_after_wash"].value,
        finish_left_frac=0.0,
        loss_words="fibre in the kettle",
    )
    return run_through("dye", material, settings, loss_fracs, tables, usual)
