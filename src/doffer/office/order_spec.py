"""From an order's wish as it was written down to what the planner is asked, with today's weights.

An order keeps its wish as plain JSON (`OrderWish`): which lots become what, and fibre that is announced but
not here yet. Weights are not kept in it: they are read anew each time the order is planned.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from doffer.errors import DofferError, InputError
from doffer.mill.queries.orders import OneOrder
from doffer.mill.queries.plan_inputs import LEAST_MASS_G, PlanInputs, part_of
from doffer.planning.batch import plan_order
from doffer.planning.expected import Expected, start_of_expected
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain, to_plain
from doffer.planning.spec import BatchSpec, LotStart, OrderSpec, Wish
from doffer.tables.loader import Tables


@dataclass(frozen=True, slots=True)
class BatchWish:
    """Lots, or announced fibre, that become one thing."""

    name: str
    wish: Wish
    lots: tuple[str, ...] = ()
    fibre: tuple[Expected, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderWish:
    """What an order is to become: `batches` of lots that are here, `announced` ones that wait for fibre.

    `why_not` says in a sentence why an order cannot be planned; `ways` are changes of the mill's ways for
    this order alone; `waits` says of a lot that goes into no batch what it waits for.
    """

    batches: tuple[BatchWish, ...] = ()
    announced: tuple[BatchWish, ...] = ()
    why_not: str = ""
    ways: Mapping[str, Any] = field(default_factory=dict)
    waits: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Planned:
    """An order planned as far as it can be, and a sentence for each batch that cannot."""

    spec: OrderSpec | None
    plan: OrderPlan | None
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read_wish(data: dict[str, Any]) -> OrderWish:
    """The wish of an order as stored in its `spec`."""
    return from_plain(OrderWish, data)


def wish_data(wish: OrderWish) -> dict[str, Any]:
    """The wish as plain JSON, for `OrderFacts.spec`."""
    data: dict[str, Any] = to_plain(wish)
    return data


def plan_of_order(order: OneOrder, inputs: PlanInputs) -> Planned:
    """Plan an order with today's weights, batch by batch, so that one that cannot be leaves the others."""
    wish = read_wish(order.spec)
    if wish.why_not or not (wish.batches or wish.announced):
        return Planned(None, None, (wish.why_not or IN_WORDS_ONLY,))
    asked = _asked(wish, order, inputs)
    problems = list(asked.problems)
    ways = inputs.ways_for(order.country_rules, wish.ways)
    good: list[BatchSpec] = []
    plans: list[OrderPlan] = []
    for batch in asked.batches:
        try:
            plans.append(plan_order(OrderSpec((batch,), ways), inputs.tables))
        except DofferError as error:
            problems.append(f"{batch.name}: {error}")
        else:
            good.append(batch)
    if not good:
        return Planned(None, None, tuple(problems), asked.notes)
    plan = replace(plans[0], batches=tuple(each.batches[0] for each in plans))
    notes = (*asked.notes, *same_kind_notes(good, inputs))
    return Planned(OrderSpec(tuple(good), ways), plan, tuple(problems), notes)


IN_WORDS_ONLY = (
    "What this order is to become is written in words only. Change its wish: say product, thickness and "
    "put-up, and it can be worked out."
)


@dataclass(frozen=True, slots=True)
class _Asked:
    batches: tuple[BatchSpec, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]


def _asked(wish: OrderWish, order: OneOrder, inputs: PlanInputs) -> _Asked:
    """What the planner is asked, what cannot be asked, and what a person should know about it."""
    lots = {lot.code: lot for lot in inputs.lots}
    wanted = {row.lot.code: row.wanted_g for row in order.lots}
    named = {code for batch in (*wish.batches, *wish.announced) for code in batch.lots} | set(wish.waits)
    arrived = [lot for lot in inputs.lots if lot.code not in named and lot.mass_g >= LEAST_MASS_G]
    batches: list[BatchSpec] = []
    problems: list[str] = []
    notes: list[str] = []
    for batch in (*wish.batches, *wish.announced):
        starts: list[LotStart] = []
        if batch.fibre:
            starts = [part_of(lot, wanted.get(lot.code)) for lot in arrived]
            starts = starts or [start_of_expected(told, inputs.tables) for told in batch.fibre]
        for code in batch.lots:
            if code not in lots:
                problems.append(f"{batch.name}: {code} does not belong to this order any more.")
            elif lots[code].mass_g < LEAST_MASS_G:
                notes.append(f"{code} is used up: what became of it stands under “What happened so far”.")
            else:
                starts.append(part_of(lots[code], wanted.get(code)))
        if starts:
            batches.append(BatchSpec(batch.name, tuple(starts), batch.wish))
        else:
            problems.append(f"{batch.name}: nothing of it is left to plan.")
    return _Asked(tuple(batches), tuple(problems), tuple(notes))


def same_kind_notes(batches: Sequence[BatchSpec], inputs: PlanInputs) -> tuple[str, ...]:
    """What must be asked where the mill's own fibre tops up an owner's of the same kind."""
    own = {lot.code for lot in inputs.lots if lot.is_own}
    notes = []
    for batch in batches:
        label_of = {start.lot: inputs.tables.fibres[start.fibre].label_as for start in batch.lots}
        owners = {label for lot, label in label_of.items() if lot not in own}
        notes += [
            f"{lot} is {label.replace('_', ' ')} of the mill and goes in with the owner’s: the label stays "
            "the same, but it is no longer the owner’s fibre alone. It needs the owner’s recorded yes."
            for lot, label in label_of.items()
            if lot in own and label in owners
        ]
    return tuple(notes)


def shares_typed(parts: Sequence[tuple[str, float]], tables: Tables) -> dict[str, float]:
    """Shares on the label [frac] by label name, from percents typed by fibre; they add up to 100.

    Raises
    ------
    InputError
        They do not add up.
    """
    shares: dict[str, float] = {}
    for fibre, percent in parts:
        label = tables.fibres[fibre].label_as
        shares[label] = shares.get(label, 0.0) + percent / 100
    total = sum(shares.values())
    if shares and abs(total - 1) > SHARE_TOLERANCE:
        raise InputError("shares", f"{total * 100:g} % together", "100 % together")
    return {label: share / total for label, share in shares.items()}


SHARE_TOLERANCE = 0.005  # 33 + 33 + 33.5 is meant as thirds
