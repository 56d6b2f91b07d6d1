"""`doffer plan`: what fibre can become, stage by stage, with ranges and a safe promise."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from doffer.cli.output import add_json_option, aligned, emit, refuse, working_lines
from doffer.cli.typed import named_numbers, number, yarn

if TYPE_CHECKING:
    from doffer.planning.order_plan import BatchPlan, OrderPlan
    from doffer.planning.spec import LotStart, MillWays, OrderSpec, Wish
    from doffer.planning.spread import Spread
    from doffer.tables.loader import Tables

EXAMPLE = """\
examples:
  doffer plan --fibre alpaca --kg 2.7 --yarn "2-ply 200 m/100g"
  doffer plan --fibre Shetland --kg 4 --form greasy --product roving --mill demo
  doffer plan --fibre wool --kg 3 --fibre alpaca --kg 2 --form scoured \\
      --yarn "3-ply 250 m/100g" --blend wool=70,alpaca=30 --finished-kg 3
  doffer plan --order O204 --mill demo
"""
G_PER_KG = 1000
PERCENT = 100
FORMS = ("greasy", "skirted", "scoured", "opened", "roving")


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "plan",
        help="what fibre can become, with ranges",
        description=(
            "What fibre can become: weights after every stage, metres, pieces, label shares. Without --mill "
            "the machines keep nothing; with it they are that mill's, and its own figures count."
        ),
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("--order", metavar="NUMBER", help="an order of a mill, with today's weights")
    words.add_argument(
        "--fibre", action="append", default=[], metavar="NAME", help="fibre or breed; may be repeated"
    )
    words.add_argument(
        "--kg", action="append", type=number(0.001, 5000), default=[], help="its weight; once for each fibre"
    )
    words.add_argument(
        "--form",
        choices=FORMS,
        default="skirted",
        help="what it looks like now (skirted unless said; greasy: skirting is still to come)",
    )
    words.add_argument(
        "--product", choices=("yarn", "singles", "roving", "batt"), help="what it is to become"
    )
    words.add_argument(
        "--yarn", type=yarn, metavar="TEXT", help='"2-ply 200 m/100g", "3 ply 1100 yd/lb", "2/8 Nm"'
    )
    words.add_argument(
        "--blend", type=named_numbers, default={}, metavar="FIBRE=PCT,...", help="label shares, %%"
    )
    words.add_argument(
        "--finished-kg", type=number(0.01, 1000), help="wanted finished weight; else all of it"
    )
    words.add_argument(
        "--piece-g", type=number(1, 5000), default=100.0, help="weight of a skein, bump or batt"
    )
    words.add_argument("--mill", metavar="NAME", help="plan with the machines and figures of this mill")
    words.add_argument("--working", action="store_true", help="show how the figures came about")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Plan and print."""
    from doffer.planning.batch import plan_order

    if args.order:
        plan = _plan_of_order(args)
    else:
        ways, tables = _mill(args)
        plan = plan_order(_spec(args, ways, tables), tables)
    lines = [line for batch in plan.batches for line in _text(batch, with_working=args.working)]
    emit(args, plan, lines)
    return 0


def _plan_of_order(args: argparse.Namespace) -> OrderPlan:
    """The plan of an order as its page shows it."""
    from doffer.cli.mills import open_records
    from doffer.errors import RefusedError

    open_records(args)
    from doffer.mill.queries.orders import one_order
    from doffer.mill.queries.plan_inputs import plan_inputs
    from doffer.office.order_spec import plan_of_order

    order = one_order(args.order)
    planned = plan_of_order(order, plan_inputs(lots=[row.lot.code for row in order.lots]))
    for remark in (*planned.problems, *planned.notes):
        refuse(remark)
    if planned.plan is None:
        raise RefusedError(f"Order {args.order} cannot be planned", ("see above",), "Mend it on its page")
    return planned.plan


def _mill(args: argparse.Namespace) -> tuple[MillWays, Tables]:
    """How the mill works: the one that is named, else the usual figures without machines."""
    from doffer.fibre.content import Basis
    from doffer.planning.spec import MillWays
    from doffer.tables.loader import load_tables

    if args.mill:
        from doffer.cli.mills import open_records

        open_records(args)
        from doffer.mill.queries.plan_inputs import plan_inputs

        inputs = plan_inputs()
        return inputs.ways, inputs.tables
    tables = load_tables()
    ways = MillWays(
        room_rh_frac=tables.plan_defaults["card_room_rh"].value,
        label_basis=Basis.EU_AGREED,
        promise_quantile=tables.plan_defaults["promise_quantile"].value,
        conditioner_frac_owf=tables.additives["conditioner/dose"].value / PERCENT,
        conditioner_water_parts=tables.additives["conditioner/water_parts"].value,
    )
    return ways, tables


def _spec(args: argparse.Namespace, ways: MillWays, tables: Tables) -> OrderSpec:
    from doffer.errors import InputError
    from doffer.planning.spec import BatchSpec, OrderSpec

    if not args.fibre:
        raise InputError("--fibre", None, "the fibre or breed; or name an order with --order")
    if len(args.fibre) != len(args.kg):
        raise InputError("--kg", len(args.kg), f"given once for each of the {len(args.fibre)} fibres")
    starts = tuple(
        _start(
            name, kg * G_PER_KG, args.form, f"{place}:{name}" if args.fibre.count(name) > 1 else name, tables
        )
        for place, (name, kg) in enumerate(zip(args.fibre, args.kg, strict=True), start=1)
    )
    return OrderSpec((BatchSpec(" + ".join(args.fibre), starts, _wish(args, tables)),), ways)


