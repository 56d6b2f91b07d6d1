"""Small samples of an order, weighed: how far they stray, kept as a trial of the order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.mill.commands.evenness import TrialFacts, record_trial
from doffer.mill.evenness_facts import SampleFacts, Signal
from doffer.mill.queries.evenness import TrialRow, trials
from doffer.mill.queries.orders import one_order
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.lot_strip import MOST_PASSES, STAGES
from doffer.office.machine_mixing import PERCENT, lines_as_typed
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.planning.evenness.chi_square import sd_interval

FIRST = {"stage": "card", "passes": "1"}
UNITS_OF_SPREAD = {Signal.SHARE: "points", Signal.MASS: "% of their weight"}


@dataclass(frozen=True, slots=True)
class SampleView:
    """One trial of samples: the spread that was found, and from where to where it lies truly."""

    trial: TrialRow
    of: str
    found: float
    low: float
    high: float
    unit: str
    n: int


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/orders/O207/evenness/samples/`."""
    units = units_of(request)
    if request.method != "POST":
        return _shown(request, code, Typed(FIRST, units))
    typed = Typed(request.POST, units)
    try:
        _keep(request, code, typed)
    except InputError as wrong:
        typed.wrong("weights", str(wrong))
    except DofferError as refused:
        typed.wrong("__all__", str(refused))
    if typed.errors:
        return _shown(request, code, typed, status=422)
    return redirect("order_samples", code=code)


def _keep(request: HttpRequest, code: str, typed: Typed) -> None:
    stage, component = typed.text("stage"), typed.text("component")
    lots = [row.lot.code for row in one_order(code).lots]
    if component and component not in lots:
        typed.wrong("component", "Choose a lot of this order, or none.")
    passes = typed.count("passes", "passes", low=0, high=MOST_PASSES)
    length_mm = typed.length_mm("length", "length of the pieces")
    regain_frac = typed.share("regain", "water on the fibre") or 0.0
    typed.needed("weights", "Type the weights, one in a line.")
    if not component:
        typed.needed("length", "Type how long each piece is, or choose the lot whose share was found.")
    lines = lines_as_typed(typed, columns=2 if component else 1)
    if typed.errors:
        return
    facts = SampleFacts(
        masses_g=tuple(line[0] for line in lines),
        actual_regain_frac=regain_frac,
        length_mm=None if component else length_mm,
        shares_frac=tuple(line[1] / PERCENT for line in lines) if component else (),
        component=component,
    )
    record_trial(
        acting(request),
        TrialFacts(
            facts=facts,
            stage=stage if stage in dict(STAGES) else FIRST["stage"],
            passes=1 if passes is None else passes,
            order=code,
            note=typed.text("note"),
        ),
        key=key_of(request),
    )


def sample_view(trial: TrialRow) -> SampleView | None:
    """What samples showed; None of a trial of another kind."""
    if not isinstance(trial.facts, SampleFacts) or not trial.result.pieces:
        return None
    piece = trial.result.pieces[0]
    found = math.sqrt(max(0.0, piece.variance))
    low, high = sd_interval(found, n=piece.n_pieces) if found > 0 else (0.0, 0.0)
    of = f"share of {trial.facts.component}" if trial.facts.component else "weight"
    unit = UNITS_OF_SPREAD.get(Signal(trial.result.signal), "")
    return SampleView(trial, of, found, low, high, unit, piece.n_pieces)


def _shown(request: HttpRequest, code: str, typed: Typed, *, status: int = 200) -> HttpResponse:
    order = one_order(code)
    rows = [view for view in map(sample_view, trials(order=code).rows) if view is not None]
    context: dict[str, Any] = {
        "here": "orders",
        "code": code,
        "rows": rows,
        "typed": typed,
        "stages": STAGES,
        "stage_words": dict(STAGES),
        "components": [
            ("", "none: all of one length"),
            *((row.lot.code, row.lot.code) for row in order.lots),
        ],
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.EVENNESS),
    }
    return render(request, "office/order_samples.html", context, status=status)


urlpatterns = [path("orders/<str:code>/evenness/samples/", page, name="order_samples")]
