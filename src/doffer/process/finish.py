"""Setting and skeining."""

from __future__ import annotations

from doffer.fibre.material import Form, Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def twist_set(
    material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables
) -> StageResult:
    """Steam or wash the yarn: the twist sets and the conditioner comes off, which is no loss of fibre."""
    usual = Usual(finish_left_frac=0.0, loss_words="fibre lost in setting")
    return run_through("set", material, settings, loss_fracs, tables, usual)


def skein(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Wind skeins."""
    usual = Usual(form=Form.SKEIN, loss_words="winding ends")
    return run_through("skein", material, settings, loss_fracs, tables, usual)
