"""What every stage of a passage leaves: how far the shares and the colour stray, and whether it is seen."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.variation import COLOUR_AXES, Variation
from doffer.planning.evenness import say
from doffer.planning.evenness.answer import (
    CurvePoint,
    Forecast,
    LabelForecast,
    Likely,
    PartSpread,
    StageForecast,
)
from doffer.planning.evenness.band import Ends, ends_of, label_of, left_by, stripes_of
from doffer.planning.evenness.cost import StageCost, stage_of
from doffer.planning.evenness.figures import CLUMPS, Figure
from doffer.planning.evenness.finished import (
    POINTS,
    Scene,
    curve_of,
    likely,
    workings_of,
)
from doffer.planning.evenness.label_risk import specimen_sampling_variance
from doffer.planning.evenness.traps import traps
from doffer.process.evenness.passage import Card, Passage, Pick, Step, Toss
from doffer.process.evenness.spectrum import between_variance
from doffer.process.evenness.visible import Stripes, dominant_wave_g, wavelength_mm
from doffer.tables.loader import Tables

__all__ = [
    "CurvePoint",
    "Forecast",
    "LabelForecast",
    "Likely",
    "PartSpread",
    "StageCost",
    "StageForecast",
    "forecast",
    "one_more_pass",
]

NEVER_G = 1e9  # a wave longer than any lot is none


def forecast(
    passage: Passage,
    *,
    tables: Tables,
    figures: Sequence[Figure],
    slope_lab: Floats | None = None,
    costs: Sequence[StageCost] = (),
    distance_mm: float | None = None,
    yarn_per_row_mm: float | None = None,
    specimens: int = 2,
    bias_frac: float = 0.0,
    most_passes: int | None = None,
) -> Forecast:
    """Forecast every stage of a passage with figures that mix better than likely, likely and worse.

    Parameters
    ----------
    passage : Passage
        With likely figures; the shares of its feed are oven-dry.
    tables : Tables
        Limits of the eye and of the label (evenness_figures).
    figures : sequence of Figure
        Figures of the machines with their ranges, see `figures.usual_figures`.
    slope_lab : ndarray, shape (3, k), optional
        Weights of the colour signals from `slope.slope_lab`; without it only shares are forecast.
    costs : sequence of StageCost
        Of the feed and every step, see `cost.stage_costs`.
    distance_mm, yarn_per_row_mm : float, optional
        From where the strand is looked at; yarn in one row of the goods [mm].
    specimens : int
        Specimens of a label test.
    bias_frac : float
        What weighing out may be wrong by [frac].
    most_passes : int, optional
        Passes through the picker that this fibre should see at most, see `wish.gentle_limits`.
    """
    ends = ends_of(passage, tables=tables, figures=figures, slope_lab=slope_lab, distance_mm=distance_mm)
    scene, matters = ends.scene, ends.matters
    names = say.stage_names(passage)
    given = tuple(costs) or (StageCost(),) * len(names)
    every = [left_by(ends, scene.signals, n_steps=at) for at in range(len(names))]
    stages = tuple(
        _stage(scene, passage, at, every[at], name=names[at], cost=given[at]) for at in range(len(names))
    )
    last = every[-1]
    floor_de = float(np.sqrt(scene.floors[-len(COLOUR_AXES) :].sum())) if scene.has_colour else None
    part = int(np.argmin(passage.feed.shares))
    label = label_of(ends, specimens=specimens, bias_frac=bias_frac)
    waves_mm = tuple(one.wavelength_mm for one in stages[-1:] if one.wavelength_mm is not None)
    used = [one for one in figures if one in {matter.figure for matter in matters} or one.is_own]
    return Forecast(
        passage=passage,
        stages=stages,
        verdict=_verdict(ends, stages[-1], slope_lab, most_passes=most_passes),
        label=label,
        curve=curve_of(scene, passage, last, part=part),
        curve_part=scene.names[part],
        floor_de=floor_de,
        floor_sentence=say.floor_sentence(
            floor_de,
            name=scene.names[part],
            floor_pct=stages[-1].parts[part].floor_points,
            piece_mm=tables.evenness_figures["seen_piece"].value,
        ),
        figures=scene.band,
        figures_sentence=say.figures_sentence(used),
        matters=matters,
        traps=traps(passage, tables, wavelengths_mm=waves_mm, yarn_per_row_mm=yarn_per_row_mm),
        working=workings_of(scene, passage, stages[-1], part=part),
        distance_mm=scene.distance_mm,
        specimen_g=scene.specimen_g,
    )


def _stage(
    scene: Scene, passage: Passage, at: int, three: Sequence[Variation], *, name: str, cost: StageCost
) -> StageForecast:
    specimen = np.array([scene.specimen_g])
    spread = POINTS * np.sqrt([between_variance(one, masses_g=specimen)[:, 0] for one in three])
    sampling = specimen_sampling_variance(passage.feed.parts, specimen_g=scene.specimen_g)
    parts = tuple(
        PartSpread(part, likely(spread[:, row]), POINTS * math.sqrt(sampling[row]))
        for row, part in enumerate(scene.names)
    )
    seen = stripes_of(scene, passage, three)
    wave_g = _wave_g(scene, three[1])
    wave_mm = None if wave_g is None else wavelength_mm(wave_g=wave_g, strand_tex=passage.strand_tex)
    step = passage.steps[at - 1] if at else None
    flags = _flags(scene, seen)
    return StageForecast(
        key="feed" if step is None else stage_of(step),
        name=name,
        parts=parts,
        de=likely([one.sd_de for one in seen]) if seen else None,
        apart_de=_apart(scene, seen) if seen else None,
        wavelength_mm=wave_mm,
        wavelength_g=wave_g,
        is_visible=flags[0],
        may_be_visible=flags[1],
        is_plain=flags[2],
        sentence=_sentence(scene, passage, parts, seen, wave_g=wave_g, wave_mm=wave_mm, at=at),
        lost_g=cost.lost_g,
        minutes=cost.minutes,
    )


def _flags(scene: Scene, seen: Sequence[Stripes]) -> tuple[bool | None, bool | None, bool | None]:
    if not scene.has_colour:
        return None, None, None
    return seen[1].is_told_apart, seen[2].is_told_apart, seen[1].is_visible


def _apart(scene: Scene, seen: Sequence[Stripes]) -> Likely:
    pair_95 = scene.tables.evenness_figures["pair_95"].value
    return likely([pair_95 * one.seen_sd_de for one in seen])


def _wave_g(scene: Scene, variation: Variation) -> float | None:
    """Wavelength of the strongest of the colour axes, or of the shares where no colour is known."""
    start = len(scene.names) if scene.has_colour else 0
    between = between_variance(variation, masses_g=np.array([scene.piece_g]))[start:, 0]
    wave_g = float(dominant_wave_g(variation, piece_g=scene.piece_g)[start + int(between.argmax())])
    return wave_g if wave_g < NEVER_G else None


def _sentence(
    scene: Scene,
    passage: Passage,
    parts: Sequence[PartSpread],
    seen: Sequence[Stripes],
    *,
    wave_g: float | None,
    wave_mm: float | None,
    at: int,
) -> str:
    if not seen:
        part = min(parts, key=lambda one: passage.feed.shares[scene.names.index(one.name)])
        points = part.points
        return say.points_sentence(
            part.name, (points.low, points.mid, points.high), specimen_g=scene.specimen_g
        )
    is_strand = any(isinstance(step, Card) for step in passage.steps[:at])
    what = "shades"
    if wave_g is not None and wave_g * 2 > passage.feed.lot_dry_mass_g:
        what = "a slow drift through the lot"
    elif wave_g is not None and wave_mm is not None:
        length = say.length_words(wave_mm) if is_strand else say.mass_words(wave_g)
        what = f"{'stripes' if is_strand else 'bands'} of about {length}"
    return say.stripes_sentence(
        what=what,
        apart_de=_apart(scene, seen).mid,
        is_visible=seen[1].is_told_apart,
        may_be_visible=seen[2].is_told_apart,
        has_one_part=len(parts) == 1,
    )


def _verdict(ends: Ends, last: StageForecast, slope_lab: Floats | None, *, most_passes: int | None) -> str:
    """The last stage's sentence and what one more pass through the picker would leave."""
    passage, scene = ends.routes[1], ends.scene
    if not last.may_be_visible:
        return last.sentence
    figures = scene.band.figures
    more = one_more_pass(passage, figures)
    after = ends_of(
        more, tables=scene.tables, figures=figures, slope_lab=slope_lab, distance_mm=scene.distance_mm
    )
    seen = stripes_of(scene, more, left_by(after, scene.signals))
    picks = sum(isinstance(step, Pick) for step in passage.steps)
    return say.one_more_words(
        last.sentence,
        is_visible=seen[1].is_told_apart,
        may_be_visible=seen[2].is_told_apart,
        most_passes=most_passes if most_passes is not None and picks >= most_passes else None,
    )


def one_more_pass(passage: Passage, figures: Sequence[Figure]) -> Passage:
    """The passage with one more picking (and a toss after it, if the last has one) before the card.

    The picker opens what it is given again, so the new pass has the clumps of its own number.
    """
    picks = [at for at, step in enumerate(passage.steps) if isinstance(step, Pick)]
    if not picks:
        return passage
    value = {one.key: one.value for one in figures}
    clump_g = value[CLUMPS[min(len(picks), len(CLUMPS) - 1)]]
    hold_up_g = next(step.hold_up_g for step in reversed(passage.steps) if isinstance(step, Pick))
    more: tuple[Step, ...] = (Pick(hold_up_g, clump_g=clump_g),)
    after = passage.steps[picks[-1] + 1 : picks[-1] + 2]
    at = picks[-1] + 1
    if after and isinstance(after[0], Toss):
        more, at = (*more, after[0]), at + 1
    return dataclasses.replace(passage, steps=(*passage.steps[:at], *more, *passage.steps[at:]))
