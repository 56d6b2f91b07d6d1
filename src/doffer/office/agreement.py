"""What an owner said yes to, beside what is planned and promised now."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from doffer.mill import clock
from doffer.mill.queries.agreements import AgreementRow, agreements_of
from doffer.mill.queries.orders import OneOrder, PlanRow
from doffer.office.order_spec import read_wish
from doffer.office.order_wish_form import wish_changes
from doffer.office.plan_view import PIECE_NAMES, wish_words
from doffer.pictures.calendar_words import say_day
from doffer.planning.order_plan import BatchPlan, OrderPlan
from doffer.planning.plan_json import from_plain
from doffer.planning.spec import BatchSpec, OrderSpec

PIECES_CHANGED = re.compile(r"\d+ (?:skeins?|bumps?|batts?) → ")


@dataclass(frozen=True, slots=True)
class AgreedView:
    """The newest yes of an owner and what changed since; `asks_again` while no yes fits the newest plan."""

    latest: AgreementRow | None
    sentence: str
    changed: tuple[str, ...]
    earlier: tuple[AgreementRow, ...]
    in_table: tuple[str, ...] = ()  # of what changed: what the table of the promise shows as well

    @property
    def asks_again(self) -> bool:
        """Whether what is planned now is something else than what the owner said yes to."""
        return bool(self.changed)


def agreed_view(order: OneOrder, units: str) -> AgreedView:
    """What the owner agreed to beside the newest plan."""
    rows = agreements_of(order.row.code)
    told = told_plan(order)
    if not rows:
        return AgreedView(None, _told_words(told) if told else "", (), ())
    latest = rows[0]
    changed = _changed_since(order, latest, units)
    in_table = tuple(words for words in changed if words.startswith("day: ") or PIECES_CHANGED.search(words))
    return AgreedView(latest, _story(told, latest), changed, rows[1:], in_table)


def told_plan(order: OneOrder) -> PlanRow | None:
    """The plan the owner was told of: the newest that was promised with the wish, else the first one kept."""
    told = next((plan for plan in order.plans if plan.spec.get("agreed")), None)
    return told or (order.plans[-1] if order.plans else None)


def _told_words(told: PlanRow) -> str:
    """“Promised at the counter Monday 2 March with plan 1”."""
    day = say_day(told.made_at.date(), clock.today())
    if told.spec.get("agreed"):
        return f"Promised {'at the counter ' if told.version == 1 else ''}{day} with plan {told.version}"
    return f"Promised with plan {told.version}, kept {day}"


def _story(told: PlanRow | None, yes: AgreementRow) -> str:
    """What was promised and then agreed to; a promise made after the yes is left to what changed."""
    is_same = told is not None and told.version == yes.version
    said = f"{yes.said_by} said yes to {'it' if is_same else f'plan {yes.version}'} "
    said += f"{say_day(yes.on, clock.today())} {yes.how}: {yes.words}"
    if told is None or told.version > yes.version:
        return f"{said[:1].upper()}{said[1:]}"
    return f"{_told_words(told)}; {said}"


def agreed_words(row: AgreementRow) -> str:
    """“Agreed Thursday 12 November by phone with Marra: 24 skeins of 2-ply yarn …”."""
    return f"Agreed {say_day(row.on, clock.today())} {row.how} with {row.said_by}: {row.words}"


def promise_words(order: OneOrder, row: PlanRow, units: str) -> str:
    """What a kept plan promises, as one says it on the telephone, with the mill's own lots that go in."""
    spec, plan = from_plain(OrderSpec, row.spec), from_plain(OrderPlan, row.result)
    own = {each.lot.code for each in order.lots if each.lot.owner != order.row.owner}
    said = []
    for asked, batch in zip(spec.batches, plan.batches, strict=True):
        title = f"{batch.name}: " if len(plan.batches) > 1 else ""
        mixed = [start.lot for start in asked.lots if start.lot in own]
        also = f", with {' and '.join(mixed)} of the mill" if mixed else ""
        said.append(f"{title}{_pieces(batch)}, {wish_words(asked.wish, units)}{also}")
    return "; ".join(said)


def _pieces(batch: BatchPlan) -> str:
    one, many = PIECE_NAMES[batch.product]
    return f"{batch.pieces.safe} {one if batch.pieces.safe == 1 else many}"


def _changed_since(order: OneOrder, agreed: AgreementRow, units: str) -> tuple[str, ...]:
    """What differs between what was agreed and what is planned and promised now, each in a few words."""
    days = (agreed.promised_on, order.row.promised_on)
    said = []
    if days[0] != days[1]:
        was, now = (say_day(day, clock.today()) if day else "no day" for day in days)
        said.append(f"day: {was} → {now}")
    then = next((row for row in order.plans if row.version == agreed.version), None)
    if then is None or then.version == order.plans[0].version:
        return tuple(said)
    announced = {batch.name for batch in read_wish(order.spec).announced}
    was_planned, is_planned = _by_name(then), _by_name(order.plans[0])
    said += [f"{name} is left out" for name in was_planned if name not in is_planned]
    said += [f"{name} comes in" for name in is_planned if name not in was_planned]
    for name, (spec, batch) in was_planned.items():
        if name in is_planned:
            words = _batch_changes((spec, batch), is_planned[name], units, is_awaited=name in announced)
            said += [f"{name}: {word}" if len(was_planned) > 1 else word for word in words]
    return tuple(said)


def _by_name(row: PlanRow) -> Mapping[str, tuple[BatchSpec, BatchPlan]]:
    spec, plan = from_plain(OrderSpec, row.spec), from_plain(OrderPlan, row.result)
    return {batch.name: (batch, made) for batch, made in zip(spec.batches, plan.batches, strict=True)}


def _batch_changes(
    was: tuple[BatchSpec, BatchPlan], now: tuple[BatchSpec, BatchPlan], units: str, *, is_awaited: bool
) -> list[str]:
    """Changes of one part; bags that come in for announced fibre are what was agreed and change nothing."""
    said = wish_changes(was[0].wish, now[0].wish, units)
    before, after = ({start.lot for start in spec.lots} for spec, _ in (was, now))
    if not is_awaited:
        said += [f"with {lot}" for lot in sorted(after - before)]
        said += [f"without {lot}" for lot in sorted(before - after)]
    if was[1].pieces.safe != now[1].pieces.safe or was[1].product != now[1].product:
        said.append(f"{_pieces(was[1])} → {_pieces(now[1])}")
    return said
