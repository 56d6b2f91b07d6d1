"""How a machine mixes: its figures with their ranges and whose they are, and finding new ones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.mill.booking import QuestionError
from doffer.mill.commands.evenness import FigureFacts, TrialFacts, record_figure, record_found
from doffer.mill.evenness_facts import (
    CleanDownFacts,
    Facts,
    FoundFigure,
    PulseFacts,
    TrialResult,
    TuftFacts,
)
from doffer.mill.queries.evenness import MachineFigures, machine_figures, trials
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.planning.evenness.calibrate import (
    Found,
    clump_from_tufts,
    correlation_of_cans,
    hold_up_from_clean_down,
    hold_up_from_pulse,
)
from doffer.planning.evenness.figures import CARD_HOLD_UP, CLUMP_FED, CLUMPS, PICK_HOLD_UP, SHARED, WORDS

PERCENT = 100.0
GUESS, CLEAN_DOWN, PULSE, TUFTS, CANS = "guess", "clean-down", "pulse", "tufts", "samples"
WAYS = {
    GUESS: ("I know it", "a figure from experience"),
    CLEAN_DOWN: ("Weighed at a clean-down", "what comes off after the feed has stopped"),
    PULSE: ("A coloured pulse", "a little bright fibre fed into white, and how it dies away"),
    TUFTS: ("Tufts pulled and weighed", "twenty at random, each weighed alone"),
    CANS: ("Cans side by side", "the shade of every can, read at the same places"),
}
WAYS_OF = {
    PICK_HOLD_UP: (CLEAN_DOWN, PULSE, GUESS),
    CARD_HOLD_UP: (CLEAN_DOWN, PULSE, GUESS),
    CLUMP_FED: (TUFTS, GUESS),
    **dict.fromkeys(CLUMPS, (TUFTS, GUESS)),
    SHARED: (CANS, GUESS),
}
PASSES_BEHIND = {CLUMP_FED: 0, **{key: place for place, key in enumerate(CLUMPS, start=1)}}


@dataclass(frozen=True, slots=True)
class Weighed:
    """What was found by a trial, ready to be kept: what was measured and the figure it gives."""

    facts: Facts
    found: Found


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/records/machines/CRD/mixing/`."""
    machine = machine_figures(code)
    typed = Typed(request.POST or request.GET, units_of(request))
    if request.method == "GET":
        return _shown(request, machine, typed)
    question = ""
    try:
        machine.figure(typed.text("figure"))
        _keep(request, machine, typed)
    except QuestionError as asked:
        question = str(asked)
    except DofferError as refused:
        typed.wrong("__all__", str(refused))
    if question or typed.errors:
        return _shown(request, machine, typed, question=question, status=422)
    return redirect("machine_mixing", code=code)


def _keep(request: HttpRequest, machine: MachineFigures, typed: Typed) -> None:
    """Keep the figure as typed, or the trial and the figure that comes of it."""
    figure, way = typed.text("figure"), typed.text("way")
    if way not in ways_of(figure):
        typed.wrong("way", "Choose how the figure was found.")
        return
    key, person = key_of(request), acting(request)
    why, note = typed.text("confirmation"), typed.text("note")
    if way == GUESS:
        known = _known(typed, figure, unit=machine.figure(figure).unit, note=note)
        if known is not None:
            record_figure(person, machine.code, known, confirmation=why, key=key)
        return
    if way == CANS:
        shared = _cans(typed, note)
        if shared is not None:
            record_figure(person, machine.code, shared, confirmation=why, key=key)
        return
    weighed = weighed_as_typed(typed, way)
    if weighed is None:
        return
    found = weighed.found
    trial = TrialFacts(
        facts=weighed.facts,
        stage=machine.stage,
        passes=PASSES_BEHIND.get(figure, 1),
        machine=machine.code,
        result=TrialResult(
            figures=(FoundFigure(figure, found.value, found.low, found.high),),
            words=(found.note,) if found.note else (),
        ),
        note=note,
    )
    facts = FigureFacts(key=figure, value=found.value, low=found.low, high=found.high, found=way, n=found.n)
    record_found(person, trial, facts, confirmation=why, key=key)


def ways_of(figure: str) -> tuple[str, ...]:
    """How a figure can be found at a form; the first one first."""
    return WAYS_OF.get(figure, (GUESS,))


def _known(typed: Typed, figure: str, *, unit: str, note: str) -> FigureFacts | None:
    typed.needed("value", "Type the figure.")
    ends = [_number(typed, name) for name in ("low", "value", "high")]
    if typed.errors:
        return None
    low, value, high = (None if end is None else end / (1 if unit == "g" else PERCENT) for end in ends)
    try:
        return FigureFacts(key=figure, value=value or 0.0, low=low, high=high, found=GUESS, note=note)
    except InputError as wrong:
        typed.wrong("value", str(wrong))
        return None


