"""One stage of a plan: what comes in, what goes out, what is lost, what is added, what to mind."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice

from doffer.fibre.arrays import Floats
from doffer.fibre.material import Material, join, take
from doffer.planning.order_plan import DosePlan, LossPlan, StagePlan
from doffer.planning.outcome import agreed_samples_g
from doffer.planning.route import Route, Step
from doffer.planning.spec import MillWays
from doffer.planning.spread import Spread, spreads
from doffer.process.doses import cohesive, conditioner, scour
from doffer.process.stage import StageResult
from doffer.tables.loader import Tables
from doffer.working import Term, Working


def stage_plans(
    route: Route,
    taken: Mapping[str, Material],
    results: Mapping[str, StageResult],
    ways: MillWays,
    tables: Tables,
) -> tuple[StagePlan, ...]:
    """Every step of a route with masses over the samples."""
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
        _stage_plan(step, material, results[step.name], tuple(islice(figures, 4)), ways, tables)
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
) -> StagePlan:
    weighed_in, weighed, agreed, dry = figures
    return StagePlan(
        name=step.name,
        stage=step.stage,
        machine=ways.machines[step.stage].name if step.stage in ways.machines else "",
        comes_from=tuple(feed.source for feed in step.feeds),
        weighed_in=weighed_in,
        weighed=weighed,
        agreed=agreed,
        dry=dry,
        regain_after_frac=result.material.actual_regain_frac,
        losses=tuple(LossPlan(x.name, x.kind, float(x.mass_g.mean())) for x in result.losses),
        settings=_settings_words(step),
        doses=_doses(step, fed, ways, tables),
        cautions=result.cautions,
        working=result.working,
    )


def _settings_words(step: Step) -> tuple[str, ...]:
    """Settings worth a line on the run card."""
    words = []
    if step.settings.passes > 1:
        words.append(f"{step.settings.passes} passes")
    if len(step.feeds) > 1:
        words.append("joins " + ", ".join(feed.source.split()[-1] for feed in step.feeds))
    return tuple(words)


def _doses(step: Step, fed: Material, ways: MillWays, tables: Tables) -> tuple[DosePlan, ...]:
    """What goes on the fibre or into the bath at a stage."""
    if step.stage == "wash":
        return (_scour_dose(fed, tables),)
    if step.stage == "pick":
        return (*_conditioner_dose(step, fed, ways, tables), _cohesive_advice(fed, ways, tables))
    return ()


def _scour_dose(fed: Material, tables: Tables) -> DosePlan:
    """Detergent by the grease of the fibre: sheep's wool is greasy, other animals' fibre is not."""
    is_greasy = any(tables.fibres[part.fibre].losses_as == "wool" for part in fed.constituents)
    kind = "detergent_greasy" if is_greasy else "detergent_low_grease"
    row = tables.additives[f"{kind}/dose"]
    dose = scour(
        raw_mass_g=float(fed.weighed_mass_g.mean()),
        detergent_frac=row.value / 100,
        liquor_ratio=tables.additives["wash_bath/liquor_ratio"].value,
        n_baths=round(tables.additives["wash_bath/baths"].value),
        n_rinses=round(tables.additives["wash_bath/rinses"].value),
    )
    heat = tables.additives["wash_wool/temperature" if is_greasy else "wash_fine/temperature"]
    baths = " + ".join(f"{grams} g" for grams in dose.baths_g)
    words = (
        f"{baths} in {len(dose.baths_g)} baths of {dose.bath_volume_l:.0f} L, {dose.n_rinses} rinses, "
        f"{heat.low:g} to {heat.high:g} °C, no movement, all baths alike"
    )
    return DosePlan(row.name, words, dose.working)


def _conditioner_dose(step: Step, fed: Material, ways: MillWays, tables: Tables) -> tuple[DosePlan, ...]:
    """Spinning oil and water, split over the layers."""
    if step.settings.finish_frac_owf <= 0:
        return ()
    dose = conditioner(
        fibre_mass_g=float(agreed_samples_g(fed, tables, ways.label_basis).mean()),
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
    return (DosePlan("conditioner", words, dose.working),)


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
    return DosePlan("cohesive", f"{product_g:.0f} g product ({row.value:g} %): {advice.why}", working)
