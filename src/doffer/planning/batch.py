"""Plan one batch: settings and route made ready, samples run forward, and what they add up to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.content import Basis, basis_regain_frac, label_shares
from doffer.fibre.material import Material, join, take
from doffer.fibre.moisture import Branch, equilibrium_regain_frac
from doffer.planning.blend import BlendTakes, blend_takes
from doffer.planning.layers import Layer, feed_sheet, layer_portions
from doffer.planning.order_plan import BatchPlan, LotUse, OrderPlan, StagePlan
from doffer.planning.outcome import (
    agreed_samples_g,
    blend_fineness,
    blend_regain_frac,
    dry_by_fibre_g,
    finished_working,
    length_plan,
    pieces_plan,
    warnings,
    weigh_out_sheet,
)
from doffer.planning.products import product_route
from doffer.planning.route import (
    Route,
    StepLosses,
    expected_losses,
    forward,
    sampled_losses,
    shares_alone_g,
)
from doffer.planning.spec import BatchSpec, MillWays, OrderSpec
from doffer.planning.spread import spread
from doffer.planning.stage_plan import stage_plans
from doffer.planning.stage_work import making
from doffer.planning.start import start_working, starting_material
from doffer.planning.work_time import StageTime, WorkTime, work_time
from doffer.process.stage import StageResult, StageSettings
from doffer.process.stages import STAGES
from doffer.tables.loader import Tables


def plan_order(spec: OrderSpec, tables: Tables) -> OrderPlan:
    """Plan every batch of an order; same inputs, same figures.

    Every batch is drawn with the same seed, so what it becomes does not hang on the batches beside it.

    Raises
    ------
    InputError, InfeasibleError
        With the batch or lot, what is wrong, and how to mend it.
    """
    batches = tuple(
        plan_batch(batch, spec.ways, tables, rng=fresh_rng(spec.ways.seed)) for batch in spec.batches
    )
    return OrderPlan(
        batches=batches,
        tables_sha256=tables.sha256,
        seed=spec.ways.seed,
        n_samples=spec.ways.n_samples,
        promise_quantile=spec.ways.promise_quantile,
        time=_time([stage for batch in batches for stage in batch.stages], tables),
    )


def _time(stages: Sequence[StagePlan], tables: Tables) -> WorkTime:
    """Time of all stages that have minutes."""
    return work_time(
        (
            StageTime(stage.name, stage.stage, stage.machine, stage.minutes)
            for stage in stages
            if stage.minutes is not None
        ),
        tables,
    )


def fresh_rng(seed: int) -> np.random.Generator:
    """The generator every batch begins with."""
    return np.random.default_rng(np.random.SeedSequence(seed).spawn(1)[0])


def plan_batch(batch: BatchSpec, ways: MillWays, tables: Tables, *, rng: np.random.Generator) -> BatchPlan:
    """Plan one batch: forward for what it becomes, backward for what a blend takes."""
    ready = _make_ready(batch, ways, tables, rng)
    results = forward(ready.route, ready.taken, ready.losses, tables)
    last = ready.route[-1].name
    finished_g = agreed_samples_g(results[last].material, tables, ways.label_basis)
    free_g = _agreed_shares_alone_g(ready, tables, ways.label_basis)
    finished = spread(finished_g, promise_quantile=ways.promise_quantile)
    length, length_free, length_working = length_plan(batch.wish, finished_g, free_g, ways, tables, rng)
    sheet = weigh_out_sheet(ready.blend, batch, ready.route, ready.whole, results, tables, ways.label_basis)
    by_fibre = dry_by_fibre_g(results[last].material)
    made = making(batch, ready.route, results[last].material, ways, tables, agreed_frac=ready.agreed_frac)
    stages = stage_plans(ready.route, ready.taken, results, ways, tables, made)
    return BatchPlan(
        name=batch.name,
        product=batch.wish.product,
        lots=_lot_uses(batch, ready, ways, tables),
        stages=stages,
        finished=finished,
        finished_shares_only=spread(free_g, promise_quantile=ways.promise_quantile),
        fixed_mass_g=sum(step.settings.held_dry_mass_g for step in ready.route) * (1 + ready.agreed_frac),
        finished_working=finished_working(batch, ready.route, results, finished),
        length_m=length,
        length_working=length_working,
        pieces=pieces_plan(batch.wish, finished),
        labels=tuple(label_shares(tables, dry_mass_by_fibre_g=by_fibre, basis=basis) for basis in Basis)
        if sum(by_fibre.values()) > 0
        else (),
        fineness=blend_fineness(join(list(ready.taken.values())), tables),
        weigh_out=sheet,
        layers=_layers(batch, ready, results, ways),
        limited_by=ready.blend.limited_by if ready.blend else None,
        warnings=warnings(batch, ready.route, ready.taken, finished, tables, made),
        length_shares_only_m=length_free,
        yarn=made.yarn,
        yarn_refused=made.refused,
        time=_time(stages, tables),
    )


@dataclass(frozen=True, slots=True)
class _Ready:
    """A batch ready to run: whole lots, what is taken of them, route, sampled losses, the solved blend."""

    whole: Mapping[str, Material]
    taken: Mapping[str, Material]
    taken_frac: Mapping[str, float]
    route: Route
    losses: StepLosses
    blend: BlendTakes | None
    agreed_frac: float


def _make_ready(batch: BatchSpec, ways: MillWays, tables: Tables, rng: np.random.Generator) -> _Ready:
    whole = {
        start.lot: starting_material(start, tables, rng=rng, n_samples=ways.n_samples) for start in batch.lots
    }
    if all(float(material.total_dry_mass_g.mean()) <= 0 for material in whole.values()):
        raise InputError(
            "fibre on hand", ", ".join(whole), "more than nothing; weigh the lot first", batch.name
        )
    taken_frac: Mapping[str, float] = dict.fromkeys(whole, 1.0)
    is_taken = bool(batch.wish.shares) or batch.wish.finished_mass_g is not None
    for _ in range(BLEND_ROUNDS if is_taken and len(whole) > 1 else 1):
        taken = _taken(whole, taken_frac)
        agreed = blend_regain_frac(list(taken.values()), tables, ways.label_basis)
        settings = stage_settings(batch, taken, ways, tables, agreed_frac=agreed)
        route = product_route(batch.wish.product, batch.lots, settings, skirts=ways.skirts)
        blend = None
        if is_taken:
            expected = expected_losses(route, tables, materials=whole)
            blend = blend_takes(batch, whole, route, expected, tables, ways.label_basis)
            taken_frac = blend.taken_frac
    losses = sampled_losses(route, tables, materials=whole, rng=rng, n_samples=ways.n_samples)
    taken = _taken(whole, taken_frac)
    agreed = blend_regain_frac(list(taken.values()), tables, ways.label_basis)
    return _Ready(whole, taken, taken_frac, route, losses, blend, agreed)


BLEND_ROUNDS = 2  # the regain of what is taken hangs on what is taken, and that, a little, on the regain


def _taken(whole: Mapping[str, Material], taken_frac: Mapping[str, float]) -> dict[str, Material]:
    """What is taken of every lot; all of it where nothing at all would be taken."""
    if not any(taken_frac.values()):
        return dict(whole)
    return {lot: take(material, share=taken_frac[lot]) for lot, material in whole.items()}


def stage_settings(
    batch: BatchSpec, taken: Mapping[str, Material], ways: MillWays, tables: Tables, *, agreed_frac: float
) -> dict[str, StageSettings]:
    """Settings of every stage: hold-up as oven-dry fibre, passes, conditioner, the room it settles in.

    The water of the room is mixed by what is taken of every lot, not by what is on hand.
    """
    dry = {lot: float(material.total_dry_mass_g.mean()) for lot, material in taken.items()}
    total = sum(dry.values())
    taken_up, dried = (
        sum(
            (dry[start.lot] / total if total > 0 else 1 / len(dry))
            * equilibrium_regain_frac(tables, start.fibre, rh_frac=ways.room_rh_frac, branch=branch)
            for start in batch.lots
        )
        for branch in (Branch.ABSORPTION, Branch.DESORPTION)
    )
    settles = {"dry", "rest", "card", "draw", "spin", "ply", "set", "skein"}
    passes = {"pick": ways.pick_passes, "draw": ways.draw_passes}
    return {
        stage: StageSettings(
            held_dry_mass_g=ways.machines[stage].held_mass_g / (1 + agreed_frac)
            if stage in ways.machines
            else 0,
            passes=passes.get(stage, 1),
            room_regain_fracs=(taken_up, dried) if stage in settles else None,
            finish_frac_owf=ways.conditioner_frac_owf if stage == "pick" else 0.0,
            finish_water_parts=ways.conditioner_water_parts if stage == "pick" else 0.0,
        )
        for stage in STAGES
    }


def _agreed_shares_alone_g(ready: _Ready, tables: Tables, basis: Basis) -> Floats:
    """Finished mass at agreed regain if the machines kept nothing [g], shape (n,)."""
    left = shares_alone_g(ready.route, ready.taken, ready.losses).values()
    rows = [dry_g * (1 + basis_regain_frac(tables, fibre, basis=basis)) for fibre, dry_g in left]
    return np.asarray(np.stack(np.broadcast_arrays(*rows)).sum(axis=0))


def _lot_uses(batch: BatchSpec, ready: _Ready, ways: MillWays, tables: Tables) -> tuple[LotUse, ...]:
    """What is taken of every lot."""
    uses = []
    for start in batch.lots:
        agreed_g = agreed_samples_g(ready.taken[start.lot], tables, ways.label_basis)
        whole_dry_g = float(ready.whole[start.lot].total_dry_mass_g.mean())
        uses.append(
            LotUse(
                lot=start.lot,
                fibre=start.fibre,
                form=start.form,
                share_frac=ready.taken_frac[start.lot],
                weighed_mass_g=start.weighed_mass_g * ready.taken_frac[start.lot],
                agreed=spread(agreed_g, promise_quantile=ways.promise_quantile),
                working=start_working(start, tables, dry_mass_g=whole_dry_g),
            )
        )
    return tuple(uses)


def _layers(
    batch: BatchSpec, ready: _Ready, results: Mapping[str, StageResult], ways: MillWays
) -> tuple[Layer, ...]:
    """The feed sheet of the picker, in mean weighed grams of each lot as it comes to it."""
    pick = next((step for step in ready.route if step.stage == "pick"), None)
    if pick is None:
        return ()
    at = {**ready.taken, **{name: result.material for name, result in results.items()}}
    lots = [start.lot for start in batch.lots]
    totals = {
        lot: round(float(at[feed.source].weighed_mass_g.mean()))
        for lot, feed in zip(lots, pick.feeds, strict=True)
    }
    return feed_sheet(layer_portions(totals, n_layers=ways.n_layers))
