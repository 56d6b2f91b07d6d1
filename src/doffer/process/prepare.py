"""Before water: skirting and tumbling."""

from __future__ import annotations

from doffer.fibre.material import Form, Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def skirt(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Pull off the bad edges: stained, short and cotted fibre goes, with the dirt on it. Common practice."""
    usual = Usual(form=Form.SKIRTED, loss_words="skirtings")
    return run_through("skirt", material, settings, loss_fracs, tables, usual)


def tumble(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Shake out sand and second cuts; how much dirt falls is the mill's own figure (`foreign_left_frac`)."""
    return run_through("tumble", material, settings, loss_fracs, tables, Usual(loss_words="second cuts"))
