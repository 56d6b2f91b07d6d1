"""`doffer import`: lots from a CSV or XLSX file, shown first, then kept all or none."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from doffer.cli.mills import acting_owner, add_mill_option, open_records
from doffer.cli.output import add_json_option, aligned, emit
from doffer.cli.typed import whole_numbers

if TYPE_CHECKING:
    from doffer.exchange.desk import Beside
    from doffer.exchange.lots import ImportPreview

EXAMPLE = """\
examples:
  doffer import farm.csv --owner C03               show what every line would become; keeps nothing
  doffer import farm.csv --owner C03 --keep        keep it, if every line was understood
  doffer import farm.xlsx --keep --drop 4,7        keep all but rows 4 and 7
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

    preview = preview_lots(args.file.read_bytes(), args.file.name, _beside(args.owner))
    kept = _keep(args, preview) if args.keep else ()
    emit(args, {"preview": preview, "kept": kept}, _text(preview, kept))
    return 0 if kept or not preview.n_refused else 1


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


def _keep(args: argparse.Namespace, preview: ImportPreview) -> tuple[Any, ...]:
    from doffer.exchange.lots import lots_of
    from doffer.mill.commands.import_lots import import_lots

    rows = [lot for _, lot in lots_of(preview, drop=args.drop)]
    return import_lots(acting_owner(), rows, file_name=preview.file_name)


def _text(preview: ImportPreview, kept: tuple[Any, ...]) -> list[str]:
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
    if kept:
        lines.append(f"{len(kept)} lots are kept: {', '.join(lot.lot for lot in kept)}.")
    else:
        lines.append("Nothing was kept (--keep does that).")
    return lines


MG_PER_KG = 1_000_000
