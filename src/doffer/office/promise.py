"""What was promised to the owner beside what the plan says now, with the difference in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from doffer.mill.queries.agreements import AgreementRow
from doffer.mill.queries.arrivals import Arrival, Said, WaitingOrder, arrival_of, awaited_of
from doffer.mill.queries.orders import OneOrder, PlanRow
from doffer.mill.queries.plan_inputs import LEAST_MASS_G, PlanInputs
from doffer.office.agreement import told_plan
from doffer.office.order_spec import plan_of_order
from doffer.office.plan_view import PIECE_NAMES
from doffer.pictures.calendar_words import say_day
from doffer.pictures.wording import say, say_range, say_short_mass
from doffer.pictures.words import say_many
from doffer.planning.order_plan import BatchPlan, OrderPlan
from doffer.planning.plan_json import from_plain

SAME_FRAC = 0.005  # two weights nearer than this are the same in an owner's ears
AT_WORK = (
    "Part of it is in work already, so what is planned now is only the rest of it. "
    "What was made stands below."
)


@dataclass(frozen=True, slots=True)
class PromiseLine:
    """One thing that was promised: then, now, and the difference in words."""

    name: str
    promised: str
    now: str
    difference: str


@dataclass(frozen=True, slots=True)
class PromiseView:
    """The promise of an order and what has become of it; `lines` without a plan of now have empty words."""

    made_at: datetime
    made_by: str
    version: int
    lines: tuple[PromiseLine, ...]
    is_less: bool
    words: str
    alone: str


def came_for(order: OneOrder) -> WaitingOrder | None:
    """The three figures of an order for which fibre was announced; None for any other."""
    arrival = arrival_of(order.row.code)
    awaited = awaited_of(order.spec, arrival)
    row = order.row
    if not awaited:
        return None
    return WaitingOrder(row.code, row.product, row.target, row.promised_on, awaited, arrival.said)


def agreed_plan(order: OneOrder, yes: AgreementRow | None = None) -> PlanRow | None:
    """The plan that holds: the one the owner said yes to, else the one the owner was told of."""
    if yes is not None:
        agreed = next((plan for plan in order.plans if plan.version == yes.version), None)
        if agreed is not None:
            return agreed
    return told_plan(order)


def promise_view(
    order: OneOrder,
    inputs: PlanInputs,
    shown: OrderPlan | None,
    came: WaitingOrder | None,
    *,
    units: str,
    yes: AgreementRow | None = None,
) -> PromiseView | None:
    """What was promised beside what is planned now; None where nothing could differ.

    With announced fibre now is worked out with the weights of this moment; else it is the plan shown. Once
    an owner said `yes`, what changed since stands with that yes, so only announced fibre is shown here.
    """
    then = agreed_plan(order, yes)
    if then is None or (yes is not None and came is None):
        return None
    promised = from_plain(OrderPlan, then.result)
    alone = ""
    if came is None:
        if order.plans[0].version == then.version and _agreed_day(then, order) == order.row.promised_on:
            return None
        now = shown
    elif _is_at_work(order, inputs, came):
        now = None
    else:
        now = plan_of_order(order, inputs).plan
        alone = _alone_words(order, inputs, came, units=units)
    was_day = yes.promised_on if yes is not None and yes.version == then.version else _agreed_day(then, order)
    lines = (*_plan_lines(promised, now, units=units), _day_line(was_day, order))
    fewer = _fewer(promised, now)
    return PromiseView(
        then.made_at, then.made_by, then.version, lines, fewer > 0, _words(fewer, promised, now, order), alone
    )


def _is_at_work(order: OneOrder, inputs: PlanInputs, came: WaitingOrder) -> bool:
    """Whether fibre that came has gone on into other lots, so that a plan of now is one of the rest."""
    mine = {code for each in came.awaited for code in each.lots}
    return bool(order.made) or any(lot.code in mine and lot.mass_g < LEAST_MASS_G for lot in inputs.lots)


def _plan_lines(promised: OrderPlan, now: OrderPlan | None, *, units: str) -> tuple[PromiseLine, ...]:
    later = {batch.name: batch for batch in now.batches} if now else {}
    lines: list[PromiseLine] = []
    for batch in promised.batches:
        title = f"{batch.name}: " if len(promised.batches) > 1 else ""
        lines += _batch_lines(batch, later.get(batch.name), title, units=units)
    return tuple(lines)


def _batch_lines(was: BatchPlan, now: BatchPlan | None, title: str, *, units: str) -> list[PromiseLine]:
    one, many = PIECE_NAMES[was.product]
    mass_g = was.finished.mean
    apart_g = now.finished.mean - mass_g if now else 0.0
    if abs(apart_g) <= SAME_FRAC * mass_g:
        apart = "as promised"
    else:
        apart = f"{say_short_mass(abs(apart_g), units)} {'more' if apart_g > 0 else 'less'}"
    return [
        PromiseLine(
            f"{title}finished weight",
            _finished(was, units),
            _finished(now, units) if now else "",
            apart if now else "",
        ),
        PromiseLine(
            f"{title}{many} safe to promise",
            _pieces(was, units),
            _pieces(now, units) if now else "",
            _pieces_apart(now.pieces.safe - was.pieces.safe, one, many) if now else "",
        ),
    ]


def _finished(plan: BatchPlan, units: str) -> str:
    spread = plan.finished
    return f"{say(spread.mean, 'g', units)} ({say_range(spread.low, spread.high, 'g', units)})"


def _pieces(plan: BatchPlan, units: str) -> str:
    one, many = PIECE_NAMES[plan.product]
    safe = plan.pieces.safe
    return f"{safe} {one if safe == 1 else many} of {say(plan.pieces.piece_mass_g, 'g', units)}"


def _pieces_apart(more: int, one: str, many: str) -> str:
    if more == 0:
        return "as promised"
    return f"{say_many(abs(more), one, many)} {'more' if more > 0 else 'fewer'}"


def _agreed_day(then: PlanRow, order: OneOrder) -> date | None:
    """The day that was agreed with the plan; plans kept before days were kept with them know of none."""
    agreed: Any = then.spec.get("agreed")
    if not isinstance(agreed, dict):
        return order.row.promised_on
    return date.fromisoformat(agreed["promised_on"]) if agreed.get("promised_on") else None


def _day_line(was: date | None, order: OneOrder) -> PromiseLine:
    now = order.row.promised_on
    booked = order.row.booked_on
    if was is None or now is None:
        apart = "as promised" if was is now else "a day was said since" if was is None else "no day any more"
    else:
        days = (now - was).days
        apart = f"{say_many(abs(days), 'day')} {'later' if days > 0 else 'sooner'}" if days else "as promised"
    said = [say_day(day, booked) if day else "no day" for day in (was, now)]
    return PromiseLine("day", said[0], said[1], apart)


def _fewer(promised: OrderPlan, now: OrderPlan | None) -> int:
    """How many pieces fewer are safe now, over all batches that are still planned."""
    later = {batch.name: batch for batch in now.batches} if now else {}
    return sum(
        max(0, batch.pieces.safe - later[batch.name].pieces.safe)
        for batch in promised.batches
        if batch.name in later
    )


def _words(fewer: int, promised: OrderPlan, now: OrderPlan | None, order: OneOrder) -> str:
    if now is None:
        return AT_WORK
    one, many = PIECE_NAMES[promised.batches[0].product]
    if fewer:
        many_fewer = say_many(fewer, one, many)
        return (
            f"{many_fewer[:1].upper()}{many_fewer[1:]} fewer than {order.row.owner_name} was promised: "
            "tell them before it is spun."
        )
    return "What was promised can be kept."


def _alone_words(order: OneOrder, inputs: PlanInputs, came: WaitingOrder, *, units: str) -> str:
    """What comes of the fibre that is here, should nothing more come."""
    if came.is_all or came.to_come_g <= 0 or came.arrived_g <= 0:
        return ""
    arrival = arrival_of(order.row.code)
    last = Said(is_all=True, at=order.taken_at, person="")
    made = plan_of_order(order, inputs, arrival=_with(arrival, last))
    if made.plan is None:
        return f"From what has arrived alone nothing can be planned: {' '.join(made.problems)}"
    batch = made.plan.batches[0]
    return (
        f"Should nothing more come: {say(batch.finished.mean, 'g', units)} finished, "
        f"{_pieces(batch, units)} safe."
    )


def _with(arrival: Arrival, last: Said) -> Arrival:
    return replace(arrival, said=(last, *arrival.said))
