"""A shade and its batches as their pages show them: swatches, differences, the drift in a sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doffer.fibre.colour.screen import screen_colour
from doffer.fibre.colour.spectrum import light
from doffer.fibre.colour.verdict import Formula, Tolerance
from doffer.mill import colours
from doffer.mill.colours import FIRST_LIGHT, Lab
from doffer.mill.queries.shades import BatchPoint, ShadeBook, StandardRow, Step, step_between
from doffer.pictures.chip import chip, chip_pair
from doffer.pictures.colour import fibre_hex
from doffer.pictures.colour import screen_colour as lab_on_screen
from doffer.pictures.drift import Limits, Mark, over_batches, which_way
from doffer.pictures.swatch import swatch_pair
from doffer.pictures.words import say_list, say_many
from doffer.planning.shade.drift import Drift, Standing, drift_of, lightness_limits, tolerance_outline
from doffer.tables.loader import Tables

VERDICT_WORDS = {"pass": "on shade", "ask": "a person decides", "fail": "off shade", "": "not judged yet"}
VERDICT_TAGS = {"pass": "running", "ask": "caution", "fail": "hold", "": ""}
FORMULA_WORDS = {"cmc": "CMC(2:1)", "de2000": "dE00"}
LIGHT_WORDS = {
    "D65": "in daylight",
    "A": "in lamp light",
    "LED-B3": "in LED light",
    "FL11": "under shop tubes",
}
LEAST_STEP = 0.05  # a step that rounds to nothing is said so


@dataclass(frozen=True, slots=True)
class Shown:
    """A colour on screen; `is_shown`: a screen reaches it; `is_exact`: it was measured as a spectrum."""

    hex: str
    is_shown: bool
    is_exact: bool


@dataclass(frozen=True, slots=True)
class UnderLight:
    """A batch beside its standard in one light."""

    words: str
    step: Step


@dataclass(frozen=True, slots=True)
class Line:
    """A batch in the book: its number in the pictures, swatches, difference by the standard's formula."""

    number: int
    point: BatchPoint
    pair: str
    de: float | None
    last_de: float | None
    words: str
    last_words: str
    turns: str


@dataclass(frozen=True, slots=True)
class DriftView:
    """The drift told in a sentence and drawn; `drift` is None below three batches."""

    sentence: str
    kind: str
    over: str
    way: str
    drift: Drift | None
    n_compared: int


def on_screen(labs: Mapping[str, Lab], reflectance_ppm: Sequence[int] | None, tables: Tables) -> Shown:
    """A measured colour by its spectrum, else approximately by its Lab."""
    if reflectance_ppm is not None:
        spectrum = colours.spectrum_of_ppm(reflectance_ppm)
        found = screen_colour(spectrum, light(tables, FIRST_LIGHT, observer_deg=2), tables)
        return Shown(found.hex, found.is_shown, is_exact=True)
    lab = labs.get(FIRST_LIGHT) or next(iter(labs.values()))
    near = lab_on_screen(*lab)
    return Shown(near.hex, not near.is_clipped, is_exact=False)


def list_chip(name: str, lab: Lab) -> str:
    """The swatch of a shade in the list."""
    return chip(fibre_hex(*lab), f"{name}, approximate", width=64)


def standard_chip(standard: StandardRow, name: str, tables: Tables) -> tuple[str, Shown]:
    """The swatch of a standard, large."""
    shown = on_screen(standard.labs, standard.reflectance_ppm, tables)
    return chip(shown.hex, f"{name}, standard {standard.version}", width=328, height=150), shown


def tolerance_of(standard: StandardRow) -> Tolerance:
    """The tolerance of a standard."""
    return Tolerance(Formula(standard.formula), standard.pass_de, standard.ask_de)


def tolerance_words(standard: StandardRow) -> str:
    """The tolerance as the mill says it."""
    formula = FORMULA_WORDS[standard.formula]
    if standard.ask_de == standard.pass_de:
        return f"A batch is on shade up to {formula} {standard.pass_de:.1f}, and off shade beyond"
    return (
        f"A batch is on shade up to {formula} {standard.pass_de:.1f}; up to {standard.ask_de:.1f} a person "
        "decides; beyond it is off shade"
    )


def ways(words: Sequence[str]) -> str:
    """Words of a difference on one line."""
    return ", ".join(words)


def by_formula(step: Step | None, standard: StandardRow) -> float | None:
    """A step in the formula of the tolerance."""
    if step is None:
        return None
    return step.de_cmc if standard.formula == Formula.CMC else step.de2000


def standard_of(book: ShadeBook, point: BatchPoint) -> StandardRow:
    """The version a batch was made to."""
    return next(row for row in book.standards if row.version == point.version)


def lines_of(book: ShadeBook, tables: Tables) -> tuple[Line, ...]:
    """Every batch, newest first, numbered from the oldest."""
    lines = [_line(number, point, book, tables) for number, point in enumerate(book.batches, start=1)]
    return tuple(reversed(lines))


def _line(number: int, point: BatchPoint, book: ShadeBook, tables: Tables) -> Line:
    standard = standard_of(book, point)
    return Line(
        number=number,
        point=point,
        pair=_small_pair(point, standard, book.row.name, tables),
        de=by_formula(point.to_standard, standard),
        last_de=by_formula(point.to_last, standard),
        words=ways(point.to_standard.words) if point.to_standard else "",
        last_words=ways(point.to_last.words) if point.to_last else "",
        turns=turns(under_lights(point, standard, tables), standard),
    )


