"""What stands where this morning, what is late, what waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, F, Q, Sum

from doffer.mill import bridge, clock, house
from doffer.mill.models import Hold, Lot, Order, Run
from doffer.mill.models.lots import Pest, Place, Soundness
from doffer.mill.models.orders import OrderState
from doffer.mill.queries.kitchen import DueBath, due_baths
from doffer.mill.queries.lots import Held, HoldRow, LotRow, held_now, hold_rows, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE

FEW_LOTS = 300  # so many standing lots are read at once and sorted here
LOTS_A_PLACE = 12  # tufts that can be told apart above one place; the rest are counted
FINISHED_SHOWN = 8
FINISHED_WITHIN = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One place of the line: kilograms as weighed, how many lots, and the heaviest of them."""

    place: str
    name: str
    mass_g: float
    n_lots: int
    lots: tuple[LotRow, ...]


@dataclass(frozen=True, slots=True)
class TodayOrder:
    """An open order that deserves a look; `days_left` is negative when it is late."""

    code: str
    owner: str
    owner_name: str
    product: str
    promised_on: date | None
    days_left: int | None
    date_is_hard: bool
    state: str
    next_stage: str
    is_held: bool
    note: str


@dataclass(frozen=True, slots=True)
class FinishedRun:
    """A run that ended lately."""

    run: str
    stage: str
    machine: str
    ended_at: datetime
    lots: tuple[str, ...]
    mass_g: float


@dataclass(frozen=True, slots=True)
class RunningRun:
    """A run that has not ended."""

    run: str
    stage: str
    machine: str
    started_at: datetime
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Today:
    """The page a day begins with; places in the order fibre walks, the store last."""

    day: date
    mill_name: str
    places: tuple[PlaceRow, ...]
    late: tuple[TodayOrder, ...]
    near: tuple[TodayOrder, ...]
    waiting: tuple[TodayOrder, ...]
    held_orders: tuple[TodayOrder, ...]
    orders: tuple[TodayOrder, ...]  # all open ones by promised date, fifty at most
    n_open_orders: int
    holds: tuple[HoldRow, ...]
    below_minimum: tuple[LotRow, ...]  # raw lots at the door lighter than the least billed weight
    least_billed_g: float
    tender: tuple[LotRow, ...]  # tender or fragile, not spun yet
    slippery: tuple[LotRow, ...]  # fibre that needs cohesive at the picker, which comes next
    resting: tuple[LotRow, ...]
    unchecked: tuple[LotRow, ...]  # at the door, nobody has looked for moth
    rest_h: float  # how long fibre rests after conditioning
    running: tuple[RunningRun, ...]
    finished: tuple[FinishedRun, ...]
    baths: tuple[DueBath, ...] = ()  # what is due next in tubs, kettles and on racks


NEXT_TO_THE_PICKER = (Place.DRY, Place.DYE)
BEFORE_THE_FRAME = tuple(Place)[: list(Place).index(Place.SPIN)]
OPEN_STATES = (OrderState.BOOKED, OrderState.WAITING, OrderState.RUNNING, OrderState.READY)


def today() -> Today:
    """Everything for the first page; the number of queries does not grow with the records."""
    settings = house.everything()
    day = clock.today()
    held = held_now()
    least_g = float(settings["least_billed_g"])
    orders = open_orders(day)
    near = float(settings["near_days"])
    small = Lot.objects.filter(
        archived_at=None,
        place=Place.DOOR,
        now_mass_mg__gt=0,
        now_mass_mg__lt=bridge.mg(least_g),
        customer__is_own=False,
    )
    return Today(
        day=day,
        mill_name=settings["name"],
        places=places(held),
        late=tuple(o for o in orders if o.days_left is not None and o.days_left < 0),
        near=tuple(o for o in orders if o.days_left is not None and 0 <= o.days_left <= near),
        waiting=tuple(o for o in orders if o.state == OrderState.WAITING),
        held_orders=tuple(o for o in orders if o.is_held),
        orders=orders,
        n_open_orders=Order.objects.filter(state__in=OPEN_STATES).count(),
        holds=hold_rows(Hold.objects.filter(cleared_at=None).order_by("pk")[:ROWS_A_PAGE]),
        below_minimum=tuple(row for _, row in rows_of(small.order_by("pk")[:ROWS_A_PAGE], held)),
        least_billed_g=least_g,
        **_to_heed(held),
        running=_running(),
        finished=_finished(),
        baths=due_baths(),
    )


REST_ROW = "rest/hours"