def _start(typed: str, mass_g: float, form: str, lot: str, tables: Tables) -> LotStart:
    """A lot from what is usual for its breed, else for its fibre."""
    from doffer.fibre.kinds import find_kind
    from doffer.planning.expected import expected_fibre, start_of_expected

    told = expected_fibre(find_kind(tables, typed), lot=lot, form=form, mass_g=mass_g)
    return start_of_expected(told, tables)


def _wish(args: argparse.Namespace, tables: Tables) -> Wish:
    from doffer.errors import InputError
    from doffer.fibre.kinds import find_fibre
    from doffer.planning.spec import Wish

    product = args.product or ("yarn" if args.yarn else "")
    if not product:
        raise InputError("--product", None, "yarn, singles, roving or batt; or describe a yarn with --yarn")
    plies, length = _yarn_wished(args.yarn, product, tables) if args.yarn else (1, None)
    shares: dict[str, float] = {}
    for name, percent in args.blend.items():
        label = find_fibre(tables, name).label_as
        shares[label] = shares.get(label, 0.0) + percent / PERCENT
    return Wish(
        product=product,
        plies=plies,
        length_m_per_100g=length,
        piece_mass_g=args.piece_g,
        finished_mass_g=args.finished_kg * G_PER_KG if args.finished_kg else None,
        shares=shares,
    )


def _yarn_wished(yarn: tuple[int, str], product: str, tables: Tables) -> tuple[int, float | None]:
    """Plies and metres in 100 g of `--yarn`; a count such as "2/8 Nm" says its plies itself."""
    from doffer.errors import InputError
    from doffer.exchange.counts import parse_count
    from doffer.planning.put_up import M_PER_100G_TEX

    plies, text = yarn
    length = None
    if text:
        count = parse_count(text, tables)
        plies, length = count.plies or plies, M_PER_100G_TEX / count.yarn_tex
    if product == "singles":
        if plies > 1:
            raise InputError("--yarn", text or plies, "of one strand for singles; or choose --product yarn")
        plies = 1
    if not plies:
        raise InputError("--yarn", text, f"said with its plies, such as 2-ply {text}")
    return plies, length


def _range(spread: Spread, *, unit: str) -> str:
    """Mean with its 90 % range."""
    from doffer.pictures.wording import say

    if spread.low == spread.high:
        return say(spread.mean, unit)
    return f"{say(spread.mean, unit)} ({say(spread.low, unit)} to {say(spread.high, unit)})"


def _text(batch: BatchPlan, *, with_working: bool) -> list[str]:
    from doffer.pictures.wording import say

    head = ("stage", "on the scale", "clean fibre at agreed regain", "lost, at agreed regain")
    rows = [
        (
            s.name,
            say(s.weighed.mean, "g"),
            _range(s.agreed, unit="g"),
            say(sum(mass_g for _, mass_g in s.losses_agreed_g), "g"),
        )
        for s in batch.stages
    ]
    pieces = batch.pieces
    lines = [
        f"{batch.name}: {batch.product}",
        *aligned(head, rows),
        "",
        f"Finished: {_range(batch.finished, unit='g')} at agreed regain, safe to promise "
        f"{say(batch.finished.safe, 'g')}.",
    ]
    if batch.fixed_mass_g > 0:
        lines.append(
            f"Without what the machines keep ({say(batch.fixed_mass_g, 'g')}): "
            f"{_range(batch.finished_shares_only, unit='g')}"
            + (f"; {_range(batch.length_shares_only_m, unit='m')}." if batch.length_shares_only_m else ".")
        )
    if batch.length_m:
        lines.append(f"Length: {_range(batch.length_m, unit='m')}.")
    lines.append(
        f"Pieces of {say(pieces.piece_mass_g, 'g')}: {pieces.expected} expected, "
        f"{pieces.low} to {pieces.high}; promise {pieces.safe}."
    )
    lines += [
        f"On the label ({label.basis.value.replace('_', ' ')}): {label.words}." for label in batch.labels
    ]
    if len(batch.lots) > 1:
        lines += [
            f"Take {say(lot.weighed_mass_g, 'g')} of {lot.lot} ({lot.share_frac:.0%} of it)."
            for lot in batch.lots
        ]
    lines += _after_washing(batch)
    lines += [f"{batch.limited_by} is the limit."] if batch.limited_by else []
    lines += list(batch.warnings)
    lines += [f"{stage.name}: {dose.name}, {dose.words}" for stage in batch.stages for dose in stage.doses]
    return lines + (_workings(batch) if with_working else [])


def _after_washing(batch: BatchPlan) -> list[str]:
    """What is weighed out of lots that are still in the grease, once they are washed."""
    from doffer.pictures.bench import say_weighed_when

    forms = {lot.lot: lot.form for lot in batch.lots}
    lines = batch.weigh_out.lines if batch.weigh_out else ()
    said = (
        (line.name, say_weighed_when(forms[line.name], line.weigh_mass_g, batch.meeting_stage))
        for line in lines
    )
    return [f"Weigh out of {name} {words}." for name, words in said if words]


def _workings(batch: BatchPlan) -> list[str]:
    workings: list[Any] = [lot.working for lot in batch.lots]
    workings += [batch.finished_working, batch.length_working, batch.pieces.working]
    return ["", "How it came about:", *(line for w in workings if w is not None for line in working_lines(w))]
