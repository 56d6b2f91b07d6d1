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
from doffer.planning.shade.drift import (
    Drift,
    Standing,
    drift_of,
    left_out_of,
    lightness_limits,
    tolerance_outline,
)
from doffer.tables.loader import Tables

VERDICT_WORDS = {"pass": "on shade", "ask": "a person decides", "fail": "off shade", "": "not judged yet"}
VERDICT_TAGS = {"pass": "running", "ask": "caution", "fail": "hold", "": ""}
COUNT_WORDS = {"cmc": "lightness counted by half", "de2000": "lightness counted in full"}
LIGHT_WORDS = {
    "D65": "in daylight",
    "A": "in lamp light",
    "LED-B3": "in LED light",
    "FL11": "under shop tubes",
}
LEAST_STEP = 0.05  # a step that rounds to nothing is said so
N_NEWEST = 3


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
    """A batch in the book: its number in the pictures, swatches, difference by the formula that counts now.

    `now` is what today's tolerance says of it, `then` the old figure, where they are not the same.
    """

    number: int
    point: BatchPoint
    pair: str
    de: float | None
    last_de: float | None
    words: str
    last_words: str
    turns: str
    now: str
    then: str


@dataclass(frozen=True, slots=True)
class DriftView:
    """The drift told in a sentence and drawn; `drift` is None below three batches that belong together.

    `newest` is said first: what the newest batch itself is, with `newest_kind` (pass, ask, fail, or "").
    """

    newest: str
    newest_kind: str
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
    upto = f"A batch is on shade up to {standard.pass_de:.1f} away, {COUNT_WORDS[standard.formula]}"
    if standard.ask_de == standard.pass_de:
        return f"{upto}, and off shade beyond"
    return f"{upto}; up to {standard.ask_de:.1f} a person decides; beyond it is off shade"


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
    """Every batch, newest first, numbered from the oldest; differences by the formula that counts now."""
    lines = [_line(number, point, book, tables) for number, point in enumerate(book.batches, start=1)]
    return tuple(reversed(lines))


def _line(number: int, point: BatchPoint, book: ShadeBook, tables: Tables) -> Line:
    standard = standard_of(book, point)
    return Line(
        number=number,
        point=point,
        pair=_small_pair(point, standard, book.row.name, tables),
        de=by_formula(point.to_standard, book.standard),
        last_de=by_formula(point.to_last, book.standard),
        words=ways(point.to_standard.words) if point.to_standard else "",
        last_words=ways(point.to_last.words) if point.to_last else "",
        turns=turns(under_lights(point, standard, tables), standard),
        now=now_words(point, book),
        then=_then_words(point, book),
    )


def now_words(point: BatchPoint, book: ShadeBook) -> str:
    """What the tolerance that counts now says of a batch made when another one counted."""
    de = by_formula(point.to_standard, book.standard)
    if de is None or point.version == book.standard.version or not book.counts_for(point):
        return ""
    limits = Limits(book.standard.pass_de, book.standard.ask_de)
    return f"{limits.word(de)} by the tolerance that counts now"


def _then_words(point: BatchPoint, book: ShadeBook) -> str:
    """The figure of a verdict that was told by another formula than the one that counts now."""
    if not point.verdicts or point.verdicts[-1].formula == book.standard.formula:
        return ""
    said = point.verdicts[-1]
    return f"{said.de:.1f} with {COUNT_WORDS[said.formula]} when it was said."


def _small_pair(point: BatchPoint, standard: StandardRow, name: str, tables: Tables) -> str:
    """Standard and batch side by side; nothing where the batch was not read."""
    if point.sitting is None:
        return ""
    first = on_screen(standard.labs, standard.reflectance_ppm, tables).hex
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


def drift_view(book: ShadeBook, tables: Tables) -> DriftView:
    """Batches made to the colour that counts, against it and the tolerance that counts."""
    standard = book.standard
    compared = [
        (number, p)
        for number, p in enumerate(book.batches, start=1)
        if p.to_standard and p.sitting and book.counts_for(p) and standard.light in p.sitting.labs
    ]
    tolerance = tolerance_of(standard)
    labs = np.array([p.sitting.labs[standard.light] for _, p in compared if p.sitting]).reshape(-1, 3)
    drift = drift_of(np.array(standard.lab), labs, tolerance, tables)
    left_out = drift.left_out if drift else left_out_of(np.array(standard.lab), labs, tolerance, tables)
    marks = [
        Mark(
            number,
            p.label,
            fibre_hex(*p.sitting.lab),
            by_formula(p.to_standard, standard) or 0.0,
            p.sitting.labs[standard.light],
            k in left_out,
        )
        for k, (number, p) in enumerate(compared)
        if p.sitting
    ]
    newest, newest_kind = _newest(book)
    sentence, kind = _told(book, drift, marks, is_off=newest_kind not in ("pass", "quiet"))
    days = [f"{p.made_on.day} {p.made_on:%b %Y}" for _, p in compared]
    over, way = _drawn(standard, marks, drift, days) if marks else ("", "")
    return DriftView(newest, newest_kind, sentence, kind, over, way, drift, len(marks))


