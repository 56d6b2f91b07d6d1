"""Where a plan begins: a lot's weight on the scale becomes oven-dry clean fibre with what rides along."""

from __future__ import annotations

import dataclasses

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Form, Material
from doffer.fibre.moisture import agreed_regain_frac
from doffer.fibre.weighing import clean_material, greasy_material
from doffer.planning.spec import LotStart
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

RAW_FORMS = (Form.GREASY, Form.SKIRTED)


def starting_material(
    start: LotStart, tables: Tables, *, rng: np.random.Generator, n_samples: int
) -> Material:
    """A lot as Material: clean fibre is certain, raw fibre has n samples of its washed yield (triangular)."""
    if start.form in RAW_FORMS:
        whole = greasy_material(
            tables,
            start.part,
            raw_mass_g=start.weighed_mass_g,
            washed_yield_fracs=_sampled_yield_fracs(start, tables, rng=rng, n_samples=n_samples),
            form=start.form,
        )
    else:
        whole = clean_material(
            start.part,
            weighed_mass_g=start.weighed_mass_g,
            actual_regain_frac=start.actual_regain_frac,
            finish_mass_g=start.finish_mass_g,
            form=start.form,
        )
    return _split(whole, start)


def _split(whole: Material, start: LotStart) -> Material:
    """A lot that was joined before, told apart into the lots in it."""
    if not start.blend:
        return whole
    shares = np.array([share for _, share in start.blend])[:, None]
    if abs(float(shares.sum()) - 1) > SHARE_SUM_TOLERANCE:
        raise InputError("shares of the lots in it", float(shares.sum()), "1 (100 %) together", start.lot)
    return dataclasses.replace(
        whole,
        constituents=tuple(part for part, _ in start.blend),
        dry_mass_g=whole.dry_mass_g * shares,
        foreign_mass_g=whole.foreign_mass_g * shares,
        finish_mass_g=whole.finish_mass_g * shares,
    )


SHARE_SUM_TOLERANCE = 1e-4  # shares are kept in parts per million


def _sampled_yield_fracs(
    start: LotStart, tables: Tables, *, rng: np.random.Generator, n_samples: int
) -> Floats:
    low, mode, high = yield_triangle_frac(start, tables)
    return rng.triangular(low, mode, high, n_samples) if low < high else np.full(n_samples, mode)


def yield_triangle_frac(start: LotStart, tables: Tables) -> tuple[float, float, float]:
    """Low, most likely and high washed yield of a raw lot [frac]; a row with one figure has no range."""
    row = tables.scour_yields[start.yields_as]
    given = [v for v in (row.yield_low_pct, row.yield_mode_pct, row.yield_high_pct) if v is not None]
    mode = row.yield_mode_pct if row.yield_mode_pct is not None else sum(given) / len(given)
    low = row.yield_low_pct if row.yield_low_pct is not None else mode
    high = row.yield_high_pct if row.yield_high_pct is not None else mode
    return low / 100, mode / 100, high / 100


def start_working(start: LotStart, tables: Tables, *, dry_mass_g: float) -> Working:
    """How the oven-dry clean fibre of a lot was found, in mean values."""
    result = Term("oven-dry clean fibre", dry_mass_g, "g")
    if start.form in RAW_FORMS:
        row = tables.scour_yields[start.yields_as]
        return Working(
            title=f"Clean fibre in {start.lot}",
            formula="oven-dry = raw weight × washed yield ÷ (1 + agreed regain)",
            inputs=(
                Term("raw weight", start.weighed_mass_g, "g"),
                Term("washed yield", sum(yield_triangle_frac(start, tables)) / 3, "frac", row.name),
                Term("agreed regain", agreed_regain_frac(tables, start.fibre), "frac"),
            ),
            result=result,
            source=tables.sources[row.source].title,
            status=row.status,
            note=row.note,
        )
    return Working(
        title=f"Clean fibre in {start.lot}",
        formula="oven-dry = (net weight − conditioner) ÷ (1 + regain now)",
        inputs=(
            Term("net weight", start.weighed_mass_g, "g"),
            Term("conditioner on it", start.finish_mass_g, "g"),
            Term("regain now", start.actual_regain_frac, "frac", "water over oven-dry fibre"),
        ),
        result=result,
        source="definition of regain; the regain itself from the room or a reference hank",
        status=Status.COMPUTED,
    )
