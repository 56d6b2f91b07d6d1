"""Orders: the list, one order with its plan, its papers, and planning it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from doffer import __version__
from doffer.errors import InputError, NotFoundError, RefusedError
from doffer.mill.commands.orders import OrderLotFacts, add_plan, move_order, name_lots
from doffer.mill.next_stage import next_of_plan
from doffer.mill.queries import lots as lots_query
from doffer.mill.queries.arrivals import WaitingOrder
from doffer.mill.queries.order_list import SHOWN, ListedOrder, order_counts, order_list
from doffer.mill.queries.orders import OneOrder, PlanRow, one_order
from doffer.mill.queries.pages import Page
from doffer.mill.queries.plan_inputs import PlanInputs, plan_inputs
from doffer.mill.queries.tables import TablesSince, tables_since
from doffer.office import order_papers
from doffer.office.agreement import agreed_view
from doffer.office.asked import UNITS_KEY, acting, fresh_key, key_of, number_after, speak
from doffer.office.order_spec import Planned, plan_of_order, read_wish, same_kind_notes
from doffer.office.plan_view import BatchView, SkeinsView, order_view, skeins_view
from doffer.office.promise import came_for, promise_view
from doffer.office.readings import Typed
from doffer.office.table_words import change_words, concerning, with_news
from doffer.office.today_words import stage_verb
from doffer.people.rights import Right, may
from doffer.pictures import steps
from doffer.pictures.colour import fibre_hex
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain, to_plain
from doffer.planning.spec import OrderSpec

LINE = (
    ("door", "door"), ("wash", "wash"), ("dry", "dry"), ("dye", "dye"), ("pick", "pick"),
    ("rest", "rest"), ("card", "card"), ("draw", "draw"),
    ("spin", "spin"), ("ply", "ply"), ("set", "set"), ("skein", "skein"), ("box", "box"),
)  # fmt: skip
STATES = (
    ("booked", "booked: nothing has begun"),
    ("waiting", "waiting for the owner's word"),
    ("running", "running: it is being worked on"),
    ("ready", "ready: finished and on the shelf"),
    ("shipped", "sent"),
    ("cancelled", "given up"),
)


@dataclass(frozen=True, slots=True)
class ListedView:
    """An order of the list with the picture of how far it is."""

    listed: ListedOrder
    steps: str


@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """The list of orders."""
    shown = request.GET.get("shown", "open")
    shown = shown if shown in SHOWN else "open"
    search = request.GET.get("search", "").strip()
    page = order_list(shown=shown, search=search, after=number_after(request, "after"))
    context = {
        "here": "orders",
        "rows": [ListedView(listed, _steps(listed)) for listed in _by_day(page)],
        "next_after": page.next_after,
        "shown": shown,
        "search": search,
        "counts": order_counts(),
        "may_order": may(acting(request), Right.ORDERS),
    }
    return render(request, "office/orders.html", context)


def _by_day(page: Page[ListedOrder]) -> Sequence[ListedOrder]:
    """What is promised soonest comes first, when all fit on one page; else as they were taken."""
    if page.next_after is not None:
        return page.rows
    return sorted(page.rows, key=lambda listed: (listed.row.promised_on is None, listed.row.promised_on))


def _steps(listed: ListedOrder) -> str:
    return steps.steps(
        LINE,
        [
            steps.Standing(lot.code, lot.place, lot.mass_g, fibre_hex(*(lot.lab or (None, None, None))))
            for lot in listed.lots
        ],
    )


@dataclass(frozen=True, slots=True)
class ShownPlan:
    """The plan a page shows: a stored version, or one made for the moment (`version` None)."""

    spec: OrderSpec | None
    plan: OrderPlan | None
    version: PlanRow | None
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    since: TablesSince | None = None  # what became of the tables since the stored version was made
    n_concerning: int = 0  # of the changed figures: the first ones, which may concern this plan


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """One order: what was promised, what will come of it, what happened so far."""
    order = one_order(code)
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    shown = shown_plan(order, inputs, request.GET.get("plan", ""))
    units = units_for(request, order)
    speak(request, units)
    views = batch_views(order, inputs, shown, units)
    came = came_for(order)
    agreed = agreed_view(order, units)
    skeins, typed = _skeins(request, views, units)
    context = {
        "here": "orders",
        "order": order,
        "shown": shown,
        "views": views,
        "agreed": agreed,
        "unused": _unused(order, shown.spec, came),
        "came": came,
        "promise": promise_view(order, inputs, shown.plan, came, units=units, yes=agreed.latest),
        "next_stage": (next_stage := _next_stage(order, shown)),
        "next_begins": _begins(order, shown, next_stage),
        "running": [run for run in order.runs if run.ended_at is None],
        "stage_verb": stage_verb,
        "waits": (wish := read_wish(order.spec)).waits,
        "yarn_numbers": {batch.name: n for n, batch in enumerate(wish.batches, start=1) if batch.lots},
        "candidates": _candidates(order),
        "change_words": change_words,
        "states": STATES,
        "skeins": skeins,
        "typed": typed,
        "key": fresh_key(),
        "may_order": may(acting(request), Right.ORDERS),
        "may_intake": may(acting(request), Right.INTAKE),
    }
    return render(request, "office/order.html", context)


def units_for(request: HttpRequest, order: OneOrder) -> str:
    """Units of this device when they were chosen, else the owner's."""
    return str(request.session.get(UNITS_KEY) or order.owner_units)


