"""Traps that undo mixing, each in one sentence with what to do instead."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.planning.evenness.figures import small_lot_factor
from doffer.process.evenness.passage import Cans, Card, Draw, Laying, Passage, Pick, Toss
from doffer.tables.loader import Tables
from doffer.working import Status, percent

NEAR_FRAC = 0.05  # of the yarn in a row: nearer than this stripes stand above one another (our own guess)
MOST_ROWS = 8  # a stripe over more rows than this does not read as a pattern (our own guess)
MM_PER_CM = 10
PERCENT = 100


@dataclass(frozen=True, slots=True)
class Trap:
    """One trap: what it is called in code, what happens, what to do instead, and on whose word."""

    key: str
    sentence: str
    instead: str
    status: Status = Status.COMPUTED


def traps(
    passage: Passage,
    tables: Tables,
    *,
    wavelengths_mm: tuple[float, ...] = (),
    yarn_per_row_mm: float | None = None,
) -> tuple[Trap, ...]:
    """Every trap this passage walks into, the worst first.

    Parameters
    ----------
    passage : Passage
        What is fed and what it goes through.
    tables : Tables
        Limits of lot size and of unlike lengths (evenness_figures).
    wavelengths_mm : tuple of float
        Wavelengths of the stripes left in the yarn [mm].
    yarn_per_row_mm : float, optional
        Yarn in one row of the knitting or weaving it is for [mm].
    """
    found = (
        _pure_handfuls(passage),
        *_cans_in_step(passage),
        _full_layer_first(passage),
        _small_lot(passage, tables.evenness_figures["small_lot_hold_ups"].value)
        or _small_lot_drawn(passage, small_lot_factor(passage, tables)),
        _large_sandwich(passage, tables.evenness_figures["sandwich_most"].value),
        _unlike_lengths(passage, tables.evenness_figures["length_difference"].value / PERCENT),
        *_pooling(wavelengths_mm, yarn_per_row_mm),
    )
    return tuple(trap for trap in found if trap is not None)


def _pure_handfuls(passage: Passage) -> Trap | None:
    first = next((step for step in passage.steps if isinstance(step, Pick | Toss | Card)), None)
    if len(passage.feed.parts) < 2:
        return None
    if passage.feed.laying is not Laying.HANDFULS and not isinstance(first, Toss):
        return None
    return Trap(
        "pure_handfuls",
        "Pure handfuls in any order lie together by chance, and no pass through the picker evens that out.",
        "Lay the lots in turn, pick once, and toss only what is picked.",
    )


def _cans_in_step(passage: Passage) -> tuple[Trap, ...]:
    """Drawings whose cans hold a whole number of sets of layers, so that doubling does not help."""
    cans, found, is_tossed = 1, [], any(isinstance(step, Toss) for step in passage.steps)
    for step in passage.steps:
        if not isinstance(step, Draw):
            continue
        cans *= step.ends
        in_step = step.cans is Cans.IN_STEP
        could_be = not is_tossed and step.ends > 1 and passage.feed.layers % cans == 0
        if in_step or could_be:
            found.append(_in_step(passage.feed.layers, cans, sure="holds" if in_step else "may hold"))
    return tuple(found[-1:])


def _in_step(layers: int, cans: int, *, sure: str) -> Trap:
    return Trap(
        "cans_in_step",
        f"With {layers} sets of layers and {cans} cans, each can {sure} a whole number of sets: the ends "
        "then turn light and dark together, and drawing evens out nothing.",
        "Change cans anywhere but at the end of a set, or fill the first can a third of a set short.",
    )


def _full_layer_first(passage: Passage) -> Trap | None:
    if passage.feed.has_half_layer_ends or len(passage.feed.parts) < 2:
        return None
    largest = max(passage.feed.parts, key=lambda part: part.share_frac)
    layer_g = largest.share_frac * passage.feed.set_mass_g
    return Trap(
        "full_layer_first",
        f"A full layer of {largest.name} first and last leaves about {layer_g:.0f} g at each end of the lot "
        "out of the blend.",
        "Begin and end with half a layer of it, or feed the two ends again.",
    )


def _small_lot(passage: Passage, hold_ups: float) -> Trap | None:
    held_g = max((step.hold_up_g for step in passage.steps if isinstance(step, Pick | Card)), default=0.0)
    least_g = hold_ups * held_g
    if passage.feed.lot_dry_mass_g >= least_g:
        return None
    return Trap(
        "small_lot",
        f"This lot of {passage.feed.lot_dry_mass_g:.0f} g is less than {hold_ups:g} times what the machine "
        f"holds ({held_g:.0f} g): it never runs evenly, and the forecast does not hold.",
        f"Make {least_g:.0f} g or more at once, or blend it on hand cards.",
    )


def _small_lot_drawn(passage: Passage, factor: float) -> Trap | None:
    if factor <= 1:
        return None
    return Trap(
        "small_lot_drawn",
        f"A lot of {passage.feed.lot_dry_mass_g:.0f} g fills few cans, and what lies in each is left to "
        f"chance: the spread may come out {factor:g} times as large, so the range is that much wider upward.",
        "Look at a strip after the last drawing before the rest is spun.",
    )


def _large_sandwich(passage: Passage, most_g: float) -> Trap | None:
    is_laid = any(isinstance(step, Pick) and step.sandwich_g > 0 for step in passage.steps)
    if not is_laid or passage.feed.set_mass_g <= most_g:
        return None
    return Trap(
        "large_sandwich",
        f"A set of {passage.feed.set_mass_g:.0f} g cannot enter the picker at once: its nip takes "
        f"{most_g:.0f} g, and only so much is counted.",
        "Lay smaller sets, or do without the sandwich.",
        Status.PRACTICE,
    )


def _unlike_lengths(passage: Passage, most_frac: float) -> Trap | None:
    shortest = min(passage.feed.parts, key=lambda part: part.staple_mm)
    longest = max(passage.feed.parts, key=lambda part: part.staple_mm)
    is_drawn = any(isinstance(step, Draw) for step in passage.steps)
    if not is_drawn or longest.staple_mm <= (1 + most_frac) * shortest.staple_mm:
        return None
    more = percent(longest.staple_mm / shortest.staple_mm - 1)
    return Trap(
        "unlike_lengths",
        f"{longest.name} is {more} longer than {shortest.name}: in drawing the short fibre floats and "
        "bunches, and none of these figures shows it.",
        "Draw with less draft and more passes, and look at a strip after each.",
        Status.PRACTICE,
    )


def _pooling(wavelengths_mm: tuple[float, ...], yarn_per_row_mm: float | None) -> tuple[Trap, ...]:
    if yarn_per_row_mm is None or yarn_per_row_mm <= 0:
        return ()
    near = [one for one in wavelengths_mm if one > 0 and _stands_above(one, yarn_per_row_mm)]
    return tuple(_pattern(one, yarn_per_row_mm) for one in near)


def _pattern(wavelength_mm: float, yarn_per_row_mm: float) -> Trap:
    return Trap(
        "pooling",
        f"Stripes of {wavelength_mm / MM_PER_CM:.0f} cm and rows of {yarn_per_row_mm / MM_PER_CM:.0f} cm of "
        "yarn stand above one another and make a pattern.",
        "Change the width by a few stitches, or knit from two skeins in turn.",
        Status.PRACTICE,
    )


def _stands_above(wavelength_mm: float, yarn_per_row_mm: float) -> bool:
    longer, shorter = max(wavelength_mm, yarn_per_row_mm), min(wavelength_mm, yarn_per_row_mm)
    rows = round(longer / shorter)
    return rows <= MOST_ROWS and abs(longer / shorter - rows) <= NEAR_FRAC * rows