def _cans(typed: Typed, note: str) -> FigureFacts | None:
    """What all ends have in common, of cans typed one in a line; chance below none counts as none."""
    lengths = {
        len(line.replace(";", " ").split()) for line in typed.text("weights").splitlines() if line.strip()
    }
    places = max(lengths, default=0)
    if len(lengths) != 1:
        typed.wrong("weights", "Type the shades of each can in a line of its own, as many in every line.")
        return None
    lines = lines_as_typed(typed, columns=places, what="as many shades as the other cans")
    if typed.errors:
        return None
    try:
        found = correlation_of_cans(np.array(lines))
    except InputError as wrong:
        typed.wrong("weights", str(wrong))
        return None
    low, value, high = (min(1.0, max(0.0, end)) for end in (found.low, found.value, found.high))
    said = "; ".join(part for part in (f"{len(lines)} cans side by side at {places} places", note) if part)
    return FigureFacts(key=SHARED, value=value, low=low, high=high, found=CANS, n=found.n, note=said)


def _number(typed: Typed, name: str) -> float | None:
    value = typed.read(name, parse_number, {"value": "figure", "low": "least", "high": "most"}[name])
    return None if value is None else float(value)


def weighed_as_typed(typed: Typed, way: str) -> Weighed | None:
    """The trial as typed; None with sentences beside the fields that are wrong."""
    lines = lines_as_typed(typed, columns=2 if way == PULSE else 1)
    regain_frac = typed.share("regain", "water on the fibre") or 0.0
    if not lines or typed.errors:
        typed.wrong("weights", "Type the weights, one in a line.")
        return None
    masses = tuple(line[0] for line in lines)
    dry_g = np.array(masses) / (1 + regain_frac)
    try:
        if way == CLEAN_DOWN:
            facts: Facts = CleanDownFacts(masses_g=masses, actual_regain_frac=regain_frac)
            return Weighed(facts, hold_up_from_clean_down(dry_g))
        if way == TUFTS:
            return Weighed(
                TuftFacts(masses_g=masses, actual_regain_frac=regain_frac), clump_from_tufts(dry_g)
            )
        shares = np.array([line[1] for line in lines]) / PERCENT
        pulse_g = _pulse_g(typed)
        if pulse_g is None:
            return None
        facts = PulseFacts(
            pulse_g=pulse_g,
            masses_g=masses,
            shares_frac=tuple(shares.tolist()),
            actual_regain_frac=regain_frac,
        )
        return Weighed(facts, hold_up_from_pulse(np.cumsum(dry_g) - dry_g / 2, shares))
    except InputError as wrong:
        typed.wrong("weights", str(wrong))
        return None


def _pulse_g(typed: Typed) -> float | None:
    typed.needed("pulse", "Type how much coloured fibre was fed, such as 5 g.")
    return typed.small_mass_g("pulse", "weight of the pulse")


def lines_as_typed(typed: Typed, *, columns: int, what: str = "") -> list[list[float]]:
    """Lines of numbers as typed: weights, behind each the share of colour in percent, or `what` else."""
    read: list[list[float]] = []
    for number, line in enumerate(typed.text("weights").splitlines(), start=1):
        cells = line.replace(";", " ").replace("\t", " ").split()
        if not cells:
            continue
        if len(cells) != columns:
            what = what or ("a weight and a share" if columns == 2 else "one weight")
            typed.wrong("weights", str(InputError(f"line {number}", line.strip(), what)))
            return []
        try:
            allowed = "plain numbers, such as 4.8"
            read.append([float(parse_number(cell, f"line {number}", allowed=allowed)) for cell in cells])
        except InputError as wrong:
            typed.wrong("weights", str(wrong))
            return []
    return read


def _shown(
    request: HttpRequest, machine: MachineFigures, typed: Typed, *, question: str = "", status: int = 200
) -> HttpResponse:
    figures = [row.key for row in machine.figures]
    chosen = typed.text("figure") if typed.text("figure") in figures else next(iter(figures), "")
    ways = ways_of(chosen)
    way = typed.text("way") if typed.text("way") in ways else ways[0]
    context: dict[str, Any] = {
        "here": "records",
        "machine": machine,
        "trials": trials(machine=machine.code).rows if machine.figures else (),
        "words": WORDS,
        "chosen": chosen,
        "ways": [(key, *WAYS[key]) for key in ways],
        "way": way,
        "typed": typed,
        "question": question,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.EVENNESS),
    }
    return render(request, "office/machine_mixing.html", context, status=status)


urlpatterns = [path("records/machines/<str:code>/mixing/", page, name="machine_mixing")]
