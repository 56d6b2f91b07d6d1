"""`doffer count`: one yarn count in all systems, its strands and its class."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from doffer.cli.output import add_json_option, aligned, emit, working_lines

if TYPE_CHECKING:
    from doffer.exchange.count_said import TypedCount
    from doffer.tables.loader import Tables

EXAMPLE = """\
examples:
  doffer count "2/8 Nm"
  doffer count "1100 yd/lb" --plies 2
  doffer count "450 m/100g" --to tex
  doffer count "R 421 tex / 2" --to yd/lb --json
  doffer count "2/16 leas of 300 yd/lb" --working
spellings:
  2/8 Nm, Nm 8, 2/8s worsted, 12 NeW, 20/2 Ne, 8/2 cotton, 3 run, 20 cut, 18 Yorkshire skein, 80 tex,
  210.6 tex x 2, R 421 tex / 2, 20 denier, 250 m/100g, 105 m/50 g, 1100 yd/lb, 560 yd/4oz, 50 gr/yd, 3.5 g/m,
  2-ply 250 m/100g, 2 strands of 3 run, 20 hanks of 300 yd/lb
"""
FROM_MEMORY = "in the style of ISO 1139, from memory, unverified"


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "count",
        help="one yarn count in all systems",
        description=(
            "Say a yarn count in all systems, for each strand and for the yarn. Take-up in plying and what "
            "washing shortens are not in it. What can be read in two ways is asked."
        ),
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("count", metavar="COUNT", help='as it is said, such as "2/8 Nm" or "1100 yd/lb"')
    words.add_argument("--plies", type=int, metavar="N", help="strands, where the count does not say them")
    words.add_argument("--to", metavar="SYSTEM", help="only this system: Nm, tex, Ne, NeW, yd/lb, m/100g ...")
    words.add_argument("--working", action="store_true", help="show how the figure came about")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Read the count and print it."""
    from doffer.exchange.counts import parse_count
    from doffer.tables.loader import load_tables

    tables = load_tables()
    count = _with_plies(parse_count(args.count, tables), args.plies, args.count)
    system = _system(args.to, tables) if args.to else ""
    lines = [_one(count, system, tables)] if system else _all(count, tables)
    if args.working:
        lines += ["", *_working(count, tables)]
    emit(args, _data(count, system, tables), lines)
    return 0


def _with_plies(count: TypedCount, plies: int | None, typed: str) -> TypedCount:
    from doffer.errors import InputError
    from doffer.planning.spec import MAX_PLIES

    if plies is None:
        return count
    if not 1 <= plies <= MAX_PLIES:
        raise InputError("--plies", plies, f"from 1 to {MAX_PLIES}")
    if count.plies is not None and count.plies != plies:
        raise InputError("--plies", plies, f"{count.plies} as “{typed}” says itself, or left out")
    return count.with_plies(plies)


def _system(typed: str, tables: Tables) -> str:
    """Key of the system of `--to`, by its key or by how it is spelt beside a figure."""
    from doffer.errors import InputError, NotFoundError
    from doffer.exchange.counts import parse_count

    if typed in tables.counts:
        return typed
    for words in (f"1 {typed}", f"100 {typed}"):  # the second is within what a yarn can be in any system
        try:
            system = parse_count(words, tables).system
        except InputError:
            continue
        if system in tables.counts:  # a hank of one's own can be read but has no row
            return system
    raise NotFoundError("count system", typed, f"Known are {', '.join(tables.counts)}")


def _counts(count: TypedCount, tables: Tables) -> tuple[dict[str, float] | None, dict[str, float]]:
    """Each strand and the yarn in every system; no strand where their number is not known."""
    from doffer.fibre.count import all_counts

    single_tex = count.single_tex
    single = None if single_tex is None else all_counts(tables, count_tex=single_tex)
    return single, all_counts(tables, count_tex=count.yarn_tex)


def _one(count: TypedCount, system: str, tables: Tables) -> str:
    single, yarn = _counts(count, tables)
    name = tables.counts[system].name
    words = f"{_figure(yarn[system])} {name}"
    if single is None or count.plies == 1:
        return words
    return f"{words}; each of {count.plies} strands {_figure(single[system])} {name}"


def _all(count: TypedCount, tables: Tables) -> list[str]:
    from doffer.exchange.count_words import designation, say_typed_count

    single, yarn = _counts(count, tables)
    said = say_typed_count(count, tables)
    is_folded = single is not None and count.plies != 1
    head = ["system", "unit", *(["each strand"] if is_folded else []), "yarn"]
    rows = [
        [
            row.name,
            row.definition,
            *([_figure(single[key])] if single is not None and is_folded else []),
            _figure(yarn[key]),
        ]
        for key, row in tables.counts.items()
    ]
    lines = [said.headline, *said.notes, "", *aligned(head, rows), ""]
    if said.sold_as:
        lines.append(f"{said.sold_as} Names differ between charts: the gauge of a washed swatch decides.")
    written = designation(count)
    lines += [f"Written {' or '.join(written)} ({FROM_MEMORY})."] if written else []
    if count.plies is None:
        lines.append("How many strands it has was not said: give --plies to see each of them.")
    return lines


def _working(count: TypedCount, tables: Tables) -> list[str]:
    from doffer.exchange.count_said import OWN_HANK
    from doffer.fibre.count import count_working

    if count.system == OWN_HANK:
        tex = f"1000 / ({_figure(count.number)} hanks x {_figure(count.hank_m_per_g)} m/g)"
        return [f"  tex = {tex}, by the hank as it was given"]
    return working_lines(count_working(tables, system=count.system, count=count.number), indent="  ")


def _data(count: TypedCount, system: str, tables: Tables) -> dict[str, Any]:
    from doffer.exchange.count_said import spell
    from doffer.exchange.count_words import class_of, designation

    single, yarn = _counts(count, tables)
    if system:
        single = None if single is None else {system: single[system]}
        yarn = {system: yarn[system]}
    return {
        "typed": count,
        "spelt": spell(count),
        "single_tex": count.single_tex,
        "single": single,
        "yarn": yarn,
        "thickness_class": class_of(count, tables),
        "designation_from_memory": designation(count),
    }


def _figure(value: float) -> str:
    """Four significant figures, whole from a thousand on, without needless noughts."""
    return f"{value:.0f}" if value >= 1000 else f"{value:.4g}"
