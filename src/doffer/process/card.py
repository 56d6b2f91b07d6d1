"""Carding and drawing: from opened fibre to a roving (or batts)."""

from __future__ import annotations

from doffer.fibre.material import Form, Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def card(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Card to roving, or to batts when `settings.form` says so."""
    usual = Usual(form=Form.ROVING, loss_words="strips, neps and droppings")
    return run_through("card", material, settings, loss_fracs, tables, usual)


def draw(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Draw several rovings into one, as often as `settings.passes` says."""
    usual = Usual(form=Form.ROVING, loss_words="ends and lap-ups")
    return run_through("draw", material, settings, loss_fracs, tables, usual)
