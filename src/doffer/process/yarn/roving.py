"""Which roving to bring to the frame, with which draft, and how the card's roving is drawn to it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from doffer.process.yarn.draft import (
    Draft,
    DraftChoice,
    Drawing,
    Gears,
    choose_draft,
    draw_chain,
    nearest_draft,
    needed_roving_tex,
)
from doffer.process.yarn.limits import System
from doffer.process.yarn.wish import SpinMachine
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class Rovings:
    """Roving and draft for a front-roll count; `best` is None where nothing comes near enough.

    Then `made` is the roving to make, with the draft that belongs to it; `drawings` lead to either.
    """

    best: DraftChoice | None
    made: DraftChoice | None
    choices: tuple[DraftChoice, ...]
    needed_tex: tuple[float, float, float]
    tooth_error_frac: float
    drawings: tuple[Drawing, ...]
    can_be_drawn: bool


MOST_CHOICES = 5  # shown; the rest are worse


def gears_of(machine: SpinMachine, tables: Tables) -> Gears:
    """Drafts of the frame, or any draft in the usual window of its way of spinning (table yarn_limits)."""
    if machine.gears is not None:
        return machine.gears
    low, high = _window(tables, "spin_draft", machine.system)
    return Gears(low_draft=low, high_draft=high)


def rovings_for(machine: SpinMachine, *, roller_tex: float, tables: Tables) -> Rovings:
    """Roving and draft that give a front-roll count.

    From the rovings of the mill the nearest within the error allowed (table yarn_figures); where it has none,
    the roving is made to fit the draft the frame likes best.
    """
    gears = gears_of(machine, tables)
    rovings_tex = machine.rovings_tex or (_made_tex(machine, gears, roller_tex, tables),)
    near = choose_draft(roller_tex=roller_tex, roving_texs=rovings_tex, gears=gears)
    allowed_frac = tables.yarn_figures["draft_error/any"].value
    best = near[0] if near and abs(near[0].error_frac) <= allowed_frac else None
    made = None if best else _made(machine, gears, roller_tex, tables)
    fed = best or made
    drawings = None if fed is None else _drawings(machine, fed.roving_tex, tables)
    low, middle, high = (
        needed_roving_tex(roller_tex=roller_tex, draft=draft)
        for draft in (gears.low_draft, nearest_draft(gears, wanted_draft=gears.sweet).draft, gears.high_draft)
    )
    return Rovings(
        best=best,
        made=made,
        choices=near[:MOST_CHOICES],
        needed_tex=(low, middle if made is None else made.roving_tex, high),
        tooth_error_frac=0.0 if fed is None else gears.tooth_frac(fed.draft) / 2,
        drawings=drawings or (),
        can_be_drawn=machine.card_tex is None or fed is None or drawings is not None,
    )


def _window(tables: Tables, quantity: str, system: str) -> tuple[float, float]:
    row = tables.yarn_limits[f"{quantity}/{system}"]
    return row.low or 0.0, row.high or math.inf


def drafter_window(machine: SpinMachine, tables: Tables) -> tuple[float, float]:
    """Lowest and highest draft of the drafter: its own, else what pins usually control."""
    return machine.drafter_window or _window(tables, "pin_draft", "any")


def _drawings(machine: SpinMachine, roving_tex: float, tables: Tables) -> tuple[Drawing, ...] | None:
    """The first liked way of drawing that brings the card's roving to that count."""
    if machine.card_tex is None:
        return None
    low, high = drafter_window(machine, tables)
    for doublings in machine.doublings or ((),):
        chain = draw_chain(
            card_tex=machine.card_tex,
            roving_tex=roving_tex,
            doublings=doublings,
            low_draft=low,
            high_draft=high,
        )
        if chain is not None:
            return chain
    return None


def _made(machine: SpinMachine, gears: Gears, roller_tex: float, tables: Tables) -> DraftChoice | None:
    """The roving to make where none that stands there fits, with its draft; None without a draft at all.

    One too heavy for the frame is drawn to a whole fraction of itself where the drafter can.
    """
    rovings_tex = [_made_tex(machine, gears, roller_tex, tables)]
    if machine.rovings_tex and min(machine.rovings_tex) / roller_tex > gears.high_draft:
        finer_tex, _ = finer_roving_tex(
            roving_tex=min(machine.rovings_tex), roller_tex=roller_tex, high_draft=gears.high_draft
        )
        if machine.card_tex is None or _drawings(machine, finer_tex, tables) is not None:
            rovings_tex.insert(0, finer_tex)
    allowed_frac = tables.yarn_figures["draft_error/any"].value
    for roving_tex in rovings_tex:
        near = choose_draft(
            roller_tex=roller_tex, roving_texs=(roving_tex,), gears=gears, most_error_frac=allowed_frac
        )
        if near:
            return near[0]
    return None


def _made_tex(machine: SpinMachine, gears: Gears, roller_tex: float, tables: Tables) -> float:
    """Roving made to fit: the nearest to the best draft that the card and the drawings can give."""
    for low_tex, high_tex in _reachable(machine, tables):
        fits = [
            one.draft * roller_tex
            for one in _settings(gears, low_tex / roller_tex, high_tex / roller_tex)
            if low_tex * (1 - EDGE) <= one.draft * roller_tex <= high_tex * (1 + EDGE)
        ]
        if fits:
            return min(fits, key=lambda tex: abs(math.log(tex / roller_tex / gears.sweet)))
    return needed_roving_tex(
        roller_tex=roller_tex, draft=nearest_draft(gears, wanted_draft=gears.sweet).draft
    )


EDGE = 1e-9  # a roving at the very end of a draft window belongs to it


def _settings(gears: Gears, low_draft: float, high_draft: float) -> tuple[Draft, ...]:
    """Drafts to try between two: every pinion, or of a stepless head the one nearest to its best."""
    if gears.constant is not None:
        return gears.drafts()
    low, high = max(low_draft, gears.low_draft), min(high_draft, gears.high_draft)
    return (Draft(min(max(gears.sweet, low), high)),) if low <= high * (1 + EDGE) else ()


def _reachable(machine: SpinMachine, tables: Tables) -> Iterator[tuple[float, float]]:
    """Lightest and heaviest roving [tex] each liked way of drawing can make of the card's."""
    if machine.card_tex is None:
        return
    low, high = drafter_window(machine, tables)
    for doublings in machine.doublings or ((),):
        doubled_tex = machine.card_tex * math.prod(doublings)
        passages = len(doublings)
        yield doubled_tex / high**passages, doubled_tex / low**passages


def finer_roving_tex(*, roving_tex: float, roller_tex: float, high_draft: float) -> tuple[float, float]:
    """A whole fraction of a too heavy roving that the frame can draw, and the draft from it.

    >>> tex, draft = finer_roving_tex(roving_tex=3000, roller_tex=73.6, high_draft=25)
    >>> tex, round(draft, 1)
    (1500.0, 20.4)
    """
    times = max(1, math.ceil(roving_tex / roller_tex / high_draft))
    finer_tex = roving_tex / times
    return finer_tex, finer_tex / roller_tex


def system_words(system: System) -> str:
    """Way of spinning in words."""
    return str(system).replace("_", "-")


def texs_words(rovings_tex: Sequence[float]) -> str:
    """Rovings in grams per metre: "3.0, 2.5 g/m"."""
    return ", ".join(f"{tex / 1000:.3g}" for tex in rovings_tex) + " g/m"
