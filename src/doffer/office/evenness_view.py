"""A forecast of evenness as its page shows it: a strip and a verdict for each pass, and what it rests on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from doffer.office.evenness_asked import DRAWINGS
from doffer.office.evenness_blend import Route
from doffer.office.evenness_measured import Photographed, within_strip
from doffer.office.evenness_pictures import G_PER_MM_PER_TEX, are_locks, only_strips, shown_g
from doffer.pictures import kettle
from doffer.pictures.strip import framed
from doffer.pictures.variance_length import Along, by_length
from doffer.pictures.wording import say
from doffer.pictures.words import say_many, sentence
from doffer.planning.evenness.answer import CurvePoint, Forecast, Likely, StageForecast
from doffer.planning.layers import feed_sheet, layer_portions, whole_sheet
from doffer.process.evenness.passage import Laying

SEEN, MAYBE, UNSEEN = "seen", "may be seen", "not seen"
RAREST = 1e-3  # rarer than this nobody can foretell
SURE = 0.95
QUANTITY = re.compile(r"(\d+(?:\.\d+)?) (kg|g|mm|cm|m)\b")
NO_COLOUR_HEX = "#cfc6b6"


@dataclass(frozen=True, slots=True)
class StripRow:
    """One pass: its name, the sentence, seen or not, the range, and the strip; "" where nothing is drawn."""

    key: str
    name: str
    sentence: str
    seen: str
    range_words: str
    strip: str
    lost_g: float | None
    minutes: float | None


@dataclass(frozen=True, slots=True)
class LabelRow:
    """One fibre on the label: how far its share strays in a specimen, and how often a test would miss it."""

    name: str
    points: Likely
    floor_points: float
    chance_words: str


@dataclass(frozen=True, slots=True)
class EvennessView:
    """Everything the page shows of one passage."""

    verdict: str
    how: str
    traps: tuple[tuple[str, str], ...]
    floor: str
    rows: tuple[StripRow, ...]
    ruler: tuple[str, ...]
    curve: str
    curve_of: str
    label: tuple[LabelRow, ...]
    feed_sheet: str
    forecast: Forecast
    last: StripRow
    without_colour: tuple[str, ...]


def evenness_view(
    route: Route,
    forecast: Forecast,
    *,
    strips_href: str,
    weighed_g: Mapping[str, float],
    colours: Mapping[str, str],
    measured: Photographed | None = None,
    system: str = "metric",
) -> EvennessView:
    """The forecast ready to show.

    Parameters
    ----------
    strips_href : str
        Address of the strips' picture.
    weighed_g : mapping
        What is weighed out of each lot, for the feed sheet.
    colours : mapping
        Colour of each lot on a screen.
    """
    passage = route.passage
    locks, n_strips = are_locks(passage), len(forecast.stages)
    rows = tuple(
        _row(forecast.stages[place], strips_href if route.reflectance is not None else "", place=place,
             n_strips=n_strips, is_fleecy=locks[place], system=system)
        for place in only_strips(passage)
    )  # fmt: skip
    curve, curve_of = _curve(route, forecast, measured)
    return EvennessView(
        verdict=in_units(forecast.verdict, system),
        how=how_words(route, system),
        traps=tuple(
            (in_units(trap.sentence, system), in_units(trap.instead, system)) for trap in forecast.traps
        ),
        floor=in_units(forecast.floor_sentence, system),
        rows=rows,
        ruler=_ruler(route, system),
        curve=curve,
        curve_of=curve_of,
        label=_label(forecast),
        feed_sheet=_feed_sheet(route, weighed_g, colours, system),
        forecast=forecast,
        last=rows[-1],
        without_colour=route.inputs.without_colour,
    )


def in_units(said: str, system: str) -> str:
    """A sentence of the forecast with its grams and metres in the units of whoever reads it."""
    if system == "metric":
        return said
    return QUANTITY.sub(lambda found: say(float(found[1]), found[2], system), said)


def how_words(route: Route, system: str) -> str:
    """How it is mixed, in one sentence: "six sets of 2.19 kg, two passes through the picker, ..."."""
    mixed, feed = route.mixed, route.passage.feed
    said = [f"{say_many(mixed.layers, 'set')} of {say(feed.set_mass_g, 'g', system)} of dry fibre"]
    if route.inputs.loads > 1:
        each = say(feed.lot_dry_mass_g, "g", system)
        said.append(f"in {say_many(route.inputs.loads, 'load')} of {each}, each mixed by itself")
    if mixed.laying is Laying.HANDFULS:
        said.append("thrown as handfuls of one lot")
    if mixed.is_sandwich:
        said.append("each entering the picker at once")
    tossed = ", tossed after each" if mixed.is_tossed and mixed.passes else ""
    said.append(f"{say_many(mixed.passes, 'pass', 'passes')} through the picker{tossed}")
    said.append("carded")
    said.append(dict(DRAWINGS)[mixed.drawn] if not mixed.drawn else f"drawn {dict(DRAWINGS)[mixed.drawn]}")
    return ", ".join(said)


def _row(
    stage: StageForecast, href: str, *, place: int, n_strips: int, is_fleecy: bool, system: str
) -> StripRow:
    name, said = _name(stage), in_units(stage.sentence, system)
    drawn = ""
    if href:
        drawn = framed(href, f"{name}: {said}", place=place, n_strips=n_strips, is_fleecy=is_fleecy)
    return StripRow(
        stage.key, name, said, _seen(stage), _range_words(stage), drawn, stage.lost_g, stage.minutes
    )


def _name(stage: StageForecast) -> str:
    """The pass in words: "Picked once", "Drawn, 4 ends"."""
    if stage.key == "feed":
        return "On the belt"
    if stage.key == "draw":
        return f"Drawn, {stage.name.split()[-1]} ends"
    return sentence(stage.name).rstrip(".")


def _seen(stage: StageForecast) -> str:
    if stage.is_visible is None:
        return ""
    return SEEN if stage.is_visible else MAYBE if stage.may_be_visible else UNSEEN


def _range_words(stage: StageForecast) -> str:
    """From where to where the difference lies, as far as the machines are known."""
    if stage.apart_de is None:
        return ""
    low, high = (f"{value:.1f}" for value in (stage.apart_de.low, stage.apart_de.high))
    return "" if low == high else f"{low} to {high} apart, as far as the machines are known"


def _ruler(route: Route, system: str) -> tuple[str, ...]:
    """Marks under the strips: grams of fibre, and how long a roving that is."""
    whole_g = shown_g(route.passage)
    length_mm = whole_g / (route.passage.strand_tex * G_PER_MM_PER_TEX)
    half, end = (say(mass_g, "g", system) for mass_g in (whole_g / 2, whole_g))
    return ("0", half, f"{end} of dry fibre, {say(length_mm / 1000, 'm', system, 0)} of roving")


def _curve(route: Route, forecast: Forecast, measured: Photographed | None) -> tuple[str, str]:
    """The chart: differences between pieces where the colours are known, else shares."""
    rows = route.inputs.tables.evenness_figures
    times = rows["pair_95"].value
    if forecast.curve[0].de is not None:
        along = [_along(point, point.de, times * (point.floor_de or 0.0), times) for point in forecast.curve]
        limit, words, unit = rows["visible_pair"].value, "an eye tells them apart", "apart in colour"
    else:
        measured = None  # a photo tells of colours, not of shares
        along = [_along(point, point.points, point.floor_points, 1.0) for point in forecast.curve]
        limit, words = rows["label_tolerance"].value, "tolerance of a label"
        unit = f"points of {forecast.curve_part}"
    points = measured.points if measured else ()
    within = within_strip(route, measured.trial) if measured else ()
    return by_length(along, points, within=within, limit=limit, unit=unit, limit_words=words), unit


def _along(point: CurvePoint, spread: Likely | None, floor: float, times: float) -> Along:
    low, mid, high = (
        (times * value for value in (spread.low, spread.mid, spread.high)) if spread else (0, 0, 0)
    )
    return Along(point.length_mm, low, mid, high, floor)


def _label(forecast: Forecast) -> tuple[LabelRow, ...]:
    return tuple(
        LabelRow(
            one.name,
            one.points,
            one.floor_points,
            say_chances(one.low.chance, one.high.chance),
        )
        for one in forecast.label
    )


def say_chances(low: float, high: float) -> str:
    """From how seldom to how often, in words: "less than 1 in 1000", "1 in 200 to 1 in 12"."""
    first, second = _chance(low), _chance(high)
    return first if first == second else f"{first} to {second}"


def _chance(chance: float) -> str:
    if chance < RAREST:
        return "less than 1 in 1000"
    if chance > SURE:
        return "nearly always"
    return f"1 in {round(1 / chance)}" if chance < 0.5 else f"{round(10 * chance)} in 10"


def _feed_sheet(route: Route, weighed_g: Mapping[str, float], colours: Mapping[str, str], system: str) -> str:
    """The layers with their grams, the first at the bottom; "" for handfuls and for one lot alone."""
    totals = {
        name: round(mass_g) for name, mass_g in weighed_g.items() if round(mass_g) >= route.mixed.layers
    }
    if route.mixed.laying is Laying.HANDFULS or len(totals) < len(weighed_g) or len(totals) < 2:
        return ""
    sheet = feed_sheet if route.mixed.has_half_ends else whole_sheet
    laid = sheet(layer_portions(totals, n_layers=route.mixed.layers))
    return kettle.layers(
        [kettle.Layer(layer.name, layer.mass_g, colours.get(layer.name, NO_COLOUR_HEX)) for layer in laid],
        system=system,
    )