def shown_plan(order: OneOrder, inputs: PlanInputs, version: str = "") -> ShownPlan:
    """A stored version (the newest unless one is named), else a plan made with today's weights.

    Raises
    ------
    NotFoundError
        The order has no plan of this version.
    """
    if version:
        row = next((row for row in order.plans if str(row.version) == version), None)
        if row is None:
            raise NotFoundError("plan", version, f"{order.row.code} has {len(order.plans)} kept plans")
    else:
        row = order.plans[0] if order.plans else None
    if row is None:
        made = plan_of_order(order, inputs)
        return ShownPlan(made.spec, made.plan, None, made.problems, made.notes)
    spec = from_plain(OrderSpec, row.spec)
    notes = same_kind_notes(spec.batches, inputs)
    plan = from_plain(OrderPlan, row.result)
    since, n_concerning = tables_since(row.tables_sha256, row.made_at), 0
    if since is not None:
        since, n_concerning = concerning(since, spec, plan, inputs.tables)
    return ShownPlan(spec, plan, row, notes=notes, since=since, n_concerning=n_concerning)


def batch_views(order: OneOrder, inputs: PlanInputs, shown: ShownPlan, units: str) -> tuple[BatchView, ...]:
    """Every batch of the plan with its pictures."""
    if shown.spec is None or shown.plan is None:
        return ()
    colours = {row.lot.code: fibre_hex(*row.lot.lab) for row in order.lots if row.lot.lab}
    return order_view(
        shown.spec,
        shown.plan,
        inputs.tables,
        colours=colours,
        system=units,
        runs=order.runs,
        made_at=shown.version.made_at if shown.version else None,
    )


def _next_stage(order: OneOrder, shown: ShownPlan) -> str:
    """The stage the hands do next: by the newest kept plan, as the lists say; else by one of this moment."""
    if order.plans:
        ended = [(run.stage, run.ended_at) for run in order.runs]
        return next_of_plan(order.plans[0].result, ended, order.plans[0].made_at)
    if shown.plan is None:
        return order.row.next_stage
    return next((stage.stage for batch in shown.plan.batches for stage in batch.stages), "")


def _begins(order: OneOrder, shown: ShownPlan, stage: str) -> str:
    """Address of the form that begins a stage, with the order and its lots where they go in together."""
    fields: dict[str, str | list[str]] = {"stage": stage, "order": order.row.code}
    batches = shown.plan.batches if shown.plan else ()
    batch = next((each for each in batches if each.stages and each.stages[0].stage == stage), None)
    if batch and (len(batch.lots) == 1 or batch.meeting_stage == stage):
        fields["lot"] = [use.lot for use in batch.lots]
    return f"{reverse('run_new')}?{urlencode(fields, doseq=True)}"


def _unused(order: OneOrder, spec: OrderSpec | None, came: WaitingOrder | None) -> tuple[Any, ...]:
    """Lots of the order that stand here but go into no batch of the plan, nor came for one since."""
    used = {start.lot for batch in spec.batches for start in batch.lots} if spec else set()
    used |= {code for each in came.awaited for code in each.lots} if came else set()
    return tuple(row.lot for row in order.lots if row.lot.mass_g > 0 and row.lot.code not in used)


