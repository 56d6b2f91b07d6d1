"""A route: a small graph of stages with joins and splits, run forward and backward.

Forward answers "what can this become", backward "what do I weigh out"; both run on arrays of yield samples.
Backward is the exact inverse of forward in oven-dry clean fibre.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.fibre.material import Material, join, take
from doffer.process.losses import LossFracs, expected_loss_fracs, sample_loss_fracs, unlose
from doffer.process.stage import NO_LOSS, StageResult, StageSettings
from doffer.process.stages import STAGES
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Feed:
    """What goes into a step: a lot or an earlier step, and which share of it."""

    source: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Step:
    """One stage of a route: its name, the stage, what feeds it (several feeds: a join), its settings."""

    name: str
    stage: str
    feeds: tuple[Feed, ...]
    settings: StageSettings = field(default_factory=StageSettings)


Route = tuple[Step, ...]
"""Steps in an order in which every feed comes before its step."""

StepLosses = Mapping[str, LossFracs]
"""Loss shares by step name."""


def check_route(route: Route, lots: Sequence[str]) -> None:
    """Refuse a route that cannot be run: unknown stage or source, a name twice, more than all of a thing fed.

    Raises
    ------
    InputError
        With the step and what is wrong with it.
    """
    known = set(lots)
    fed: dict[str, float] = {}
    for step in route:
        if step.stage not in STAGES:
            raise InputError("stage", step.stage, f"one of {', '.join(STAGES)}", step.name)
        if step.name in known:
            raise InputError("step name", step.name, "used once, and not the name of a lot")
        if not step.feeds:
            raise InputError("feeds", None, "at least one lot or earlier step", step.name)
        for feed in step.feeds:
            if feed.source not in known:
                raise InputError("feed", feed.source, "a lot of the order or an earlier step", step.name)
            if not 0 < feed.share <= 1:
                raise InputError("share fed", feed.share, "above 0 and up to 1 (100 %)", step.name)
            fed[feed.source] = fed.get(feed.source, 0.0) + feed.share
            if fed[feed.source] > 1 + SHARE_DUST:
                raise InputError(
                    "share fed", fed[feed.source], f"1 (100 %) of {feed.source} in all", step.name
                )
        known.add(step.name)


SHARE_DUST = 1e-9  # thirds do not add up to one in floating point


def forward(
    route: Route, materials: Mapping[str, Material], losses: StepLosses, tables: Tables
) -> dict[str, StageResult]:
    """Run every step; the result of each by its name.

    Parameters
    ----------
    route : tuple of Step
        Checked with `check_route`.
    materials : mapping
        The material of every lot, by lot number.
    losses : mapping
        Shares lost, by step name and fibre; see `expected_losses` and `sampled_losses`.
    tables : Tables
        Constants.
    """
    check_route(route, list(materials))
    at: dict[str, Material] = dict(materials)
    results: dict[str, StageResult] = {}
    for step in route:
        fed = join([take(at[feed.source], share=feed.share) for feed in step.feeds])
        result = STAGES[step.stage](fed, step.settings, losses.get(step.name, {}), tables)
        results[step.name] = result
        at[step.name] = result.material
    return results


def shares_alone_g(
    route: Route, materials: Mapping[str, Material], losses: StepLosses
) -> dict[str, tuple[str, Floats]]:
    """What would leave the last step if machines kept nothing: by lot its fibre and oven-dry mass [g], (n,).

    ``out = in x product of (1 - b)^passes`` along the way of each lot; a lighter walk than `forward`.
    """
    at: dict[str, dict[str, tuple[str, Floats]]] = {
        lot: {
            part.lot: (part.fibre, material.dry_mass_g[row]) for row, part in enumerate(material.constituents)
        }
        for lot, material in materials.items()
    }
    for step in route:
        lost = losses.get(step.name, {})
        out: dict[str, tuple[str, Floats]] = {}
        for feed in step.feeds:
            for lot, (fibre, mass) in at[feed.source].items():
                kept = mass * feed.share * (1 - lost.get(fibre, NO_LOSS)) ** step.settings.passes
                out[lot] = (fibre, out[lot][1] + kept if lot in out else kept)
        at[step.name] = out
    return at[route[-1].name]


@dataclass(frozen=True, slots=True)
class Needs:
    """What must be there so that a wish comes out: oven-dry fibre [g], each of shape (n,).

    `lots` is what is taken of each lot (of the whole lot, before any split); `into` is what goes into each
    step, lot by lot.
    """

    lots: Mapping[str, Floats]
    into: Mapping[str, Mapping[str, Floats]]


def backward(
    route: Route,
    *,
    sink: str,
    wanted_dry_mass_g: Mapping[str, Floats],
    fibres: Mapping[str, str],
    losses: StepLosses,
) -> Needs:
    """What each lot must give so that `wanted_dry_mass_g` of it leaves the step `sink`.

    Parameters
    ----------
    route : tuple of Step
        The route; steps that do not lead to `sink` are passed over.
    sink : str
        Name of the step the wish is about.
    wanted_dry_mass_g : mapping
        Oven-dry fibre wanted out of `sink`, by lot [g], each of shape (n,).
    fibres : mapping
        Fibre key of every lot.
    losses : mapping
        As for `forward`.

    Raises
    ------
    InputError
        A lot that is wanted does not reach the sink, or reaches a step by two ways (name its parts as lots
        of their own).
    """
    check_route(route, list(fibres))
    carried = _carried(route, fibres)
    if sink not in carried:
        raise InputError("step", sink, "a step of the route")
    need: dict[str, dict[str, Floats]] = {sink: dict(wanted_dry_mass_g)}
    into: dict[str, Mapping[str, Floats]] = {}
    for step in reversed(route):
        if step.name not in need:
            continue
        rows = _unlose_step(step, need[step.name], fibres, losses.get(step.name, {}))
        into[step.name] = rows
        for lot, mass in rows.items():
            feed = _only_feed(step, lot, carried)
            need.setdefault(feed.source, {})[lot] = mass / feed.share
    lots = {lot: need[lot][lot] for lot in fibres if lot in need}
    return Needs(lots=lots, into=into)


def _unlose_step(
    step: Step, wanted: Mapping[str, Floats], fibres: Mapping[str, str], loss_fracs: LossFracs
) -> dict[str, Floats]:
    """What must go into one step, lot by lot."""
    names = list(wanted)
    out = np.stack(np.broadcast_arrays(*[np.atleast_1d(wanted[lot]) for lot in names]))
    share = np.stack(
        [
            np.broadcast_to(
                1 - (1 - loss_fracs.get(fibres[lot], NO_LOSS)) ** step.settings.passes, out.shape[1:]
            )
            for lot in names
        ]
    )
    rows = unlose(out, share_frac=share, held_dry_mass_g=step.settings.held_dry_mass_g)
    return dict(zip(names, rows, strict=True))


def _carried(route: Route, lots: Iterable[str]) -> dict[str, frozenset[str]]:
    """Which lots are in every lot and step."""
    carried = {lot: frozenset({lot}) for lot in lots}
    for step in route:
        carried[step.name] = frozenset().union(*(carried[feed.source] for feed in step.feeds))
    return carried


def _only_feed(step: Step, lot: str, carried: Mapping[str, frozenset[str]]) -> Feed:
    """The one feed of a step that brings a lot."""
    bringing = [feed for feed in step.feeds if lot in carried[feed.source]]
    if len(bringing) != 1:
        ways = "no way" if not bringing else "two ways"
        raise InputError(
            f"lot {lot}",
            ways,
            "coming into a step by exactly one way; name its parts as lots of their own",
            step.name,
        )
    return bringing[0]


def expected_losses(
    route: Route, tables: Tables, *, materials: Mapping[str, Material]
) -> dict[str, LossFracs]:
    """Mean loss shares for every step, from table stage_losses."""
    return {
        step.name: expected_loss_fracs(tables, stage=step.stage, fibres=fibres)
        for step, fibres in _fibres_at(route, materials)
    }


def sampled_losses(
    route: Route,
    tables: Tables,
    *,
    materials: Mapping[str, Material],
    rng: np.random.Generator,
    n_samples: int,
) -> dict[str, LossFracs]:
    """Loss shares drawn for every step; steps independent, one draw per fibre and step, in route order."""
    return {
        step.name: sample_loss_fracs(tables, stage=step.stage, fibres=fibres, rng=rng, n_samples=n_samples)
        for step, fibres in _fibres_at(route, materials)
    }


def _fibres_at(route: Route, materials: Mapping[str, Material]) -> Iterator[tuple[Step, tuple[str, ...]]]:
    """Every step with the fibres that come to it."""
    carried = _carried(route, materials)
    for step in route:
        yield (
            step,
            tuple(part.fibre for lot in sorted(carried[step.name]) for part in materials[lot].constituents),
        )
