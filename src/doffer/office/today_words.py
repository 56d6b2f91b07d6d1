"""What the tool says in the morning: two or three sentences, what to worry about, what comes next.

Pure shaping of `queries.today.Today` into words; lots and orders that are named carry their address.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from doffer.mill.queries.lots import HoldRow, LotRow
from doffer.mill.queries.today import Today, TodayOrder
from doffer.pictures.calendar_words import say_day, say_due, say_near_day, say_since
from doffer.pictures.wording import say
from doffer.pictures.words import say_many

MOST_SENTENCES = 3
MOST_NAMED = 3
MOST_NEXT = 5
HARD_DATE_WITHIN = 42  # days: a show date that far away is still worth a look each morning
HOLD_WORDS = {
    "moth": "on a moth hold",
    "quarantine": "in quarantine",
    "unpaid": "unpaid",
    "waiting": "waiting for the owner's word",
}
STAGE_VERBS = {  # where the stage's own name is not what is done
    "tumble": "Shake out",
    "scour": "Wash",
    "extract": "Spin out",
    "blend": "Blend and pick",
    "rest": "Let rest",
}


@dataclass(frozen=True, slots=True)
class Bit:
    """A piece of a sentence; with an address it is a link."""

    text: str
    href: str = ""


Sentence = tuple[Bit, ...]


@dataclass(frozen=True, slots=True)
class Worry:
    """One line of the worry list: what it is about, what is the matter, one word and its look."""

    about: Bit
    what: str
    tag: str
    look: str  # late, hold, caution or ""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing for the hands to do next."""

    verb: str
    about: Bit
    why: str


def order_bit(code: str) -> Bit:
    """An order by number, with its address."""
    return Bit(code, f"/orders/{code}/")


def lot_bit(code: str) -> Bit:
    """A lot by number, with its address."""
    return Bit(code, f"/lots/{code}/")


def plain(sentence: Sentence) -> str:
    """A sentence without its links."""
    return "".join(bit.text for bit in sentence)


def morning(today: Today, *, units: str) -> tuple[Sentence, ...]:
    """Two or three sentences that begin the day, the worst first."""
    said = [_late(today)]
    said += [_held(order, today) for order in today.held_orders[:1]]
    said += [_unpaid(hold, today, units) for hold in today.holds if hold.kind == "unpaid"][:1]
    said += _near(today)
    if len(said) == 1:
        said.append(_standing(today, units))
    return tuple(said[:MOST_SENTENCES])


def _for(order: TodayOrder) -> str:
    return f", {order.product} for {order.owner_name}"


def _late(today: Today) -> Sentence:
    late = today.late
    if not late:
        return (Bit("Nothing is late." if today.n_open_orders else "No order is open."),)
    if len(late) == 1:
        promised = late[0].promised_on or today.day
        end = f"{_for(late[0])}, {say_since(promised, today.day)}."
        return Bit("One order is late: "), order_bit(late[0].code), Bit(end)
    bits = [Bit(f"{say_many(len(late), 'order').capitalize()} are late: ")]
    for number, order in enumerate(late[:MOST_NAMED]):
        joiner = "" if number == 0 else " and " if number + 1 == len(late) else ", "
        since = say_since(order.promised_on or today.day, today.day)
        bits += [Bit(joiner), order_bit(order.code), Bit(f" {since}")]
    more = len(late) - MOST_NAMED
    bits.append(Bit(f" and {say_many(more, 'more', 'more')}." if more > 0 else "."))
    return tuple(bit for bit in bits if bit.text)


def _held(order: TodayOrder, today: Today) -> Sentence:
    kind = next((hold.kind for hold in _holds_of(order, today)), "")
    others = len(today.held_orders) - 1
    end = f" is {HOLD_WORDS.get(kind, 'on hold')}"
    if order.promised_on:
        tense = "was" if order.promised_on < today.day else "is"
        end += f" and {tense} promised for {say_near_day(order.promised_on, today.day)}"
    end += (
        f"; {say_many(others, 'other order')} {'is' if others == 1 else 'are'} held too." if others else "."
    )
    return order_bit(order.code), Bit(end)


def _holds_of(order: TodayOrder, today: Today) -> list[HoldRow]:
    """Holds on the order itself or its owner; failing those any on a lot of its owner."""
    own_lots = {lot.code for place in today.places for lot in place.lots if lot.owner == order.owner}
    near = [hold for hold in today.holds if order.code == hold.order or order.owner == hold.owner]
    return near or [hold for hold in today.holds if hold.lot in own_lots]


def _lots_of(hold: HoldRow, today: Today) -> list[LotRow]:
    lots = [lot for place in today.places for lot in place.lots]
    return [lot for lot in lots if lot.code == hold.lot or (hold.owner and lot.owner == hold.owner)]


def _unpaid(hold: HoldRow, today: Today, units: str) -> Sentence:
    lots = _lots_of(hold, today)
    if not lots:
        return Bit(f"{hold.owner or hold.order or hold.lot} has not paid: {hold.reason}."), Bit("")
    mass = say(sum(lot.mass_g for lot in lots), "g", units)
    shelf = next((lot.location for lot in lots if lot.location), "")
    where = f" on the {shelf}" if shelf else ""
    more = f" and {say_many(len(lots) - 1, 'more lot')}" if len(lots) > 1 else ""
    wait = "waits" if len(lots) == 1 else "wait"
    first = Bit(f"{lots[0].owner_name} has not paid: ")
    return first, lot_bit(lots[0].code), Bit(f"{more}, {mass}, {wait}{where}.")


def _near(today: Today) -> list[Sentence]:
    near = [order for order in today.near if not order.is_held]
    return [(order_bit(o.code), Bit(f"{_for(o)}, is {say_due(o.promised_on, today.day)}.")) for o in near
            if o.promised_on]  # fmt: skip


