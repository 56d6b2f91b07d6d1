"""What a run forward adds up to: finished weight, pieces, metres, fineness, the weigh-out sheet, warnings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.content import Basis, basis_regain_frac
from doffer.fibre.fineness import material_fineness
from doffer.fibre.material import Material
from doffer.planning.blend import BlendTakes
from doffer.planning.order_plan import FinenessPlan, PiecesPlan
from doffer.planning.put_up import length_samples_m, put_up
from doffer.planning.route import Route
from doffer.planning.spec import BatchSpec, MillWays, Wish
from doffer.planning.spread import Spread, spread
from doffer.planning.stage_work import Making
from doffer.planning.weigh_out import Component, WeighOut, weigh_out
from doffer.process.stage import StageResult
from doffer.process.yarn.limits import Verdict
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working


def agreed_samples_g(material: Material, tables: Tables, basis: Basis) -> Floats:
    """Clean fibre at agreed regain [g], shape (n,): ``sum d_f (1 + A_f)``; oil and dirt do not count."""
    regain = np.array([basis_regain_frac(tables, part.fibre, basis=basis) for part in material.constituents])
    return np.asarray(((1 + regain)[:, None] * material.dry_mass_g).sum(axis=0))


def blend_regain_frac(materials: Sequence[Material], tables: Tables, basis: Basis) -> float:
    """Agreed regain of everything together [frac], by mean oven-dry mass."""
    agreed = sum(float(agreed_samples_g(material, tables, basis).mean()) for material in materials)
    dry = sum(float(material.total_dry_mass_g.mean()) for material in materials)
    return agreed / dry - 1 if dry > 0 else 0.0


def dry_by_fibre_g(material: Material) -> dict[str, float]:
    """Mean oven-dry clean mass of every fibre [g]."""
    masses: dict[str, float] = {}
    for part, mass in zip(material.constituents, material.dry_mass_g.mean(axis=1), strict=True):
        masses[part.fibre] = masses.get(part.fibre, 0.0) + float(mass)
    return masses


def finished_working(
    batch: BatchSpec, route: Route, results: Mapping[str, StageResult], finished: Spread
) -> Working:
    """How the finished weight came about; opens into every stage."""
    dry_g = float(results[route[-1].name].material.total_dry_mass_g.mean())
    return Working(
        title=f"Finished weight of {batch.name}",
        formula="oven-dry fibre after the last stage × (1 + agreed regain); mean and range over the samples",
        inputs=(
            Term("oven-dry fibre after the last stage", dry_g, "g"),
            Term(
                "agreed regain of what comes out",
                finished.mean / dry_g - 1 if dry_g > 0 else 0.0,
                "frac",
                "of each fibre by its oven-dry share",
            ),
        ),
        result=Term("finished weight", finished.mean, "g"),
        source="stage by stage below; yields and losses from the tables, or the mill's own",
        status=Status.PRACTICE,
        parts=tuple(working for step in route for working in results[step.name].working),
    )


def length_plan(
    wish: Wish,
    finished_g: Floats,
    free_g: Floats,
    ways: MillWays,
    tables: Tables,
    rng: np.random.Generator,
) -> tuple[Spread | None, Spread | None, Working | None]:
    """Metres of yarn with their range, of the finished weight and of the weight by shares only.

    Weight and count both vary; both figures with the same straying of the count. None where no count is
    wished.
    """
    if wish.length_m_per_100g is None:
        return None, None, None
    count_sd = tables.plan_defaults["count_sd"]
    noise = rng.normal(0.0, count_sd.value, finished_g.size)
    length, by_shares = (
        spread(
            length_samples_m(mass_g, length_m_per_100g=wish.length_m_per_100g, count_noise=noise),
            promise_quantile=ways.promise_quantile,
        )
        for mass_g in (finished_g, free_g)
    )
    working = Working(
        title="Length",
        formula="finished weight ÷ 100 g × length of 100 g; the count strays by its standard deviation",
        inputs=(
            Term("finished weight", float(finished_g.mean()), "g"),
            Term("length of 100 g", wish.length_m_per_100g, "m"),
            Term("count strays by", count_sd.value, "frac", "standard deviation"),
        ),
        result=Term("length", length.mean, "m"),
        source=tables.sources[count_sd.source].title,
        status=count_sd.status,
        note=count_sd.note,
    )
    return length, by_shares, working


def pieces_plan(wish: Wish, finished: Spread) -> PiecesPlan:
    """Whole pieces for the expected weight, the ends of the range, and the safe promise."""
    low, expected, high, safe = (
        put_up(mass_g=mass, piece_mass_g=wish.piece_mass_g, test_mass_g=min(wish.test_mass_g, mass)).n_pieces
        for mass in (finished.low, finished.mean, finished.high, finished.safe)
    )
    working = Working(
        title="Pieces to promise",
        formula="(safe weight − test skein) ÷ weight of a piece, rounded down",
        inputs=(
            Term("safe weight", finished.safe, "g", "met or beaten in most lots; see the promise setting"),
            Term("test skein", wish.test_mass_g, "g"),
            Term("weight of a piece", wish.piece_mass_g, "g"),
        ),
        result=Term("pieces", safe, "count"),
        source="arithmetic",
        status=Status.COMPUTED,
    )
    return PiecesPlan(wish.piece_mass_g, expected, low, high, safe, working)


def blend_fineness(material: Material, tables: Tables) -> FinenessPlan:
    """Fineness of what goes in."""
    found = material_fineness(material, tables)
    return FinenessPlan(
        diameter_um=found.by_length.diameter_um,
        diameter_cv_frac=found.by_length.diameter_cv_frac,
        by_mass_um=found.by_mass.diameter_um,
        coarse_frac=found.coarse_frac,
        working=found.working,
    )


def weigh_out_sheet(
    blend: BlendTakes | None,
    batch: BatchSpec,
    route: Route,
    whole: Mapping[str, Material],
    results: Mapping[str, StageResult],
    tables: Tables,
    basis: Basis,
) -> WeighOut | None:
    """The weigh-out of a blend at the step where its lots meet; None for lots that go in whole.

    Losses are those from that step to the end at expected values, hold-ups included, so that the closed
    form gives the same weights as the backward run.
    """
    if blend is None:
        return None
    meeting = next((step for step in route if len(step.feeds) > 1), route[0])
    at = {**whole, **{name: result.material for name, result in results.items()}}
    feeds = dict(zip([start.lot for start in batch.lots], meeting.feeds, strict=True))
    components = []
    for start in batch.lots:
        share = blend.label_share_frac[start.lot]
        if share <= 0:
            continue
        agreed = basis_regain_frac(tables, start.fibre, basis=basis)
        dry_out = share * blend.finished_mass_g / (1 + agreed)
        dry_in = float(blend.needs.into[meeting.name][start.lot].mean())
        components.append(
            Component(
                name=start.lot,
                share_frac=share,
                actual_regain_frac=at[feeds[start.lot].source].actual_regain_frac,
                agreed_regain_frac=agreed,
                loss_frac=1 - dry_out / dry_in,
            )
        )
    return weigh_out(components, finished_mass_g=blend.finished_mass_g)


def warnings(
    batch: BatchSpec,
    route: Route,
    taken: Mapping[str, Material],
    finished: Spread,
    tables: Tables,
    made: Making,
) -> tuple[str, ...]:
    """What a person should know before the belt starts, in sentences."""
    said = []
    held = sum(step.settings.held_dry_mass_g for step in route)
    dry = sum(float(material.total_dry_mass_g.mean()) for material in taken.values())
    if dry > 0 and held > tables.plan_defaults["small_lot_hold_up"].value * dry:
        said.append(
            f"The machines keep about {held / dry * 100:.0f} % of so small a lot; "
            "join it with other fibre of the same owner, or say so in the quote."
        )
    if held == 0:
        said.append(
            "No machine of this mill says what it keeps of a lot, so nothing is taken off for it: "
            "a small lot will give less than this."
        )
    if finished.mean < batch.wish.piece_mass_g:
        said.append("This gives less than one whole piece of what is wished.")
    if math.isclose(finished.low, 0.0, abs_tol=1e-9):
        said.append("In a bad case nothing is left: the lot is lighter than what the machines keep.")
    return (*said, *_of_yarn(made))


def _of_yarn(made: Making) -> tuple[str, ...]:
    """That the wished yarn cannot be spun, or why it could not be planned; the rest stands with the yarn."""
    if made.yarn is None:
        return (made.refused,) if made.refused else ()
    cannot = made.yarn.fewest.verdict(made.yarn.fibres) is Verdict.NO
    return made.yarn.warnings[:1] if cannot else ()
