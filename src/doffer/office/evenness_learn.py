"""What trials of an order's fibre tell of the machines: guesses that give way to what was measured."""

from __future__ import annotations

import math
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import path
from django.views.decorators.http import require_POST

from doffer.errors import ConflictError, InputError
from doffer.mill.commands.evenness import FigureFacts, record_figure
from doffer.mill.evenness_facts import PhotoFacts, PieceVariance, Signal
from doffer.mill.queries.evenness import TrialRow
from doffer.office.asked import acting, key_of
from doffer.office.evenness_asked import read_mixed
from doffer.office.evenness_blend import Route, route_of
from doffer.office.evenness_measured import signals_of, strand_tex, strip_mm, up_to
from doffer.office.evenness_pictures import G_PER_MM_PER_TEX
from doffer.office.evenness_source import blend_of_order
from doffer.planning.evenness.figures import CARD_HOLD_UP, Figure
from doffer.planning.evenness.label_risk import specimen_sampling_variance
from doffer.planning.evenness.learn import Measured, learn

POINTS = 100.0
LOOKED_AT_MM = 10.0  # of a photo's pieces those of 1 cm, as the verdict is of them
LEAST_MOVED = 1e-3


@dataclass(frozen=True, slots=True)
class Told:
    """One figure as it was believed and as the trials say, and the machine it belongs to."""

    before: Figure
    after: Figure
    machine: str
    machine_name: str


@dataclass(frozen=True, slots=True)
class Tales:
    """What the trials say together: the figures they move, their numbers, and a sentence to go with it."""

    told: tuple[Told, ...]
    trials: tuple[int, ...]
    sentence: str


def can_tell(route: Route, trials: Sequence[TrialRow]) -> bool:
    """Whether any trial is of this passage."""
    return any(spread_of(route, trial) is not None for trial in trials)


def tales_of(route: Route, trials: Sequence[TrialRow]) -> Tales:
    """Bring the figures up to date, as far as the lot was mixed as the route says.

    Raises
    ------
    InputError
        No trial of this passage, or no figure left to learn.
    """
    spreads = {trial.id: spread_of(route, trial) for trial in trials}
    usable = {number: spread for number, spread in spreads.items() if spread is not None}
    learned = learn(route.figures, list(usable.values()))
    machines = {machine.stage: machine for machine in route.inputs.machines}
    told = []
    for before, after in zip(route.figures, learned.figures, strict=True):
        machine = machines.get("card" if before.key == CARD_HOLD_UP else "pick")
        is_moved = abs(after.value - before.value) > LEAST_MOVED * before.value or after.note != before.note
        if is_moved and machine is not None and machine.code:
            told.append(Told(before, after, machine.code, machine.name))
    return Tales(tuple(told), tuple(usable), learned.sentence)


def spread_of(route: Route, trial: TrialRow) -> Measured | None:
    """A trial as a measured spread after its part of the passage; None where it tells nothing of it.

    Pieces of a photo are those of one strip, at the count that was told with it; samples are of all the lot.
    """
    passage = up_to(route.passage, trial.stage, passes=trial.passes)
    piece, signals = _piece(trial), signals_of(route, trial)
    if not trial.counts or passage is None or piece is None or piece.variance <= 0 or piece.n_pieces < 2:
        return None
    if signals is None:
        return None
    g_per_mm = strand_tex(route, trial) * G_PER_MM_PER_TEX
    piece_g = piece.piece_g or (piece.length_mm or 0) * g_per_mm
    is_share = trial.result.signal == Signal.SHARE
    unit = POINTS if is_share else 1.0
    floor = specimen_sampling_variance(passage.feed.parts, specimen_g=piece_g) @ signals.weights[0] ** 2
    return Measured(
        passage,
        signals,
        piece_g,
        math.sqrt(piece.variance) / unit,
        piece.n_pieces,
        floor_sd=math.sqrt(float(floor)) if is_share else 0.0,
        within_g=strip_mm(trial) * g_per_mm,
        n_strips=trial.facts.n_strips if isinstance(trial.facts, PhotoFacts) else 1,
        variance_error=piece.standard_error / unit**2,
    )


def _piece(trial: TrialRow) -> PieceVariance | None:
    """The piece to go by: of several lengths the one nearest to 1 cm."""
    pieces = trial.result.pieces
    return min(pieces, key=lambda one: abs((one.length_mm or LOOKED_AT_MM) - LOOKED_AT_MM), default=None)


@require_POST
def keep(request: HttpRequest, code: str) -> HttpResponse:
    """The figures as the trials tell them become the machines' own."""
    request.GET = QueryDict(request.POST.get("state", ""))  # type: ignore[assignment]
    blend = blend_of_order(request, code)
    route = route_of(blend.inputs, read_mixed(request.GET, blend.units, blend.usual))
    tales = tales_of(route, blend.trials)
    if not tales.told:
        raise InputError("figures", "none moved", "at least one that the trials tell something of")
    key = key_of(request)
    try:
        for one in tales.told:
            record_figure(
                acting(request), one.machine, facts_of(one, tales), key=uuid.uuid5(key, one.after.key)
            )
    except ConflictError:  # sent twice: what was kept at first is believed by now, and told anew from there
        pass
    return redirect("machine_mixing", code=tales.told[0].machine)


def facts_of(one: Told, tales: Tales) -> FigureFacts:
    """A figure as the trials tell it, ready to be kept."""
    after = one.after
    return FigureFacts(
        key=after.key,
        value=after.value,
        low=after.low,
        high=after.high,
        found="fit",
        trials=tales.trials,
        note=after.note,
    )


urlpatterns = [path("orders/<str:code>/evenness/keep/", keep, name="order_evenness_keep")]