def _candidates(order: OneOrder) -> Sequence[Any]:
    """Bags of the owner that may be what was announced on the telephone."""
    if not read_wish(order.spec).announced:
        return ()
    mine = {row.lot.code for row in order.lots}
    return [lot for lot in lots_query.list_lots(owner=order.row.owner).rows if lot.code not in mine]


def _skeins(request: HttpRequest, views: Sequence[BatchView], units: str) -> tuple[SkeinsView | None, Typed]:
    """Skeins out of yarn that lies on the scale, when that was asked."""
    typed = Typed(request.GET, units)
    mass_g = typed.mass_g("set_mass", "weight of the set yarn")
    test_g = typed.small_mass_g("test_mass", "test skein") or 0.0
    yarns = [view for view in views if view.count is not None]
    if mass_g is None or not yarns or typed.errors:
        return None, typed
    try:
        return skeins_view(mass_g=mass_g, test_g=test_g, wish=yarns[0].spec.wish), typed
    except InputError as error:
        typed.wrong("test_mass", str(error))
        return None, typed


@require_POST
def plan_again(request: HttpRequest, code: str) -> HttpResponse:
    """Plan with today's weights and keep it as a new version beside the earlier ones."""
    order = one_order(code)
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    keep_plan(request, code, plan_of_order(order, inputs), note=request.POST.get("note", "").strip()[:400])
    return redirect("order", code=code)


def keep_plan(request: HttpRequest, code: str, made: Planned, *, note: str = "") -> int:
    """Store a plan as the next version of an order.

    Raises
    ------
    RefusedError
        There is nothing to keep: the sentences say why.
    """
    if made.spec is None or made.plan is None:
        raise RefusedError(f"{code} has no plan to keep", made.problems, "Mend that first")
    return add_plan(
        acting(request),
        code,
        spec=to_plain(made.spec),
        result=to_plain(made.plan),
        tables_sha256=made.plan.tables_sha256,
        seed=made.plan.seed,
        code_version=__version__,
        note=note,
        key=key_of(request),
    )


@require_POST
def bring_lots(request: HttpRequest, code: str) -> HttpResponse:
    """The bags that were announced have come: they belong to this order from now on."""
    chosen = tuple(OrderLotFacts(lot=lot) for lot in request.POST.getlist("lots"))
    if not chosen:
        raise RefusedError(
            "Nothing is joined to the order", ("no bag was ticked",), "Tick the bags that came"
        )
    name_lots(acting(request), code, chosen)
    return redirect("order", code=code)


@require_POST
def move(request: HttpRequest, code: str) -> HttpResponse:
    """The order moves on to another state."""
    why = request.POST.get("why", "").strip()[:200]
    move_order(acting(request), code, request.POST.get("state", ""), why=why)
    return redirect("order", code=code)


@require_safe
def paper(request: HttpRequest, code: str, which: str) -> HttpResponse:
    """A paper of the order as PDF: run card, weigh-out sheet, bag tags."""
    order = one_order(code)
    inputs = plan_inputs(lots=[row.lot.code for row in order.lots])
    shown = shown_plan(order, inputs, request.GET.get("plan", ""))
    batch = number_after(request, "batch") or 1
    plan = with_news(shown.plan, shown.since, shown.version.made_at if shown.version else None)
    return order_papers.pdf(
        order, plan, name=which, batch_number=batch, version=_version_words(shown),
        units=units_for(request, order), inputs=inputs,
    )  # fmt: skip


def _version_words(shown: ShownPlan) -> str:
    return f"plan {shown.version.version}" if shown.version else "plan of today, not kept"


urlpatterns = [
    path("orders/", index, name="orders"),
    path("orders/<str:code>/", one, name="order"),
    path("orders/<str:code>/plan/", plan_again, name="order_plan"),
    path("orders/<str:code>/lots/", bring_lots, name="order_lots"),
    path("orders/<str:code>/state/", move, name="order_state"),
    path("orders/<str:code>/<slug:which>.pdf", paper, name="order_paper"),
]