def _standing(today: Today, units: str) -> Sentence:
    mass = sum(place.mass_g for place in today.places)
    lots = sum(place.n_lots for place in today.places)
    orders = say_many(today.n_open_orders, "order")
    verb = "is" if today.n_open_orders == 1 else "are"
    return (
        Bit(f"{say(mass, 'g', units)} of fibre stand here in {say_many(lots, 'lot')}; {orders} {verb} open."),
    )


def worries(today: Today, *, units: str) -> tuple[Worry, ...]:
    """What deserves a look, the most regretted first."""
    return (
        *_late_worries(today),
        *_hold_worries(today),
        *_waiting_worries(today),
        *_date_worries(today),
        *_rest_worries(today),
        *_fibre_worries(today, units),
    )


def _late_worries(today: Today) -> Iterable[Worry]:
    for order in today.late:
        due = say_due(order.promised_on or today.day, today.day)
        next_up = f"; next: {order.next_stage}" if order.next_stage else ""
        yield Worry(
            order_bit(order.code), f"{order.product}, {order.owner_name}: {due}{next_up}", "late", "late"
        )


REGRET = {"moth": 0, "quarantine": 1, "waiting": 2, "unpaid": 3}


def _hold_worries(today: Today) -> Iterable[Worry]:
    promised = {order.code: order.promised_on for order in today.orders}
    for hold in sorted(today.holds, key=lambda hold: (REGRET.get(hold.kind, 9), hold.id)):
        about = _about(hold)
        day = promised.get(hold.order)
        date_words = f"; promised for {say_day(day, today.day)}" if day else ""
        word = "owner's word" if hold.kind == "waiting" else hold.kind
        yield Worry(about, f"{hold.reason}{date_words}", word, "hold")


def _about(hold: HoldRow) -> Bit:
    if hold.order:
        return order_bit(hold.order)
    if hold.lot:
        return lot_bit(hold.lot)
    return Bit(hold.owner, f"/records/owners/{hold.owner}/")


def _waiting_worries(today: Today) -> Iterable[Worry]:
    for order in today.waiting:
        if not order.is_held:
            what = f"{order.product}, {order.owner_name}{f': {order.note}' if order.note else ''}"
            yield Worry(order_bit(order.code), what, "waiting", "")


def _date_worries(today: Today) -> Iterable[Worry]:
    near = {order.code for order in today.near}
    for order in today.orders:
        left = order.days_left
        is_hard = order.date_is_hard and left is not None and 0 <= left <= HARD_DATE_WITHIN
        if order.promised_on is None or order.is_held or not (order.code in near or is_hard):
            continue
        date_word = "hard date" if order.date_is_hard else "date near"
        due = say_near_day(order.promised_on, today.day)
        note = f"; {order.note}" if order.date_is_hard and order.note else ""
        what = f"{order.product}, {order.owner_name}: promised for {due}{note}"
        yield Worry(order_bit(order.code), what, date_word, "caution")


def _rest_worries(today: Today) -> Iterable[Worry]:
    for lot in rested(today):
        what = f"{lot.fibre} for {lot.owner_name} in {lot.location or 'its bin'} has rested long enough"
        yield Worry(lot_bit(lot.code), what, "rest over", "running")


def rested(today: Today) -> list[LotRow]:
    """Lots that have lain the usual rest by the end of yesterday; held ones stay where they are."""
    need = timedelta(hours=today.rest_h)
    days = need.days + (1 if need.seconds else 0)
    return [
        lot
        for lot in today.resting
        if not lot.is_held and lot.weighed_at and (today.day - lot.weighed_at.date()).days >= days
    ]


def _fibre_worries(today: Today, units: str) -> Iterable[Worry]:
    least = say(today.least_billed_g, "g", units)
    small = {lot.code for lot in today.below_minimum}
    for lot in today.below_minimum:
        also = f"; and {lot.soundness}" if lot.soundness in ("tender", "fragile") else ""
        what = f"{say(lot.mass_g, 'g', units)} from {lot.owner_name}, the least billed is {least}{also}"
        yield Worry(lot_bit(lot.code), what, "under minimum", "caution")
    for lot in today.tender:
        if lot.code not in small:
            note = f": {lot.note}" if lot.note else ""
            yield Worry(
                lot_bit(lot.code),
                f"{lot.owner_name}{note}. Slow beater, no fine yarn",
                lot.soundness,
                "caution",
            )
    for lot in today.slippery:
        kind = lot.breed or lot.fibre
        what = f"{kind} from {lot.owner_name} is slippery: cohesive goes on at the picker"
        yield Worry(lot_bit(lot.code), what, "cohesive", "caution")


def next_tasks(today: Today) -> tuple[Task, ...]:
    """What the hands may do next: orders by their date, then what stands waiting; nothing that is held."""
    tasks = [_order_task(order, today.day) for order in _startable(today.orders)]
    tasks += [
        Task("Look for moth in", lot_bit(lot.code), f"{lot.owner_name}, in {lot.location or 'the door room'}")
        for lot in today.unchecked
        if not lot.is_held
    ]
    return tuple(tasks[:MOST_NEXT])


def _startable(orders: Sequence[TodayOrder]) -> list[TodayOrder]:
    return [order for order in orders if order.next_stage and not order.is_held and order.state != "waiting"]


def _order_task(order: TodayOrder, day: date) -> Task:
    verb = STAGE_VERBS.get(order.next_stage, order.next_stage.capitalize())
    due = f", {say_due(order.promised_on, day)}" if order.promised_on else ""
    return Task(verb, order_bit(order.code), f"{order.product} for {order.owner_name}{due}")