def _to_heed(held: Held) -> dict[str, Any]:
    """Lots whose fibre asks for care before its next machine; four queries."""
    tables = bridge.current_tables()
    standing = Lot.objects.filter(archived_at=None, now_mass_mg__gt=0).order_by("pk")
    slippery = [key for key, fibre in tables.fibres.items() if fibre.slippery]
    sets = {
        "tender": standing.filter(
            soundness__in=(Soundness.TENDER, Soundness.FRAGILE), place__in=BEFORE_THE_FRAME
        ),
        "slippery": standing.filter(fibre__in=slippery, place__in=NEXT_TO_THE_PICKER),
        "resting": standing.filter(place=Place.REST),
        "unchecked": standing.filter(place=Place.DOOR, pest=Pest.UNCHECKED),
    }
    rows = {name: tuple(row for _, row in rows_of(lots[:ROWS_A_PAGE], held)) for name, lots in sets.items()}
    return {**rows, "rest_h": tables.additives[REST_ROW].value}


def places(held: Held | None = None) -> tuple[PlaceRow, ...]:
    """The line, place by place: one query for the sums, one for the lots of an ordinary mill.

    Only where hundreds of lots stand, each place is asked for its heaviest instead.
    """
    held = held or held_now()
    standing = Lot.objects.filter(archived_at=None, now_mass_mg__gt=0)
    sums = {
        place: (mass_mg, n_lots)
        for place, mass_mg, n_lots in standing.order_by("place")
        .values_list("place")
        .annotate(mass_mg=Sum("now_mass_mg"), n_lots=Count("pk"))
    }
    heaviest: dict[str, list[LotRow]] = {place: [] for place in Place}
    few = sum(n_lots for _, n_lots in sums.values()) <= FEW_LOTS
    by_weight = standing.order_by("-now_mass_mg")
    asked = [by_weight] if few else [by_weight.filter(place=place)[:LOTS_A_PLACE] for place in sums]
    for lots in asked:
        for _, row in rows_of(lots, held):
            if len(heaviest[row.place]) < LOTS_A_PLACE:
                heaviest[row.place].append(row)
    return tuple(
        PlaceRow(
            place=place,
            name=place.label,
            mass_g=bridge.grams(sums.get(place, (0, 0))[0]),
            n_lots=sums.get(place, (0, 0))[1],
            lots=tuple(heaviest[place]),
        )
        for place in Place
    )


def open_orders(day: date) -> tuple[TodayOrder, ...]:
    """Open orders by promised date, fifty at most; an order is held by itself, its lots or its owner."""
    stopped = Hold.objects.filter(cleared_at=None)
    held = (
        Q(pk__in=stopped.filter(order__isnull=False).values("order_id"))
        | Q(customer_id__in=stopped.filter(customer__isnull=False).values("customer_id"))
        | Q(order_lots__lot_id__in=stopped.filter(lot__isnull=False).values("lot_id"))
    )
    by_date = F("promised_on").asc(nulls_last=True)
    orders = Order.objects.filter(state__in=OPEN_STATES).order_by(by_date, "pk")
    held_codes = set(orders.filter(held).values_list("code", flat=True))
    rows = orders.values_list(
        "code",
        "customer__code",
        "customer__name",
        "product",
        "promised_on",
        "date_is_hard",
        "state",
        "next_stage",
        "note",
    )[:ROWS_A_PAGE]
    return tuple(
        TodayOrder(
            code=code,
            owner=owner,
            owner_name=owner_name,
            product=product,
            promised_on=promised_on,
            days_left=None if promised_on is None else (promised_on - day).days,
            date_is_hard=is_hard,
            state=state,
            next_stage=next_stage,
            is_held=code in held_codes,
            note=note,
        )
        for code, owner, owner_name, product, promised_on, is_hard, state, next_stage, note in rows
    )


def _running() -> tuple[RunningRun, ...]:
    runs = (
        Run.objects.filter(ended_at=None)
        .order_by("started_at")
        .select_related("machine")
        .prefetch_related("inputs__lot")[:ROWS_A_PAGE]
    )
    return tuple(
        RunningRun(
            run.code,
            run.stage,
            run.machine.name if run.machine else "",
            run.started_at,
            tuple(row.lot.code for row in run.inputs.all()),
        )
        for run in runs
    )


def _finished() -> tuple[FinishedRun, ...]:
    runs = (
        Run.objects.filter(ended_at__gte=clock.now() - FINISHED_WITHIN)
        .order_by("-ended_at")
        .select_related("machine")
        .prefetch_related("outputs__lot")[:FINISHED_SHOWN]
    )
    return tuple(
        FinishedRun(
            run.code,
            run.stage,
            run.machine.name if run.machine else "",
            run.ended_at,
            tuple(row.lot.code for row in run.outputs.all()),
            bridge.grams(sum(row.mass_mg for row in run.outputs.all())),
        )
        for run in runs
    )
