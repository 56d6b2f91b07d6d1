"""What a forecast of evenness says, in values that pages, papers and the terminal show.

Stripes (macro variation, which mixing cures) are kept apart from the floor (the number of fibres in a
section, which nothing cures: heather).
"""

from __future__ import annotations

from dataclasses import dataclass

from doffer.planning.evenness.figures import FigureBand
from doffer.planning.evenness.label_risk import LabelRisk
from doffer.planning.evenness.sensitivity import Matter
from doffer.planning.evenness.traps import Trap
from doffer.process.evenness.passage import Passage
from doffer.working import Working


@dataclass(frozen=True, slots=True)
class Likely:
    """A forecast with machines that mix better than likely, as likely, and worse than likely."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True, slots=True)
class PartSpread:
    """Spread of a part's share in pieces [points of 100]; `floor_points`: what fibre counts alone make."""

    name: str
    points: Likely
    floor_points: float


@dataclass(frozen=True, slots=True)
class StageForecast:
    """One stage of the passage, in the order of `Passage.stages()`.

    Parameters
    ----------
    key : str
        "feed", "pick", "toss", "card" or "draw".
    name : str
        In mill words: "fed", "picked once", "tossed", "carded", "drawn 4".
    parts : tuple of PartSpread
        Every part's share in pieces of `Forecast.specimen_g`.
    de : Likely or None
        Standard deviation of the colour along the strand over 1 cm [CIELAB]; None without colours.
    apart_de : Likely or None
        What 95 of 100 pairs of pieces stay within of one another as the eye takes them in from
        `Forecast.distance_mm` [CIELAB].
    wavelength_mm, wavelength_g : float or None
        Of the strongest stripes, in the strand's length and in oven-dry grams; None: no stripes are left.
    is_visible : bool or None
        By the strict criterion with likely figures, seen from `Forecast.distance_mm`; None without colours.
    may_be_visible : bool or None
        The same with figures that mix worse than likely.
    is_plain : bool or None
        Plainly seen: by the loose criterion with likely figures.
    sentence : str
        The verdict in mill words.
    lost_g, minutes : float or None
        Oven-dry fibre this stage loses and time it takes, when known.
    """

    key: str
    name: str
    parts: tuple[PartSpread, ...]
    de: Likely | None
    apart_de: Likely | None
    wavelength_mm: float | None
    wavelength_g: float | None
    is_visible: bool | None
    may_be_visible: bool | None
    is_plain: bool | None
    sentence: str
    lost_g: float | None = None
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Spread between pieces of one length of the finished strand: of a share [points], of colour [CIELAB]."""

    length_mm: float
    points: Likely
    floor_points: float
    de: Likely | None
    floor_de: float | None


@dataclass(frozen=True, slots=True)
class LabelForecast:
    """Chance of missing the label of one fibre with better, likely and worse figures.

    `points` is how far its share strays in a specimen [points of 100], `floor_points` what fibre counts
    alone make of that.
    """

    name: str
    low: LabelRisk
    mid: LabelRisk
    high: LabelRisk
    points: Likely
    floor_points: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """A passage forecast stage by stage.

    Parameters
    ----------
    passage : Passage
        With likely figures.
    stages : tuple of StageForecast
        One for the feed and one for every step.
    verdict : str
        The last stage's verdict, and what one more pass through the picker would do.
    label : tuple of LabelForecast
        For every fibre the label names, lots of one fibre together.
    curve : tuple of CurvePoint
        Spread by length of the finished strand; `curve_part` is the part whose share it shows.
    floor_de : float or None
        Colour spread over 1 cm that the number of fibres alone makes [CIELAB].
    floor_sentence : str
        The floor in mill words; it is no stripe and no pass cures it.
    figures : FigureBand
        What it rests on: `figures.own` were measured here, `figures.guessed` were not.
    matters : tuple of Matter
        Which figure matters most.
    traps : tuple of Trap
        What would undo the mixing.
    working : tuple of Working
        How it was reckoned and where every figure comes from.
    """

    passage: Passage
    stages: tuple[StageForecast, ...]
    verdict: str
    label: tuple[LabelForecast, ...]
    curve: tuple[CurvePoint, ...]
    curve_part: str
    floor_de: float | None
    floor_sentence: str
    figures: FigureBand
    figures_sentence: str
    matters: tuple[Matter, ...]
    traps: tuple[Trap, ...]
    working: tuple[Working, ...]
    distance_mm: float
    specimen_g: float