def _drawn(
    standard: StandardRow, marks: Sequence[Mark], drift: Drift | None, days: Sequence[str]
) -> tuple[str, str]:
    """How far each batch is, and which way they lie."""
    wanted, tolerance = np.array(standard.lab), tolerance_of(standard)
    limits = Limits(standard.pass_de, standard.ask_de)
    is_told = drift is not None and drift.standing is not Standing.STEADY
    along_de = drift.along_de if drift and is_told else ()
    over = over_batches(marks, limits, along_de=along_de, first=days[0], last=days[-1])
    passes, asks = (tolerance_outline(wanted, tolerance, de) for de in (limits.pass_de, limits.ask_de))
    way = which_way(
        standard.lab,
        marks,
        limits,
        passes=[(float(a), float(b)) for a, b in passes],
        asks=[(float(a), float(b)) for a, b in asks],
        lightness=lightness_limits(wanted, tolerance, limits.pass_de),
    )
    return over, way


def _newest(book: ShadeBook) -> tuple[str, str]:
    """What the newest batch itself is, said before anything of a drift."""
    point = book.batches[-1] if book.batches else None
    if point is None:
        return "", "quiet"
    if not book.counts_for(point):
        return f"The newest batch, {point.label}, was made to standard {point.version}.", "quiet"
    name = f"The newest batch, {point.label},"
    de = by_formula(point.to_standard, book.standard)
    if de is None:
        return f"{name} is not held against the standard: {'; '.join(point.why_not)}.", "unread"
    standard = book.standard
    words = f", {ways(point.to_standard.words)}" if point.to_standard and point.to_standard.words else ""
    if de <= standard.pass_de:
        return f"{name} is on shade: {de:.1f} away{words}.", "pass"
    if de > standard.ask_de:
        return f"{name} is off shade: {de:.1f} away{words}.", "fail"
    said = point.verdicts[-1] if point.verdicts and point.version == standard.version else None
    if said and said.is_decided:
        word = VERDICT_WORDS[said.verdict]
        return f"{name} is {de:.1f} away{words}; {said.person} decided that it is {word}.", said.verdict
    return f"{name} is {de:.1f} away{words}: a person decides.", "ask"


def _told(book: ShadeBook, drift: Drift | None, marks: Sequence[Mark], *, is_off: bool) -> tuple[str, str]:
    """The sentence of the drift and how it is shown; it never calms while the newest batch is off."""
    name = book.row.name
    left_out = _left_out([mark for mark in marks if mark.is_left_out])
    if drift is None:
        if not marks:
            return f"No batch was compared with standard {book.standard.version} yet.", "quiet"
        n_near = sum(not mark.is_left_out for mark in marks)
        if n_near < len(marks):
            return f"Whether {name} drifts cannot be told: {left_out[0].lower()}{left_out[1:]}", "quiet"
        here = f"{say_many(n_near, 'batch', 'batches')} {'is' if n_near == 1 else 'are'}"
        return f"Three batches tell whether a shade drifts; {here} here so far.", "quiet"
    sentence, kind = _walked(name, drift, _where(book, marks), is_off=is_off)
    return f"{sentence} {left_out}".strip(), kind


def _left_out(marks: Sequence[Mark]) -> str:
    if not marks:
        return ""
    named = say_list([f"{mark.number} ({mark.name})" for mark in marks])
    if len(marks) == 1:
        return f"Batch {named} lies far from the others and is left out of the line."
    return f"Batches {named} lie far from the others and are left out of the line."


def _where(book: ShadeBook, marks: Sequence[Mark]) -> str:
    """Where the newest three of the line lie, on average."""
    newest = np.mean([mark.lab for mark in marks if not mark.is_left_out][-N_NEWEST:], axis=0)
    lab = (float(newest[0]), float(newest[1]), float(newest[2]))
    light = book.standard.light
    step = step_between({light: book.standard.lab}, {light: lab}, light=light)
    if step is None or not step.words:
        return ""
    de = by_formula(step, book.standard) or 0.0
    return f"The newest three of them lie {de:.1f} off on average: {ways(step.words)}."


def _walked(name: str, drift: Drift, where: str, *, is_off: bool) -> tuple[str, str]:
    if drift.standing is Standing.STEADY:
        if is_off:
            told = "The batches show no steady walk; look at how the newest was dyed and read."
            return f"{told} {where}".strip(), "quiet"
        return f"{name} does not drift: its batches scatter about one place. {where}".strip(), "steady"
    step = "less than 0.1" if drift.step_de < LEAST_STEP else f"{drift.step_de:.1f}"
    way = say_list(list(drift.words)) or "away"
    walk = f"{name} drifts {way} by {step} a batch"
    if drift.standing is Standing.OUTSIDE:
        return f"{walk} and has left what passes. Put the recipe right before the next batch.", "outside"
    if drift.leaves_in is None:
        if is_off:
            return f"{walk}; the line itself does not leave what passes.", "quiet"
        return f"{walk}, but stays within what passes.", "steady"
    return (
        f"{walk}; it will leave what passes in about {say_many(drift.leaves_in, 'batch', 'batches')}.",
        "drifting",
    )
