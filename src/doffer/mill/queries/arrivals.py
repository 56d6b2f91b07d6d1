"""Fibre announced for an order: how much was told, how much has come over the scale, how much is to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from doffer.mill import bridge
from doffer.mill.announced import ALL_HERE, FIBRE_TOPIC
from doffer.mill.models import Change, Order, OrderLot, Weighing
from doffer.mill.models.weighings import Moment
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.mill.queries.today import OPEN_STATES


@dataclass(frozen=True, slots=True)
class Said:
    """Somebody said that all of an order's fibre is here, or took that back."""

    is_all: bool
    at: datetime
    person: str


@dataclass(frozen=True, slots=True)
class CameLot:
    """A lot of an order with what it weighed when it came in, as corrected [g]."""

    code: str
    fibre: str
    came_g: float


@dataclass(frozen=True, slots=True)
class Arrival:
    """What has come for an order, and what was said about it, the newest first."""

    lots: tuple[CameLot, ...] = ()
    said: tuple[Said, ...] = ()

    @property
    def is_all(self) -> bool:
        """Whether nothing more is waited for."""
        return bool(self.said) and self.said[0].is_all


@dataclass(frozen=True, slots=True)
class Awaited:
    """One announced batch of an order: three figures as weighed [g], and which lots came for it.

    `rests_g` is what is still to come of each announced fibre, never below zero; all zero once it was said
    that nothing more comes.
    """

    name: str
    words: str
    announced_g: float
    arrived_g: float
    rests_g: tuple[float, ...]
    lots: tuple[str, ...]

    @property
    def to_come_g(self) -> float:
        """Still to come [g]."""
        return sum(self.rests_g)


@dataclass(frozen=True, slots=True)
class WaitingOrder:
    """An open order for which fibre was announced, with what has come of it."""

    code: str
    product: str
    target: str
    promised_on: date | None
    awaited: tuple[Awaited, ...]
    said: tuple[Said, ...]  # the newest first

    @property
    def is_all(self) -> bool:
        """Whether nothing more is waited for."""
        return bool(self.said) and self.said[0].is_all

    @property
    def words(self) -> str:
        """What it waits for: "alpaca"."""
        return " and ".join(dict.fromkeys(each.words for each in self.awaited))

    @property
    def announced_g(self) -> float:
        """Announced in all [g]."""
        return sum(each.announced_g for each in self.awaited)

    @property
    def arrived_g(self) -> float:
        """Come so far [g]."""
        return sum(each.arrived_g for each in self.awaited)

    @property
    def to_come_g(self) -> float:
        """Still to come [g]."""
        return sum(each.to_come_g for each in self.awaited)


def arrival_of(order: str) -> Arrival:
    """What has come for an order and what was said about it; three queries."""
    weighed: dict[int, int] = {}
    links = OrderLot.objects.filter(order__code=order)
    came = Weighing.objects.filter(
        lot__in=links.values("lot_id"), moment=Moment.INTAKE, corrected_by=None
    ).values_list("lot_id", "gross_mg", "tare_mg")
    for lot, gross_mg, tare_mg in came:
        weighed[lot] = weighed.get(lot, 0) + gross_mg - tare_mg
    rows = links.values_list("lot_id", "lot__code", "lot__fibre", "lot__now_mass_mg", "wanted_mg")
    lots = tuple(
        CameLot(code, fibre, _part_g(weighed.get(lot, now_mg), wanted_mg))
        for lot, code, fibre, now_mg, wanted_mg in rows
    )
    said = Change.objects.filter(topic=FIBRE_TOPIC, subject=order).order_by("-pk")
    return Arrival(
        lots,
        tuple(
            Said(what == ALL_HERE, at, person or "")
            for what, at, person in said.values_list("what", "at", "person__name")[:ROWS_A_PAGE]
        ),
    )


def _part_g(came_mg: int, wanted_mg: int | None) -> float:
    """All that came of a lot [g], or the part of it that the order wants."""
    return bridge.grams(came_mg if wanted_mg is None else min(came_mg, wanted_mg))


def awaited_of(spec: Mapping[str, Any], arrival: Arrival) -> tuple[Awaited, ...]:
    """The announced batches of an order's wish, each with what has come for it and what has not.

    A lot that no batch names counts for the announced batch of its fibre, else for the first one.
    """
    announced = list(spec.get("announced", ()))
    if not announced:
        return ()
    batches = [*spec.get("batches", ()), *announced]
    named = {code for batch in batches for code in batch.get("lots", ())} | set(spec.get("waits", ()))
    came: list[list[CameLot]] = [[] for _ in announced]
    for lot in arrival.lots:
        if lot.code not in named:
            came[_batch_for(lot.fibre, announced)].append(lot)
    return tuple(
        _awaited(batch, lots, is_all=arrival.is_all) for batch, lots in zip(announced, came, strict=True)
    )


def _batch_for(fibre: str, announced: Sequence[Mapping[str, Any]]) -> int:
    fits = [n for n, batch in enumerate(announced) if fibre in [told["fibre"] for told in batch["fibre"]]]
    return fits[0] if fits else 0


def _awaited(batch: Mapping[str, Any], lots: Sequence[CameLot], *, is_all: bool) -> Awaited:
    told = [dict(each) for each in batch.get("fibre", ())]
    fibres = [each["fibre"] for each in told]
    came_g = [0.0] * len(told)
    for lot in lots:
        came_g[fibres.index(lot.fibre) if lot.fibre in fibres else 0] += lot.came_g
    rests = tuple(
        0.0 if is_all else max(0.0, float(each["mass_g"]) - here_g)
        for each, here_g in zip(told, came_g, strict=True)
    )
    return Awaited(
        name=batch.get("name", ""),
        words=" and ".join(dict.fromkeys(str(each["words"]) for each in told)),
        announced_g=sum(float(each["mass_g"]) for each in told),
        arrived_g=sum(came_g),
        rests_g=rests,
        lots=tuple(lot.code for lot in lots),
    )


def orders_waiting(owner: str) -> tuple[WaitingOrder, ...]:
    """Open orders of an owner whose announced fibre is not all here; those that lack fibre come first."""
    found = [order for order in _waiting(Order.objects.filter(customer__code=owner)) if not order.is_all]
    return tuple(sorted(found, key=lambda order: order.to_come_g <= 0))


def order_of_lot(lot: str) -> WaitingOrder | None:
    """The open order a lot came in for, when its fibre was announced; None where there is none."""
    found = _waiting(Order.objects.filter(order_lots__lot__code=lot))
    return next(
        (order for order in found if lot in [code for each in order.awaited for code in each.lots]), None
    )


def _waiting(orders: QuerySet[Order]) -> list[WaitingOrder]:
    rows = orders.filter(state__in=OPEN_STATES).order_by("pk")
    found = []
    for code, product, target, day, spec in rows.values_list(
        "code", "product", "target", "promised_on", "spec"
    )[:ROWS_A_PAGE]:
        if spec.get("announced"):
            arrival = arrival_of(code)
            awaited = awaited_of(spec, arrival)
            found.append(WaitingOrder(code, product, target, day, awaited, arrival.said))
    return found
