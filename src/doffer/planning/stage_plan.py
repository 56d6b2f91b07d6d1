"""One stage of a plan: what comes in, what goes out, what is lost, what is added, what to mind."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice

from doffer.fibre.arrays import Floats
from doffer.fibre.content import Basis
from doffer.fibre.material import Material, join, take
from doffer.planning.loads import Loads, equal_loads
from doffer.planning.order_plan import DosePlan, LossPlan, StagePlan
from doffer.planning.outcome import agreed_samples_g
from doffer.planning.route import Route, Step
from doffer.planning.spec import MillWays
from doffer.planning.spread import Spread, spreads
from doffer.planning.stage_work import Making, minutes_of, stage_counts, stage_suggestions
from doffer.process.doses import cohesive, conditioner, scour
from doffer.process.stage import LossKind, StageResult
from doffer.tables.loader import Tables
from doffer.working import Term, Working


def stage_plans(
    route: Route,
    taken: Mapping[str, Material],
    results: Mapping[str, StageResult],
    ways: MillWays,
    tables: Tables,
    made: Making,
) -> tuple[StagePlan, ...]:
    """Every step of a route with masses over the samples, counts, settings and minutes."""
    at = {**taken, **{name: result.material for name, result in results.items()}}
    fed = [join([take(at[feed.source], share=feed.share) for feed in step.feeds]) for step in route]
    figures = iter(
        spreads(
            [
                samples
                for step, material in zip(route, fed, strict=True)
                for samples in _samples(material, results[step.name].material, tables, ways)
            ],
            promise_quantile=ways.promise_quantile,
        )
    )
    return tuple(
        _stage_plan(step, material, results[step.name], tuple(islice(figures, 4)), ways, tables, made)
        for step, material in zip(route, fed, strict=True)
    )


def _samples(fed: Material, out: Material, tables: Tables, ways: MillWays) -> tuple[Floats, ...]:
    """What a stage is said to weigh: in, out, out at agreed regain, out oven-dry; each (n,) [g]."""
    agreed = agreed_samples_g(out, tables, ways.label_basis)
    return fed.weighed_mass_g, out.weighed_mass_g, agreed, out.total_dry_mass_g


def _stage_plan(
    step: Step,
    fed: Material,
    result: StageResult,
    figures: tuple[Spread, ...],
    ways: MillWays,
    tables: Tables,
    made: Making,
) -> StagePlan:
    weighed_in, weighed, agreed, dry = figures
    machine = ways.machines.get(step.stage)
    loads = _loads(step, fed, ways)
    suggestions = stage_suggestions(step, fed, made, ways, tables)
    return StagePlan(
        name=step.name,
        stage=step.stage,
        machine=machine.name if machine else "",
        comes_from=tuple(feed.source for feed in step.feeds),
        weighed_in=weighed_in,
        weighed=weighed,
        agreed=agreed,
        dry=dry,
        regain_after_frac=result.material.actual_regain_frac,
        losses=_losses(fed, result, ways, tables, agreed_out_g=agreed.mean, dry_out_g=dry.mean),
        settings=_settings_words(step, ways),
        doses=_doses(step, fed, loads, ways, tables),
        cautions=result.cautions,
        working=result.working,
        loads=loads,
        counts=stage_counts(step, made, tables),
        suggestions=suggestions,
        minutes=minutes_of(
            step,
            fed,
            loads,
            made,
            ways,
            tables,
            weighed_in_g=weighed_in.mean,
            suggestions=suggestions,
        ),
    )


def _loads(step: Step, fed: Material, ways: MillWays) -> Loads | None:
    """In how many equal loads the machine of a stage takes it; a blend is shared out in whole rounds."""
    machine = ways.machines.get(step.stage)
    if machine is None or machine.capacity is None:
        return None
    return equal_loads(
        weighed_mass_g=float(fed.weighed_mass_g.mean()),
        dry_mass_g=float(fed.total_dry_mass_g.mean()),
        capacity=machine.capacity,
        rounds=ways.n_layers if step.stage == "pick" else 0,
    )


def _losses(
    fed: Material,
    result: StageResult,
    ways: MillWays,
    tables: Tables,
    *,
    agreed_out_g: float,
    dry_out_g: float,
) -> tuple[LossPlan, ...]:
    """Loss streams, oven-dry and at agreed regain: the machine keeps the blend as it comes out."""
    agreed_in_g = float(agreed_samples_g(fed, tables, ways.label_basis).mean())
    agreed_frac = agreed_out_g / dry_out_g - 1 if dry_out_g > 0 else 0.0
    mean = {loss.kind: float(loss.mass_g.mean()) for loss in result.losses}
    held_g = mean.get(LossKind.HELD, 0.0) * (1 + agreed_frac)
    shown = mean | {LossKind.HELD: held_g, LossKind.FIBRE: agreed_in_g - agreed_out_g - held_g}
    return tuple(LossPlan(x.name, x.kind, mean[x.kind], shown[x.kind]) for x in result.losses)


def _settings_words(step: Step, ways: MillWays) -> tuple[str, ...]:
    """Settings worth a line on the run card."""
    words = []
    if step.settings.passes > 1:
        words.append(f"{step.settings.passes} passes")
    if step.stage == "draw" and ways.draw_ends:
        words = [": ".join([*words, ", then ".join(f"{ends} ends" for ends in ways.draw_ends)])]
    if step.stage == "pick" and ways.is_tossed:
        words.append("tossed in the bin after each pass")
    if len(step.feeds) > 1:
        words.append("joins " + ", ".join(feed.source.split()[-1] for feed in step.feeds))
    return tuple(words)


def _doses(
    step: Step, fed: Material, loads: Loads | None, ways: MillWays, tables: Tables
) -> tuple[DosePlan, ...]:
    """What goes on the fibre or into the bath at a stage."""
    if step.stage == "wash":
        return (_scour_dose(fed, tables, n_loads=loads.count if loads else 1),)
    if step.stage == "pick":
        return (*_conditioner_dose(step, fed, ways, tables), _cohesive_advice(fed, ways, tables))
    return ()


def _scour_dose(fed: Material, tables: Tables, *, n_loads: int) -> DosePlan:
    """Detergent of one load by the grease of the fibre: sheep's wool is greasy, other animals' is not."""
    is_greasy = any(tables.fibres[part.fibre].losses_as == "wool" for part in fed.constituents)
    kind = "detergent_greasy" if is_greasy else "detergent_low_grease"
    row = tables.additives[f"{kind}/dose"]
    dose = scour(
        raw_mass_g=float(fed.weighed_mass_g.mean()) / n_loads,
        detergent_frac=row.value / 100,
        liquor_ratio=tables.additives["wash_bath/liquor_ratio"].value,
        n_baths=round(tables.additives["wash_bath/baths"].value),
        n_rinses=round(tables.additives["wash_bath/rinses"].value),
    )
    heat = tables.additives["wash_wool/temperature" if is_greasy else "wash_fine/temperature"]
    baths = " + ".join(f"{grams} g" for grams in dose.baths_g)
    each = "" if n_loads == 1 else f"for each of {n_loads} loads: "
    words = (
        f"{each}{baths} in {len(dose.baths_g)} baths of {dose.bath_volume_l:.0f} L, {dose.n_rinses} rinses, "
        f"{heat.low:g} to {heat.high:g} °C, no movement, all baths alike"
    )
    places = " + ".join(f"{{{place}}}" for place in range(3, 3 + len(dose.baths_g)))
    said = (
        f"{each}{places} in {len(dose.baths_g)} baths of {{0}}, {dose.n_rinses} rinses, "
        "{1} to {2}, no movement, all baths alike"
    )
    figures = (
        Term("water of one bath", dose.bath_volume_l, "l"),
        Term("coolest", heat.value if heat.low is None else heat.low, "c"),
        Term("warmest", heat.value if heat.high is None else heat.high, "c"),
        *(Term("detergent", grams, "g") for grams in dose.baths_g),
    )
    return DosePlan(row.name, words, dose.working, said, figures)


def _conditioner_dose(step: Step, fed: Material, ways: MillWays, tables: Tables) -> tuple[DosePlan, ...]:
    """Spinning oil and water, split over the layers."""
    if step.settings.finish_frac_owf <= 0:
        return ()
    dose = conditioner(
        # as `pick` counts it, so that what the card tells to spray is what its weights hold
        fibre_mass_g=float(agreed_samples_g(fed, tables, Basis.EU_AGREED).mean()),
        dose_frac_owf=step.settings.finish_frac_owf,
        water_parts=step.settings.finish_water_parts,
        n_layers=ways.n_layers,
    )
    each = (
        f"{dose.layers_g[-1]}"
        if len(set(dose.layers_g)) == 1
        else f"{dose.layers_g[-1]} to {dose.layers_g[0]}"
    )
    words = (
        f"{dose.product_mass_g:.0f} g product + {dose.water_mass_g:.0f} g water = {dose.spray_mass_g:.0f} g "
        f"({dose.words}); {each} g on each of {ways.n_layers} rounds, a round being one layer of every lot"
    )
    least, most = dose.layers_g[-1], dose.layers_g[0]
    said = (
        f"{{0}} product + {{1}} water = {{2}} ({dose.words}); {{3}}{'' if least == most else ' to {4}'} "
        f"on each of {ways.n_layers} rounds, a round being one layer of every lot"
    )
    figures = (
        Term("product", dose.product_mass_g, "g"),
        Term("water", dose.water_mass_g, "g"),
        Term("spray", dose.spray_mass_g, "g"),
        Term("on a round", least, "g"),
        Term("on a round", most, "g"),
    )
    return (DosePlan("conditioner", words, dose.working, said, figures),)


def _cohesive_advice(fed: Material, ways: MillWays, tables: Tables) -> DosePlan:
    """Cohesive in grams, or why none."""
    advice = cohesive(fed.constituents, list(fed.shares.mean(axis=1)), tables)
    if not advice.applies:
        return DosePlan("cohesive", f"none: {advice.why}")
    row = tables.additives["cohesive/dose"]
    fibre_g = float(agreed_samples_g(fed, tables, ways.label_basis).mean())
    product_g = fibre_g * row.value / 100
    working = Working(
        title="Cohesive",
        formula="product = fibre × dose",
        inputs=(
            Term("fibre, conditioned", fibre_g, "g"),
            Term("dose", row.value / 100, "frac", "on the weight of fibre"),
        ),
        result=Term("product", product_g, "g"),
        source=tables.sources[row.source].title,
        status=row.status,
        note=row.note,
    )
    words = f"product ({row.value:g} %): {advice.why}"
    figures = (Term("product", product_g, "g"), Term("why", words))
    return DosePlan("cohesive", f"{product_g:.0f} g {words}", working, "{0} {1}", figures)
