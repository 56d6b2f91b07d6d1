"""`doffer export`: lots, orders or the weighings of a lot as CSV, XLSX or JSON."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from doffer.cli.import_file import all_pages
from doffer.cli.mills import add_mill_option, open_records
from doffer.cli.output import add_json_option, emit

EXAMPLE = """\
examples:
  doffer export lots > lots.csv
  doffer export orders --to orders.xlsx
  doffer export weighings --lot L008 --json
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "export",
        help="lots, orders or weighings as CSV or XLSX",
        description="Write what stands in the mill to a file. A list of lots can be imported again.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("what", choices=("lots", "orders", "weighings"), help="what to write")
    words.add_argument("--lot", metavar="NUMBER", help="whose weighings")
    words.add_argument("--to", type=Path, metavar="FILE", help="a .csv or .xlsx file; else CSV to the screen")
    add_mill_option(words)
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    from doffer.errors import ConflictError, InputError

    if args.what == "weighings" and not args.lot:
        raise InputError("--lot", None, "the number of the lot whose weighings are wanted")
    if args.to and args.to.exists():
        raise ConflictError(f"{args.to} exists already", "Choose another name")
    open_records(args)
    rows = _rows(args)
    if args.json:
        emit(args, rows, ())
        return 0
    content = _file(args.what, rows, "xlsx" if args.to and args.to.suffix == ".xlsx" else "csv")
    if args.to is None:
        sys.stdout.write(content.decode("utf-8-sig"))
        return 0
    args.to.write_bytes(content)
    print(f"{len(rows)} {args.what} are in {args.to}.")
    return 0


def _rows(args: argparse.Namespace) -> list[Any]:
    from doffer.mill.queries import lot_lines, lots, orders

    if args.what == "orders":
        return list(all_pages(orders.list_orders, state="all"))
    if args.what == "lots":
        return list(all_pages(lot_lines.lot_lines))
    lots.one_lot(args.lot)  # says it in a sentence when there is none
    return list(all_pages(lambda after: lots.list_weighings(args.lot, before=after)))


def _file(what: str, rows: list[Any], kind: str) -> bytes:
    from doffer.exchange import export

    write = {"lots": export.export_lots, "orders": export.export_orders, "weighings": export.export_weighings}
    return write[what](rows, kind=kind)
