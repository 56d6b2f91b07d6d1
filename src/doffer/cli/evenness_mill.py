"""What the evenness verbs take from a mill's records: figures of its machines, its lots, an order."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from doffer.cli.evenness_words import G_PER_KG, PERCENT, Blend, read_blend, read_figures
from doffer.cli.mills import add_mill_option, open_records

if TYPE_CHECKING:
    from doffer.mill.queries.mixing import MixingInputs
    from doffer.planning.evenness.figures import Figure
    from doffer.tables.loader import Tables

LOT_SHAPE = "L027=60"


@dataclass(frozen=True, eq=False, slots=True)
class World:
    """What is reckoned with; `is_tender`: a lot of it broke when it was snapped."""

    tables: Tables
    blend: Blend
    figures: tuple[Figure, ...]
    is_tender: bool = False


def mill_words(words: argparse.ArgumentParser) -> None:
    """`--mill`, `--lot` and `--order`, alike in every verb that reckons a route."""
    add_mill_option(words)
    words.add_argument(
        "--lot",
        action="append",
        default=[],
        metavar="CODE=PCT",
        help="a lot of the mill's records instead of --part, with its share",
    )
    words.add_argument("--order", metavar="CODE", help="lots and weights of an order's batch")
    words.add_argument("--batch", type=int, metavar="N", help="which batch of the order (its first)")


def read_world(args: argparse.Namespace) -> World:
    """Everything that is reckoned with, from the words typed and the mill's records where one is named.

    Raises
    ------
    InputError
        Lots from more than one place, or no weight of the lot.
    """
    from doffer.errors import InputError
    from doffer.tables.loader import load_tables

    places = [
        flag for flag, value in (("--part", args.part), ("--lot", args.lot), ("--order", args.order)) if value
    ]
    if len(places) > 1:
        raise InputError("lots", " and ".join(places), "given with one of them")
    if args.kg is None and not args.order:
        raise InputError("--kg", None, "given: the oven-dry weight of the lot, such as 6")
    if not (args.mill or args.lot or args.order):
        tables = load_tables()
        return World(tables, read_blend(args, tables), read_figures(args.own, tables))
    open_records(args)
    return _of_records(args)


def _of_records(args: argparse.Namespace) -> World:
    from doffer.mill.queries.tables import current_tables
    from doffer.office.evenness_blend import own_figures

    tables = current_tables()
    if not (args.lot or args.order):
        from doffer.mill.queries.mixing import mixing_machines

        rows = [row for machine in mixing_machines(tables) for row in machine.figures]
        return World(tables, read_blend(args, tables), _typed_over(args, tables, own_figures(rows, tables)))
    inputs = _of_order(args) if args.order else _of_lots(args)
    args.kg = inputs.dry_mass_g / G_PER_KG
    return World(
        tables,
        _blend(inputs),
        _typed_over(args, tables, own_figures(inputs.figures, tables)),
        is_tender=any(part.is_tender for part in inputs.parts),
    )


def _typed_over(args: argparse.Namespace, tables: Tables, figures: tuple[Figure, ...]) -> tuple[Figure, ...]:
    """The mill's figures with those that were typed in their place."""
    typed = {one.key: one for one in read_figures(args.own, tables)}
    named = {text.partition("=")[0].strip() for text in args.own}
    return tuple(typed[one.key] if one.key in named else one for one in figures)


def _blend(inputs: MixingInputs) -> Blend:
    from doffer.office.evenness_asked import read_mixed
    from doffer.office.evenness_blend import route_of, usual_of

    route = route_of(inputs, read_mixed({}, "metric", usual_of(inputs)))
    return Blend(route.passage.feed.parts, tuple(part.fibre for part in inputs.parts), route.slope_lab)


def _of_lots(args: argparse.Namespace) -> MixingInputs:
    from doffer.errors import InputError
    from doffer.exchange.numbers import parse_number
    from doffer.mill.queries.mixing import mixing_of_lots

    shares: dict[str, float] = {}
    for text in args.lot:
        code, sign, share = (piece.strip() for piece in text.partition("="))
        if not sign or not code or code in shares:
            raise InputError("--lot", text, f"each lot once with its share, such as {LOT_SHAPE}")
        shares[code] = float(parse_number(share.rstrip("% "), f"share of {code}"))
    total = sum(shares.values())
    if abs(total - PERCENT) > 1e-6 or min(shares.values()) <= 0:
        raise InputError("shares of the lots", f"{total:g} %", "100 % together, each above 0 %")
    dry_g = args.kg * G_PER_KG
    return mixing_of_lots({code: share / PERCENT * dry_g for code, share in shares.items()})


def _of_order(args: argparse.Namespace) -> MixingInputs:
    from doffer.errors import RefusedError
    from doffer.mill.queries.mixing import mixing_of_batch
    from doffer.mill.queries.orders import one_order
    from doffer.mill.queries.plan_inputs import plan_inputs
    from doffer.office.evenness_source import is_mixed
    from doffer.office.orders import shown_plan

    order = one_order(args.order)
    shown = shown_plan(order, plan_inputs(lots=[row.lot.code for row in order.lots]))
    if shown.spec is None or shown.plan is None:
        raise RefusedError(f"{args.order} has no plan yet", shown.problems, "Mend that on its page")
    pairs: list[tuple[Any, Any]] = list(zip(shown.spec.batches, shown.plan.batches, strict=True))
    mixed = {number: pair for number, pair in enumerate(pairs, start=1) if is_mixed(pair[1])}
    number = args.batch or next(iter(mixed), 0)
    if number not in mixed:
        what = "one lot alone has nothing to mix, and what is carded is mixed already"
        raise RefusedError(f"Nothing of {args.order} is mixed from here on", (what,), "See its plan")
    spec, plan = mixed[number]
    return mixing_of_batch(spec, plan, shown.spec.ways)
