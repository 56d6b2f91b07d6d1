"""The pictures of one batch: the river from bag to product, the ladder, the layers, the fineness."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from doffer.fibre.fineness import histogram, length_shares
from doffer.pictures import bars, flow, kettle
from doffer.pictures import histogram as fineness_picture
from doffer.planning.order_plan import BatchPlan, StagePlan
from doffer.planning.spec import BatchSpec
from doffer.process.stage import LossKind
from doffer.tables.loader import Tables

RAW_STAGES = ("skirt", "tumble")  # what leaves them still carries its dirt: said as weighed
QUIET_STAGES = ("extract", "dry", "rest", "set")  # water comes and goes, fibre hardly
RAW_FORMS = ("greasy", "skirted")
SEEN_FRAC = 0.002  # a stream thinner than this share of the river is not drawn
STAGE_NAMES = {
    "skirt": "skirting",
    "tumble": "tumbling",
    "wash": "washing",
    "extract": "spinning out",
    "dry": "drying",
    "dye": "dyeing",
    "pick": "picking",
    "rest": "resting",
    "dehair": "dehairing",
    "card": "carding",
    "draw": "drawing",
    "spin": "spinning",
    "ply": "plying",
    "set": "setting",
    "skein": "skeining",
}
LOSS_WORDS = {LossKind.HELD.value: "stays in machine"}
SHORT_LOSS = {  # names that fit beside a river
    "dust, short fibre and fly": "dust and fly",
    "strips, neps and droppings": "neps, droppings",
    "piecings and bobbin ends": "bobbin ends",
    "unequal bobbin ends": "uneven ends",
}
EDGES_UM = np.arange(6.0, 62.0, 2.0)
HISTOGRAM_TINTS = ("#c9b694", "#8c7a5b", "#a9b3a0", "#6f7f8c", "#b98f7a", "#5d4a3a")


def clean_g(stage: StagePlan) -> float:
    """What a stage leaves: raw fibre as weighed, clean fibre at agreed regain [g]."""
    return stage.weighed.mean if stage.stage in RAW_STAGES else stage.agreed.mean


def start_g(plan: BatchPlan) -> float:
    """What the batch begins with: raw fibre as weighed, clean fibre at agreed regain [g]."""
    return sum(lot.weighed_mass_g if lot.form in RAW_FORMS else lot.agreed.mean for lot in plan.lots)


def river_steps(plan: BatchPlan) -> tuple[flow.RiverStep, ...]:
    """The stages at which fibre is lost, those of several lots before they meet taken together."""
    now = {lot.lot: lot.weighed_mass_g if lot.form in RAW_FORMS else lot.agreed.mean for lot in plan.lots}
    least_g = SEEN_FRAC * start_g(plan)
    steps: list[flow.RiverStep] = []
    for name, stages in _by_stage(plan).items():
        for each in stages:
            sources = _lots_behind(each, plan, now)
            for lot in sources[1:]:
                now.pop(lot, None)
            now[sources[0]] = clean_g(each)
        if name in QUIET_STAGES:
            continue
        together = stages[0] if len(stages) == 1 and len(now) == 1 else None
        spread = None if together is None else together.agreed
        if together is not None and name in RAW_STAGES:
            spread = together.weighed
        steps.append(
            flow.RiverStep(
                name=STAGE_NAMES.get(name, name),
                mass_g=sum(now.values()),
                low_g=spread.low if spread else None,
                high_g=spread.high if spread else None,
                losses=_losses(stages, least_g),
            )
        )
    return tuple(steps)


def _by_stage(plan: BatchPlan) -> dict[str, list[StagePlan]]:
    """Stages in order, those of the same name together."""
    grouped: dict[str, list[StagePlan]] = {}
    for stage in plan.stages:
        grouped.setdefault(stage.stage, []).append(stage)
    return grouped


def _lots_behind(stage: StagePlan, plan: BatchPlan, now: Mapping[str, float]) -> list[str]:
    """Lots still apart that this stage takes in; a stage before the join carries the number of its lot."""
    own = [lot.lot for lot in plan.lots if stage.name.endswith(f" {lot.lot}")]
    return own or list(now)


def _losses(stages: list[StagePlan], least_g: float) -> tuple[tuple[str, float], ...]:
    """What leaves at a stage by name [g], fibre at agreed regain; oil and water are not shown."""
    found: dict[str, float] = {}
    for stage in stages:
        agreed = stage.agreed.mean / stage.dry.mean if stage.dry.mean > 0 else 1.0
        for loss in stage.losses:
            if loss.kind == LossKind.FINISH:
                continue
            mass = loss.mass_g if loss.kind == LossKind.FOREIGN else loss.mass_g * agreed
            name = LOSS_WORDS.get(loss.kind, SHORT_LOSS.get(loss.name, loss.name))
            found[name] = found.get(name, 0.0) + mass
    return tuple((name, mass) for name, mass in found.items() if mass >= least_g)


def source_words(plan: BatchPlan) -> str:
    """What flows into the river."""
    if any(lot.form in RAW_FORMS for lot in plan.lots):
        return "raw fibre"
    return "fibre now"


def rivers(plan: BatchPlan, *, colour: str, system: str) -> tuple[str, str]:
    """The river for a wide page and the one for a telephone."""
    steps, begins_g = river_steps(plan), start_g(plan)
    if begins_g <= 0 or not steps:
        return "", ""
    name = source_words(plan)
    return (
        flow.river(name, begins_g, steps, colour=colour, system=system),
        flow.river_tall(name, begins_g, steps, colour=colour, system=system),
    )


def ladder(plan: BatchPlan, weighed_g: Mapping[str, float], *, colour: str, system: str) -> str:
    """Clean fibre after each stage, with a post where the scale has spoken."""
    rungs = [
        bars.Rung(
            STAGE_NAMES.get(stage.stage, stage.stage)
            + (f" {stage.name.split()[-1]}" if " " in stage.name else ""),
            stage.agreed.mean,
            min(stage.agreed.low, stage.agreed.mean),
            max(stage.agreed.high, stage.agreed.mean),
            weighed_g.get(stage.name),
        )
        for stage in plan.stages
        if stage.stage not in QUIET_STAGES
    ]
    return bars.stage_ladder(rungs, colour=colour, system=system) if rungs else ""


def layers(plan: BatchPlan, colours: Mapping[str, str], *, system: str) -> str:
    """The feed of the picker, band on band."""
    if not plan.layers:
        return ""
    laid = [
        kettle.Layer(layer.name, layer.mass_g, colours.get(layer.name, HISTOGRAM_TINTS[0]))
        for layer in plan.layers
        if layer.mass_g > 0
    ]
    return kettle.layers(laid, system=system) if laid else ""


def fineness(spec: BatchSpec, plan: BatchPlan, colours: Mapping[str, str], tables: Tables) -> str:
    """Diameters of all fibre that goes in, each lot in its colour, by length as a laboratory counts."""
    uses = {use.lot: use for use in plan.lots}
    starts = [start for start in spec.lots if uses[start.lot].agreed.mean > 0]
    if not starts:
        return ""
    mean = np.array([start.part.diameter_um for start in starts])
    sd = np.array([start.part.diameter_um * start.part.diameter_cv_frac for start in starts])
    density = np.array([tables.fibres[start.fibre].density_g_cm3 for start in starts])
    masses = np.array([uses[start.lot].agreed.mean for start in starts])
    shares = length_shares(mass_shares=masses, diameter_um=mean, diameter_sd_um=sd, density_g_cm3=density)
    found = histogram(length_shares=shares, diameter_um=mean, diameter_sd_um=sd, edges_um=EDGES_UM)
    parts = [
        fineness_picture.Part(
            f"{start.lot} {tables.fibres[start.fibre].name}",
            colours.get(start.lot, HISTOGRAM_TINTS[place % len(HISTOGRAM_TINTS)]),
            tuple(float(share) for share in row),
        )
        for place, (start, row) in enumerate(zip(starts, found.part_fracs, strict=True))
    ]
    return fineness_picture.histogram(
        [float(edge) for edge in EDGES_UM],
        parts,
        over_30_frac=plan.fineness.coarse_frac,
        mean_um=plan.fineness.diameter_um,
    )
