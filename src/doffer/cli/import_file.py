"""`doffer import`: lots from a CSV or XLSX file, shown first, then kept all or none."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from doffer.cli.mills import acting_owner, add_mill_option, open_records
from doffer.cli.output import add_json_option, aligned, emit
from doffer.cli.typed import whole_numbers

if TYPE_CHECKING:
    from doffer.exchange.desk import Beside
    from doffer.exchange.lots import ImportPreview
    from doffer.exchange.owners import UnknownOwner
    from doffer.mill.commands.import_lots import CameIn

OWNER_MEND = (
    "Correct the name, or let --record-owners record new owners with their lots"
    " (--record-owner NAME for one whose name is like a known one)."
)
EXAMPLE = """\
examples:
  doffer import farm.csv --owner C03               show what every line would become; keeps nothing
  doffer import farm.csv --owner C03 --keep        keep it, if every line was understood
  doffer import farm.xlsx --keep --drop 4,7        keep all but rows 4 and 7
  doffer import farms.csv --keep --record-owners   record owners the mill does not know, with their lots
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "import",
        help="lots from a CSV or XLSX file",
        description="Read a list of lots and say of each line what it becomes; keep all of it or nothing.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("file", type=Path, help="the list, .csv or .xlsx")
    words.add_argument("--owner", default="", metavar="CODE", help="owner of every line that names none")
    words.add_argument("--keep", action="store_true", help="keep the lots; without it they are only shown")
    words.add_argument(
        "--drop", type=whole_numbers, default=(), metavar="ROWS", help="rows to leave out, such as 4,7"
    )
    words.add_argument(
        "--record-owners",
        action="store_true",
        help="record owners the mill does not know, all but those whose names are like a known one",
    )
    words.add_argument(
        "--record-owner",
        action="append",
        default=[],
        metavar="NAME",
        help="record this owner, also when the name is like a known one; may be repeated",
    )
    add_mill_option(words)
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Preview, and keep when asked to; 1 when a line was refused and nothing was kept."""
    from doffer.errors import NotFoundError

    if not args.file.is_file():
        raise NotFoundError("file", str(args.file), "Look at its name and folder")
    open_records(args)
    from doffer.exchange.lots import preview_lots

    data, beside = args.file.read_bytes(), _beside(args.owner)
    preview = preview_lots(data, args.file.name, beside)
    new = _new_owners(args, preview)
    if new:
        preview = preview_lots(data, args.file.name, replace(beside, new_owners=new))
    came = _keep(args, preview, tuple(new.values())) if args.keep else None
    kept, owners = (came.lots, came.owners) if came else ((), ())
    emit(args, {"preview": preview, "kept": kept, "owners": owners}, _text(preview, kept, owners))
    return 0 if kept or not preview.n_refused else 1


def _new_owners(args: argparse.Namespace, preview: ImportPreview) -> dict[str, str]:
    """Owners of the file who are to be recorded, as the words on the command line say."""
    from doffer.errors import InputError
    from doffer.exchange.owners import name_key

    unknown = {name_key(owner.name): owner for owner in preview.unknown_owners}
    named = {name_key(name): name for name in args.record_owner}
    for key, name in named.items():
        if key not in unknown:
            strangers = ", ".join(owner.name for owner in unknown.values()) or "nobody"
            raise InputError("--record-owner", name, f"an owner the mill does not know; here: {strangers}")
    return {
        key: owner.name
        for key, owner in unknown.items()
        if key in named or (args.record_owners and not owner.near)
    }


def _beside(owner: str) -> Beside:
    from doffer.exchange.desk import Beside
    from doffer.mill import clock
    from doffer.mill.queries import customers, house, known
    from doffer.mill.queries.tables import current_tables

    made = {row.key: row.value for row in house.settings()}
    units = customers.one_customer(owner).row.units if owner else made["units"]
    return Beside(
        tables=current_tables(),
        today=clock.today(),
        owner=owner,
        owners=known.owner_names(),
        owner_mend=OWNER_MEND,
        taken_tags=known.lot_numbers(),
        units=units,
    )


def all_pages(query: Any, **words: Any) -> Iterator[Any]:
    """Every row of a query that gives pages."""
    after = None
    while True:
        page = query(**words, after=after)
        yield from page.rows
        after = page.next_after
        if after is None:
            return


def _keep(args: argparse.Namespace, preview: ImportPreview, new_owners: tuple[str, ...]) -> CameIn:
    from doffer.exchange.lots import lots_of
    from doffer.mill.commands.import_lots import import_lots

    rows = [lot for _, lot in lots_of(preview, drop=args.drop)]
    return import_lots(acting_owner(), rows, file_name=preview.file_name, new_owners=new_owners)


def _text(preview: ImportPreview, kept: tuple[Any, ...], owners: tuple[Any, ...]) -> list[str]:
    rows = [
        (
            row.number,
            (row.lot.tag or "next number") if row.lot else "refused",
            row.lot.fibre if row.lot else "",
            f"{(row.lot.net_mass_mg or 0) / MG_PER_KG:.3f}" if row.lot else "",
            " ".join((*row.sentences, *row.remarks)),
        )
        for row in preview.rows
    ]
    lines = [*preview.remarks, *aligned(("row", "lot", "fibre", "net kg", "what was said of it"), rows)]
    lines.append(f"{preview.n_understood} understood, {preview.n_refused} refused.")
    lines += [_unknown(owner) for owner in preview.unknown_owners if not kept]
    if owners:
        named = ", ".join(f"{owner.name} ({owner.code})" for owner in owners)
        lines.append(f"Recorded as new owners: {named}.")
    if kept:
        lines.append(f"{len(kept)} lots are kept: {', '.join(lot.lot for lot in kept)}.")
    else:
        lines.append("Nothing was kept (--keep does that).")
    return lines


def _unknown(owner: UnknownOwner) -> str:
    """An owner the mill does not know, with who it may be."""
    bags = "1 bag" if owner.n_bags == 1 else f"{owner.n_bags} bags"
    near = " or ".join(f"{name} ({number})" for name, number in owner.near)
    return f"Not known here: {owner.name}, {bags}." + (f" Did you mean {near}?" if near else "")


MG_PER_KG = 1_000_000
