"""Water in and out: wash, extract, dry."""

from __future__ import annotations

from doffer.fibre.material import Form, Material
from doffer.process.losses import LossFracs
from doffer.process.stage import StageResult, StageSettings, Usual, run_through
from doffer.tables.loader import Tables


def wash(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Wash out grease, suint and dirt; the fibre itself stays, dripping wet.

    The washed yield is no fibre loss: it is what the foreign matter weighed (see `fibre.material`). Water
    left: table plan_defaults.
    """
    usual = Usual(
        form=Form.SCOURED,
        regain_after_frac=tables.plan_defaults["water_after_wash"].value,
        foreign_left_frac=0.0,
        finish_left_frac=0.0,
        loss_words="fibre down the drain",
    )
    return run_through("wash", material, settings, loss_fracs, tables, usual)


def extract(
    material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables
) -> StageResult:
    """Spin the water out: 0.4 to 0.7 kg of water stays per kg of oven-dry fibre (common practice)."""
    usual = Usual(regain_after_frac=tables.plan_defaults["water_after_extract"].value)
    return run_through("extract", material, settings, loss_fracs, tables, usual)


def dry(material: Material, settings: StageSettings, loss_fracs: LossFracs, tables: Tables) -> StageResult:
    """Dry on the rack to the room of the settings."""
    return run_through("dry", material, settings, loss_fracs, tables, Usual())