def _small_pair(point: BatchPoint, standard: StandardRow, name: str, tables: Tables) -> str:
    first = on_screen(standard.labs, standard.reflectance_ppm, tables).hex
    if point.sitting is None:
        return chip(first, f"{name}, the standard; {point.label} was not read")
    second = on_screen(point.sitting.labs, point.sitting.reflectance_ppm, tables).hex
    return chip_pair(first, second, f"{name} on the left, {point.label} on the right")


def large_pair(point: BatchPoint, standard: StandardRow, name: str, tables: Tables) -> tuple[str, bool, bool]:
    """Standard and batch touching; whether a screen shows both, whether both were measured as spectra."""
    assert point.sitting is not None
    first = on_screen(standard.labs, standard.reflectance_ppm, tables)
    second = on_screen(point.sitting.labs, point.sitting.reflectance_ppm, tables)
    words = ways(point.to_standard.words) if point.to_standard else ""
    picture = swatch_pair(first.hex, second.hex, first_name=name, second_name="this batch", difference=words)
    return picture, first.is_shown and second.is_shown, first.is_exact and second.is_exact


def under_lights(point: BatchPoint, standard: StandardRow, tables: Tables) -> tuple[UnderLight, ...]:
    """The pair in each light in which both are known."""
    if point.sitting is None or point.why_not:
        return ()
    shared = [name for name in LIGHT_WORDS if name in standard.labs and name in point.sitting.labs]
    found = [
        (name, step_between(standard.labs, point.sitting.labs, light=name, tables=tables)) for name in shared
    ]
    return tuple(UnderLight(LIGHT_WORDS[name], step) for name, step in found if step)


def turns(rows: Sequence[UnderLight], standard: StandardRow) -> str:
    """The sentence for a batch that is on shade in one light and off in another; "" where none does."""
    passes = [row.words for row in rows if (by_formula(row.step, standard) or 0) <= standard.pass_de]
    fails = [row.words for row in rows if (by_formula(row.step, standard) or 0) > standard.ask_de]
    if not passes or not fails:
        return ""
    return (
        f"On shade {say_list(passes)}, off shade {say_list(fails)}: "
        "it was dyed with other dyes than the standard."
    )


def drift_view(book: ShadeBook) -> DriftView:
    """Batches made to the standard that counts, against it."""
    standard = book.standard
    compared = [
        (number, p)
        for number, p in enumerate(book.batches, start=1)
        if p.to_standard and p.sitting and p.version == standard.version and standard.light in p.sitting.labs
    ]
    tolerance, limits = tolerance_of(standard), Limits(standard.pass_de, standard.ask_de)
    wanted = np.array(standard.lab)
    marks = [
        Mark(
            number,
            p.label,
            fibre_hex(*p.sitting.lab),
            by_formula(p.to_standard, standard) or 0.0,
            p.sitting.labs[standard.light],
        )
        for number, p in compared
        if p.sitting
    ]
    drift = drift_of(wanted, np.array([mark.lab for mark in marks]).reshape(-1, 3), tolerance)
    sentence, kind = _told(book, drift, len(marks))
    over = way = ""
    if marks:
        is_told = drift is not None and drift.standing is not Standing.STEADY
        days = [f"{p.made_on.day} {p.made_on:%b %Y}" for _, p in compared]
        over = over_batches(
            marks,
            limits,
            along_de=drift.along_de if drift and is_told else (),
            first=days[0],
            last=days[-1],
        )
        passes, asks = (tolerance_outline(wanted, tolerance, de) for de in (limits.pass_de, limits.ask_de))
        way = which_way(
            standard.lab,
            marks,
            limits,
            passes=[(float(a), float(b)) for a, b in passes],
            asks=[(float(a), float(b)) for a, b in asks],
            lightness=lightness_limits(wanted, tolerance, limits.pass_de),
        )
    return DriftView(sentence, kind, over, way, drift, len(marks))


def _told(book: ShadeBook, drift: Drift | None, n_compared: int) -> tuple[str, str]:
    """The sentence above the pictures and how it is shown."""
    name = book.row.name
    if drift is None:
        if not n_compared:
            return f"No batch was compared with standard {book.standard.version} yet.", "quiet"
        here = f"{say_many(n_compared, 'batch', 'batches')} {'is' if n_compared == 1 else 'are'}"
        return f"Three batches tell whether a shade drifts; {here} here so far.", "quiet"
    if drift.standing is Standing.STEADY:
        words = ways(book.drift.words) if book.drift else ""
        where = f" The newest three lie a little {words} of the standard." if words else ""
        return f"{name} does not drift: its batches scatter about one place.{where}", "steady"
    step = "less than 0.1" if drift.step_de < LEAST_STEP else f"{drift.step_de:.1f}"
    way = say_list(list(drift.words)) or "away"
    walk = f"{name} drifts {way} by {step} a batch"
    if drift.standing is Standing.OUTSIDE:
        return f"{walk} and has left what passes. Put the recipe right before the next batch.", "outside"
    if drift.leaves_in is None:
        return f"{walk}, but stays within what passes.", "steady"
    return (
        f"{walk}; it will leave what passes in about {say_many(drift.leaves_in, 'batch', 'batches')}.",
        "drifting",
    )
