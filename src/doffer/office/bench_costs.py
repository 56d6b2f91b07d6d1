"""What the mill's own fibre costs, so that of equal blends the cheaper is taken."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError
from doffer.exchange.numbers import parse_number
from doffer.mill import house
from doffer.mill.commands.lots import set_lot_costs
from doffer.mill.queries.bench import BenchLot
from doffer.mill.queries.bench import bench as bench_now
from doffer.office.asked import acting, units_of
from doffer.office.bench_lots import MOST_SHOWN
from doffer.office.readings import Typed
from doffer.people.rights import Right, may

COST = "cost_"
CENTS = 100


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """`/bench/costs/`: a cost for each own lot; an empty field takes it away."""
    lots = [lot for lot in bench_now().lots if lot.is_own][:MOST_SHOWN]
    if request.method != "POST":
        first = {f"{COST}{lot.code}": _as_typed(lot.cost_cents_per_kg) for lot in lots}
        return _shown(request, lots, Typed(first, units_of(request)))
    typed = Typed(request.POST.dict(), units_of(request))
    costs = {lot.code: _cents(typed, lot.code) for lot in lots if f"{COST}{lot.code}" in typed.data}
    if not typed.errors:
        try:
            set_lot_costs(acting(request), costs)
        except DofferError as wrong:
            typed.wrong("__all__", str(wrong))
        else:
            return redirect("bench_costs")
    return _shown(request, lots, typed, status=422)


def _shown(request: HttpRequest, lots: list[BenchLot], typed: Typed, *, status: int = 200) -> HttpResponse:
    context = {
        "here": "bench",
        "lots": lots,
        "typed": typed,
        "errors": typed.errors,
        "currency": house.text("currency"),
        "may_write": may(acting(request), Right.LOTS),
    }
    return render(request, "office/bench_costs.html", context, status=status)


def _as_typed(cost_cents: int | None) -> str:
    return "" if cost_cents is None else f"{cost_cents / CENTS:.2f}"


def _cents(typed: Typed, code: str) -> int | None:
    cost = typed.read(f"{COST}{code}", parse_number, f"cost of {code}", allowed="an amount, such as 24.50")
    return None if cost is None else round(float(cost) * CENTS)


urlpatterns = [path("bench/costs/", page, name="bench_costs")]
