"""From an order's wish as it was written down to what the planner is asked, with today's weights.

An order keeps its wish as plain JSON (`OrderWish`): which lots become what, and fibre that is announced but
not here yet. Weights are not kept in it: they are read anew each time the order is planned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from doffer.errors import DofferError, InputError
from doffer.fibre.content import Basis
from doffer.fibre.kinds import Kind
from doffer.fibre.material import Constituent, Form
from doffer.mill.queries.orders import OneOrder
from doffer.mill.queries.plan_inputs import PlanInputs, PlanLot
from doffer.planning.batch import plan_order
from doffer.planning.order_plan import OrderPlan
from doffer.planning.plan_json import from_plain, to_plain
from doffer.planning.spec import BatchSpec, LotStart, MillWays, OrderSpec, Wish
from doffer.tables.loader import Tables

US_RULES = ("US", "CA")  # shares by commercial regain; elsewhere by agreed regain
GATHERED = ("extract", "dry", "rest", "set")  # what lies on a rack or in a bin is gathered by hand, not lost
LEAST_MASS_G = 1.0


@dataclass(frozen=True, slots=True)
class Expected:
    """Fibre that is announced but not weighed in yet, as the owner told it."""

    lot: str
    words: str
    fibre: str
    yields_as: str
    form: str
    mass_g: float
    diameter_um: float
    diameter_cv_frac: float
    staple_mm: float
    staple_cv_frac: float


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

    `why_not` says in a sentence why an order cannot be planned.
    """

    batches: tuple[BatchWish, ...] = ()
    announced: tuple[BatchWish, ...] = ()
    why_not: str = ""


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


def ways_of(inputs: PlanInputs, country_rules: str) -> MillWays:
    """How this mill works: its machines and settings, the usual conditioner, the label rules of the owner."""
    machines = {
        stage: replace(use, held_mass_g=0.0) if stage in GATHERED else use
        for stage, use in inputs.ways.machines.items()
    }
    usual = inputs.tables.additives
    return replace(
        inputs.ways,
        label_basis=Basis.US_COMMERCIAL if country_rules in US_RULES else Basis.EU_AGREED,
        machines=machines,
        conditioner_frac_owf=usual["conditioner/dose"].value / 100,
        conditioner_water_parts=usual["conditioner/water_parts"].value,
    )


def expected_fibre(
    kind: Kind,
    *,
    lot: str,
    form: str,
    mass_g: float,
    diameter_um: float | None = None,
    staple_mm: float | None = None,
) -> Expected:
    """Fibre told on the telephone: what is not known is usual for its breed, else for its fibre."""
    breed, row = kind.breed, kind.fibre
    usual_um = breed.diameter_um if breed else row.diameter_um
    cv_frac = breed.diameter_sd_um / breed.diameter_um if breed else row.diameter_cv_pct / 100
    return Expected(
        lot=lot,
        words=breed.name if breed else row.name,
        fibre=row.fibre,
        yields_as=breed.yields_as if breed else row.yields_as,
        form=form,
        mass_g=mass_g,
        diameter_um=diameter_um or usual_um,
        diameter_cv_frac=cv_frac,
        staple_mm=float(staple_mm or (breed.staple_mm if breed else row.staple_mm)),
        staple_cv_frac=row.staple_cv_pct / 100,
    )


def start_of_expected(told: Expected, tables: Tables) -> LotStart:
    """Announced fibre as the planner reads it; clean fibre is taken at the standard atmosphere."""
    part = Constituent(
        lot=told.lot,
        fibre=told.fibre,
        diameter_um=told.diameter_um,
        diameter_cv_frac=told.diameter_cv_frac,
        staple_mm=told.staple_mm,
        staple_cv_frac=told.staple_cv_frac,
    )
    regain = tables.fibres[told.fibre].regain65_pct / 100
    return LotStart(part, Form(told.form), told.mass_g, regain, told.yields_as)


def plan_of_order(order: OneOrder, inputs: PlanInputs) -> Planned:
    """Plan an order with today's weights, batch by batch, so that one that cannot be leaves the others."""
    wish = read_wish(order.spec)
    if wish.why_not or not (wish.batches or wish.announced):
        return Planned(None, None, (wish.why_not or IN_WORDS_ONLY,))
    asked = _asked(wish, order, inputs)
    problems = list(asked.problems)
    ways = ways_of(inputs, order.country_rules)
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
    return Planned(OrderSpec(tuple(good), ways), plan, tuple(problems), asked.notes)


IN_WORDS_ONLY = (
    "What this order is to become is written in words only. Take it again as a new order with product, "
    "thickness and put-up, and it can be worked out."
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
    named = {code for batch in (*wish.batches, *wish.announced) for code in batch.lots}
    arrived = [lot for lot in inputs.lots if lot.code not in named and lot.mass_g >= LEAST_MASS_G]
    batches: list[BatchSpec] = []
    problems: list[str] = []
    notes: list[str] = []
    for batch in (*wish.batches, *wish.announced):
        starts: list[LotStart] = []
        if batch.fibre:
            starts = [_part_of(lot, wanted.get(lot.code)) for lot in arrived]
            starts = starts or [start_of_expected(told, inputs.tables) for told in batch.fibre]
        for code in batch.lots:
            if code not in lots:
                problems.append(f"{batch.name}: {code} does not belong to this order any more.")
            elif lots[code].mass_g < LEAST_MASS_G:
                notes.append(f"{code} is used up: what became of it stands under “What happened so far”.")
            else:
                starts.append(_part_of(lots[code], wanted.get(code)))
        if starts:
            batches.append(BatchSpec(batch.name, tuple(starts), batch.wish))
        else:
            problems.append(f"{batch.name}: nothing of it is left to plan.")
    return _Asked(tuple(batches), tuple(problems), tuple(notes))


def _part_of(lot: PlanLot, wanted_g: float | None) -> LotStart:
    """All of a lot, or the grams the order wants of it."""
    if wanted_g is None or wanted_g >= lot.start.weighed_mass_g:
        return lot.start
    return replace(lot.start, weighed_mass_g=wanted_g)


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
