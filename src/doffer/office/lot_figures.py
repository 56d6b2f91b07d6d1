"""The figures of one lot with their workings: water, clean fibre, fineness, grade."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from doffer.errors import DofferError
from doffer.fibre.fineness import BlendFineness, histogram, material_fineness
from doffer.fibre.grades import Grade, alpaca_class, mohair_grade, wool_grade
from doffer.fibre.material import Material
from doffer.fibre.moisture import Branch, agreed_mass_working
from doffer.fibre.weighing import SHOWN_BASES, CleanWeighing, weigh_clean
from doffer.mill.queries.lots import OneLot, WeighingRow
from doffer.mill.queries.plan_inputs import US_RULES, PlanInputs
from doffer.pictures.histogram import Part
from doffer.pictures.histogram import histogram as draw_histogram
from doffer.planning.spec import LotStart
from doffer.planning.spread import Spread, spread
from doffer.planning.start import RAW_FORMS, start_working, starting_material
from doffer.working import Working

SAMPLES = 4000
SEED = 0  # the same lot shows the same range each time it is looked at
SAME_G = 0.5  # two ways to the dry weight may differ by rounding, not by more
CLASS_UM = 2.0
FIRST_UM, LAST_UM = 4.0, 64.0
GRADERS = {"wool": wool_grade, "mohair": mohair_grade, "alpaca": alpaca_class, "suri": alpaca_class}


@dataclass(frozen=True, slots=True)
class RawFibre:
    """What is expected in a lot that still carries grease and dirt [g oven-dry]."""

    dry: Spread
    working: Working


@dataclass(frozen=True, slots=True)
class LotFigures:
    """What can be said of a lot: either `water` (weighed clean) or `raw`, and its fineness.

    `was_otherwise_g` is the dry weight in the record when the tables give another one today.
    """

    weighing: WeighingRow | None
    water: CleanWeighing | None
    raw: RawFibre | None
    agreed: tuple[Working, ...]
    fineness: BlendFineness
    grade: Grade | None
    was_otherwise_g: float | None
    histogram: str


def figures_of(lot: OneLot, inputs: PlanInputs, colours: dict[str, str]) -> LotFigures:
    """All figures of a lot; `colours` gives a screen colour by lot number."""
    (plan_lot,) = inputs.lots
    tables = inputs.tables
    start = plan_lot.start if plan_lot.start.weighed_mass_g > 0 else _as_if_there(plan_lot.start)
    material = starting_material(start, tables, rng=np.random.default_rng(SEED), n_samples=SAMPLES)
    raw = None
    if start is plan_lot.start and start.form in RAW_FORMS:
        dry = spread(material.total_dry_mass_g, promise_quantile=inputs.ways.promise_quantile)
        raw = RawFibre(dry, start_working(plan_lot.start, tables, dry_mass_g=dry.mean))
    weighing = standing_weighing(lot)
    is_one_fibre = not {part.fibre for part in lot.parts} - {lot.row.fibre}
    water = None if raw or weighing is None or not is_one_fibre else _water(lot, weighing, inputs)
    dry_g = lot.row.dry_mass_g
    differs = water is not None and dry_g is not None and abs(water.dry_mass_g - dry_g) > SAME_G
    counts_g = water.dry_mass_g if water else dry_g
    fineness = material_fineness(material, tables)
    return LotFigures(
        weighing=weighing,
        water=water,
        raw=raw,
        agreed=_agreed(lot.row.fibre, counts_g, inputs) if is_one_fibre and counts_g else (),
        fineness=fineness,
        grade=_grade(lot, inputs),
        was_otherwise_g=dry_g if differs else None,
        histogram=_histogram(material, fineness, colours),
    )


def _as_if_there(start: LotStart) -> LotStart:
    """A lot that is used up still was of some fineness: it is told as if a kilogram of it were left."""
    return dataclasses.replace(start, weighed_mass_g=1000.0, finish_mass_g=0.0)


def standing_weighing(lot: OneLot) -> WeighingRow | None:
    """The weighing that says what stands here now, or None when a run took a part of it since.

    The newest that nobody corrected and that is no waste, if its net weight is the lot's.
    """
    counts = (w for w in lot.weighings if w.corrected_by is None and w.moment != "waste")
    newest = next(counts, None)
    return newest if newest and abs(newest.net_g - lot.row.mass_g) < SAME_G else None


def _water(lot: OneLot, weighing: WeighingRow, inputs: PlanInputs) -> CleanWeighing | None:
    """Net, oven-dry and agreed weight of clean fibre that rested in a room whose air was read."""
    if weighing.branch not in list(Branch) or weighing.rh_frac is None:
        return None
    return weigh_clean(
        inputs.tables,
        fibre=lot.row.fibre,
        gross_mass_g=weighing.gross_g - weighing.finish_g,
        tare_mass_g=weighing.tare_g,
        rh_frac=weighing.rh_frac,
        branch=Branch(weighing.branch),
    )


def _agreed(fibre: str, dry_g: float, inputs: PlanInputs) -> tuple[Working, ...]:
    """Agreed weights, the one that counts by the mill's label rules in front."""
    first, second = SHOWN_BASES
    bases = (second, first) if inputs.country_rules in US_RULES else (first, second)
    return tuple(
        agreed_mass_working(inputs.tables, fibre=fibre, dry_mass_g=dry_g, basis=basis) for basis in bases
    )


def _grade(lot: OneLot, inputs: PlanInputs) -> Grade | None:
    """The grade by a fineness that was measured or estimated for this lot; none for a guess by breed."""
    grader = GRADERS.get(lot.row.fibre)
    if grader is None or lot.diameter_um is None:
        return None
    more = {} if grader is alpaca_class else {"diameter_sd_um": lot.diameter_sd_um}
    try:
        return grader(inputs.tables, diameter_um=lot.diameter_um, **more)
    except DofferError:
        return None  # outside every scheme: the fineness alone is shown


def _histogram(material: Material, fineness: BlendFineness, colours: dict[str, str]) -> str:
    means = np.array([part.diameter_um for part in material.constituents])
    spreads = np.array([part.diameter_um * part.diameter_cv_frac for part in material.constituents])
    edges = np.arange(FIRST_UM, LAST_UM + CLASS_UM, CLASS_UM)
    counted = histogram(
        length_shares=fineness.length_shares, diameter_um=means, diameter_sd_um=spreads, edges_um=edges
    )
    parts = [
        Part(part.lot, colours.get(part.lot, "#cfc6b6"), tuple(float(x) for x in shares))
        for part, shares in zip(material.constituents, counted.part_fracs, strict=True)
    ]
    return draw_histogram(
        [float(edge) for edge in edges],
        parts,
        over_30_frac=fineness.coarse_frac,
        mean_um=fineness.by_length.diameter_um,
        width=440.0,
    )
