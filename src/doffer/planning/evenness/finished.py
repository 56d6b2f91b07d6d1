"""What is said of the finished strand: chance of missing the label, spread by length, how it was reckoned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Signals, Variation, share_signals, with_colour
from doffer.planning.evenness.answer import CurvePoint, LabelForecast, Likely, StageForecast
from doffer.planning.evenness.figures import Figure, FigureBand
from doffer.planning.evenness.label_risk import (
    label_risks,
    label_signals,
    signals_sampling_variance,
    specimens_variance,
)
from doffer.process.evenness.fibres import signal_sampling_variance
from doffer.process.evenness.passage import Passage
from doffer.process.evenness.spectrum import between_variance
from doffer.process.evenness.visible import piece_mass_g
from doffer.tables.loader import Tables
from doffer.working import Status, Term, Working

CURVE_FROM_MM, CURVE_TO_MM, CURVE_POINTS = 10.0, 100_000.0, 25
POINTS = 100


@dataclass(frozen=True, eq=False, slots=True)
class Scene:
    """What all stages of a forecast have in common."""

    tables: Tables
    signals: Signals
    band: FigureBand
    distance_mm: float
    specimen_g: float
    piece_g: float
    has_colour: bool
    names: tuple[str, ...]
    floors: Floats
    label_signals: Signals


def scene_of(
    passage: Passage,
    tables: Tables,
    figures: Sequence[Figure],
    slope_lab: Floats | None,
    distance_mm: float | None,
) -> Scene:
    """What holds for all stages: signals, limits of the eye, piece, floor."""
    row = tables.evenness_figures
    signals = share_signals(passage.feed.parts)
    names = signals.names
    if slope_lab is not None:
        signals = with_colour(signals, slope_lab)
    piece_mm = row["seen_piece"].value
    floors = signal_sampling_variance(
        passage.feed.parts, signals, strand_tex=passage.strand_tex, length_mm=piece_mm
    )
    return Scene(
        tables=tables,
        signals=signals,
        band=FigureBand(tuple(figures)),
        distance_mm=row["viewing_distance"].value if distance_mm is None else distance_mm,
        specimen_g=row["label_specimen"].value,
        piece_g=piece_mass_g(length_mm=piece_mm, strand_tex=passage.strand_tex),
        has_colour=slope_lab is not None,
        names=names,
        floors=floors,
        label_signals=label_signals(passage.feed.parts, tables),
    )


def likely(three: Sequence[float] | Floats) -> Likely:
    """Three numbers as better, likely and worse; the likely one is never outside the other two."""
    low, mid, high = (float(one) for one in three)
    return Likely(min(low, mid), mid, max(mid, high))


def label_forecasts(
    scene: Scene, passage: Passage, last: Sequence[Variation], *, specimens: int, bias_frac: float
) -> tuple[LabelForecast, ...]:
    """Chance of missing the label for every fibre on it, from the last stage by low, likely, high figures.

    `last` holds the spectra of `Scene.label_signals`.
    """
    feed, names = passage.feed, scene.label_signals.names
    sampling = signals_sampling_variance(feed.parts, scene.label_signals, specimen_g=scene.specimen_g)
    masses = np.array(
        [scene.specimen_g, min(scene.tables.evenness_figures["skein_shared"].value, feed.lot_dry_mass_g)]
    )
    tolerance_frac = scene.tables.evenness_figures["label_tolerance"].value / POINTS
    three, points = [], []
    for variation in last:
        between = between_variance(variation, masses_g=masses)
        points.append(POINTS * np.sqrt(between[:, 0]))
        variance = specimens_variance(between[:, 0], between[:, 1], sampling, specimens=specimens)
        three.append(
            label_risks(
                names,
                variance,
                sampling,
                specimens=specimens,
                tolerance_frac=tolerance_frac,
                bias_frac=bias_frac,
            )
        )
    spread = np.stack(points)
    return tuple(
        LabelForecast(
            name,
            three[0][at],
            three[1][at],
            three[2][at],
            points=likely(spread[:, at]),
            floor_points=POINTS * math.sqrt(sampling[at]),
        )
        for at, name in enumerate(names)
    )


def curve_of(
    scene: Scene, passage: Passage, last: Sequence[Variation], *, part: int
) -> tuple[CurvePoint, ...]:
    """Spread between pieces from 1 cm to 100 m of the finished strand, of one part and of the colour."""
    lengths_mm = np.geomspace(CURVE_FROM_MM, CURVE_TO_MM, CURVE_POINTS)
    masses = np.array(
        [piece_mass_g(length_mm=one, strand_tex=passage.strand_tex) for one in lengths_mm.tolist()]
    )
    between = np.stack([between_variance(one, masses_g=masses) for one in last])
    points = POINTS * np.sqrt(between[:, part])
    colours = np.sqrt(between[:, len(scene.names) :].sum(axis=1)) if scene.has_colour else None
    curve = []
    for at, length_mm in enumerate(lengths_mm.tolist()):
        floor = signal_sampling_variance(
            passage.feed.parts, scene.signals, strand_tex=passage.strand_tex, length_mm=length_mm
        )
        curve.append(
            CurvePoint(
                length_mm,
                likely(points[:, at]),
                POINTS * math.sqrt(floor[part]),
                None if colours is None else likely(colours[:, at]),
                float(np.sqrt(floor[len(scene.names) :].sum())) if scene.has_colour else None,
            )
        )
    return tuple(curve)


def workings_of(scene: Scene, passage: Passage, last: StageForecast, *, part: int) -> tuple[Working, ...]:
    """How the spread of one part and its floor were reckoned, with every figure and its source."""
    used = scene.band.used_in(passage)
    spread = last.parts[part]
    stripes = Working(
        title=f"How far {spread.name} strays",
        formula="square root of the variance left at every wavelength, between pieces of one weight",
        inputs=(
            Term("oven-dry fibre", passage.feed.lot_dry_mass_g, "g"),
            Term("sets of layers", float(passage.feed.layers)),
            Term("one set", passage.feed.set_mass_g, "g"),
            Term("piece", scene.specimen_g, "g"),
        ),
        result=Term(
            "spread",
            spread.points.mid / POINTS,
            "frac",
            f"{spread.points.low:.2g} to {spread.points.high:.2g} points in 8 of 10 cases",
        ),
        source="residence-time mixing in closed form, checked against the simulated stream",
        status=Status.COMPUTED,
        parts=tuple(one.working() for one in used),
    )
    floor = Working(
        title="What fibre counts alone make",
        formula="square root of f ((1 - f)^2 m + f sum f' m') / piece, with fibre masses m",
        inputs=(Term("piece", scene.specimen_g, "g"),),
        result=Term("floor", spread.floor_points / POINTS, "frac"),
        source="Poisson counts to first order",
        status=Status.COMPUTED,
    )
    return stripes, floor
