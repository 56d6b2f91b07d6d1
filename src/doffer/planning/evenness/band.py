"""A route by machines that mix better than likely, as likely, and worse: what is left at each end, whether
it is seen, and whether the label holds. A forecast and a search ask here, so that they cannot disagree.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.fibre.variation import Signals, Variation
from doffer.planning.evenness.answer import LabelForecast, Likely
from doffer.planning.evenness.figures import Figure, small_lot_factor
from doffer.planning.evenness.finished import POINTS, Scene, label_forecasts, likely, scene_of
from doffer.planning.evenness.sensitivity import Matter, weighed, what_matters
from doffer.process.evenness.passage import Passage
from doffer.process.evenness.spectrum import between_variance, through
from doffer.process.evenness.visible import Stripes, visible_stripes
from doffer.tables.loader import Tables


@dataclass(frozen=True, eq=False, slots=True)
class Ends:
    """A route's scene with its band, which figures matter, and its three passages: better, likely, worse."""

    scene: Scene
    matters: tuple[Matter, ...]
    routes: tuple[Passage, Passage, Passage]


@dataclass(frozen=True, eq=False, slots=True)
class Outcome:
    """What a route leaves at the end: stripes (none without colours), points of the smallest part, label."""

    seen: tuple[Stripes, ...]
    points: Likely
    label: tuple[LabelForecast, ...]

    @property
    def chance(self) -> Likely:
        """Chance of missing the label by the fibre most at risk."""
        ends = [[getattr(one, end).chance for one in self.label] for end in ("low", "mid", "high")]
        return likely([max(end) for end in ends])


def ends_of(
    passage: Passage,
    *,
    tables: Tables,
    figures: Sequence[Figure],
    slope_lab: Floats | None,
    distance_mm: float | None,
) -> Ends:
    """Weigh the unsure figures against one another for this very route."""
    scene = scene_of(passage, tables, figures, slope_lab, distance_mm)
    start = len(scene.names) if scene.has_colour else 0
    watched = Signals(scene.signals.names[start:], scene.signals.weights[start:])
    matters = what_matters(passage, figures, watched, piece_g=scene.piece_g)
    scene = dataclasses.replace(scene, band=weighed(figures, matters))
    return Ends(scene, matters, (scene.band.low(passage), passage, scene.band.high(passage)))


def outcome(ends: Ends, *, specimens: int = 2, bias_frac: float = 0.0) -> Outcome:
    """What the route leaves at the end."""
    scene, passage = ends.scene, ends.routes[1]
    left = left_by(ends, scene.signals)
    specimen = np.array([scene.specimen_g])
    part = int(np.argmin(passage.feed.shares))
    points = [POINTS * float(between_variance(one, masses_g=specimen)[part, 0]) ** 0.5 for one in left]
    label = label_of(ends, specimens=specimens, bias_frac=bias_frac)
    return Outcome(stripes_of(scene, passage, left), likely(points), label)


def left_by(ends: Ends, signals: Signals, *, n_steps: int | None = None) -> tuple[Variation, ...]:
    """Spectra after all steps, or the first few, by better, likely and worse figures.

    A small lot drawn from cans cut anywhere may lie above the closed form, so its worse end is moved up by
    figure ``small_lot_factor`` (simulated stream).
    """
    found = []
    for route in ends.routes:
        steps = route.steps if n_steps is None else route.steps[:n_steps]
        found.append(through(dataclasses.replace(route, steps=steps), signals))
    steps = ends.routes[1].steps if n_steps is None else ends.routes[1].steps[:n_steps]
    factor = small_lot_factor(dataclasses.replace(ends.routes[1], steps=steps), ends.scene.tables)
    return (*found[:2], _raised(found[2], factor))


def _raised(variation: Variation, factor: float) -> Variation:
    return dataclasses.replace(
        variation,
        density_g=variation.density_g * factor**2,
        line_variance=variation.line_variance * factor**2,
    )


def label_of(ends: Ends, *, specimens: int, bias_frac: float) -> tuple[LabelForecast, ...]:
    """Chance of missing the label for every fibre it names."""
    left = left_by(ends, ends.scene.label_signals)
    return label_forecasts(ends.scene, ends.routes[1], left, specimens=specimens, bias_frac=bias_frac)


def stripes_of(scene: Scene, passage: Passage, left: Sequence[Variation]) -> tuple[Stripes, ...]:
    """Stripes of each spectrum; none without colours."""
    if not scene.has_colour:
        return ()
    return tuple(
        visible_stripes(one, scene.tables, strand_tex=passage.strand_tex, distance_mm=scene.distance_mm)
        for one in left
    )
