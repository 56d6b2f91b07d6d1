"""Spinning and plying."""

from __future__ import annotations

from doffer.fibre.material import Form, Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def spin(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Spin singles; piecings are a share, bobbin starts and ends are the machine's grams."""
    usual = Usual(form=Form.SINGLE, loss_words="piecings and bobbin ends")
    return run_through("spin", material, settings, loss_fracs, tables, usual)


def ply(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Ply singles together; what is left on unequal bobbins is lost."""
    usual = Usual(form=Form.PLIED, loss_words="unequal bobbin ends")
    return run_through("ply", material, settings, loss_fracs, tables, usual)
