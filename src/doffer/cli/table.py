"""`doffer table`: the figures behind every answer, with their sources, and the mill's own over them."""

from __future__ import annotations

import argparse
from typing import Any

from doffer.cli.mills import add_mill_option
from doffer.cli.output import add_json_option, aligned, emit, plain

EXAMPLE = """\
examples:
  doffer table                                          all tables
  doffer table show regain                              one table
  doffer table show regain wool/carded/eu_agreed        one row with all its cells
  doffer table set stage_losses card/wool dry_loss_mode_pct 6 --reason "ten runs in 2026"
  doffer table withdraw stage_losses card/wool dry_loss_mode_pct
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb and the acts below it."""
    words = verbs.add_parser(
        "table",
        help="show the figures and their sources; put your own over them",
        description="The shipped figures with source and status, and the mill's own figures over them.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _options(words)
    words.set_defaults(run=run_list)
    acts = words.add_subparsers(metavar="ACT")
    listing = acts.add_parser("list", help="all tables", description="List all tables.")
    _options(listing, below=True)
    listing.set_defaults(run=run_list)
    show = acts.add_parser(
        "show", help="one table or one row", description="Show one table, or one row with all cells."
    )
    show.add_argument("table", help="name of the table")
    show.add_argument("row", nargs="?", help="key of a row")
    _options(show, below=True)
    show.set_defaults(run=run_show)
    put = acts.add_parser(
        "set", help="put your own figure over a cell", description="Put the mill's own figure over a cell."
    )
    _cell_words(put)
    put.add_argument("value", help="the mill's own figure")
    put.add_argument("--reason", default="", help="why, for those who read it later")
    _options(put, below=True)
    put.set_defaults(run=run_set)
    withdraw = acts.add_parser(
        "withdraw", help="go back to the shipped figure", description="Take the mill's own figure back."
    )
    _cell_words(withdraw)
    _options(withdraw, below=True)
    withdraw.set_defaults(run=run_withdraw)


def _cell_words(words: argparse.ArgumentParser) -> None:
    words.add_argument("table", help="name of the table")
    words.add_argument("row", help="key of the row")
    words.add_argument("column", help="name of the column")


def _options(words: argparse.ArgumentParser, *, below: bool = False) -> None:
    """`--mill` and `--json`; an act below the verb must not put its defaults over what stands before it."""
    add_mill_option(words)
    add_json_option(words)
    for option in words._actions if below else ():
        if option.dest in ("mill", "json"):
            option.default = argparse.SUPPRESS


def run_list(args: argparse.Namespace) -> int:
    """All tables with their purpose and how many rows rest on what."""
    from doffer.tables.catalogue import TABLES

    tables = _tables(args)
    data = [
        {"table": name, "rows": len(tables.table(name)), "title": info.title, "purpose": info.purpose}
        for name, info in TABLES.items()
    ]
    emit(
        args,
        data,
        aligned(("table", "rows", "what it is for"), [(d["table"], d["rows"], d["purpose"]) for d in data]),
    )
    return 0


def run_show(args: argparse.Namespace) -> int:
    """One table, or one row with all cells."""
    tables = _tables(args)
    table = tables.table(args.table)
    if args.row is None:
        data = [{"key": key, **plain(row)} for key, row in table.items()]
        emit(args, data, _table_lines(args.table, data))
        return 0
    row = _row(args.table, table, args.row)
    original = plain(tables.original.table(args.table)[args.row])
    cells = plain(row)
    shown = [
        (name, value, original[name] if original[name] != value else "") for name, value in cells.items()
    ]
    emit(
        args, {"key": args.row, **cells, "shipped": original}, aligned(("column", "figure", "shipped"), shown)
    )
    return 0


def run_set(args: argparse.Namespace) -> int:
    """Put the mill's own figure over a cell."""
    from doffer.cli.mills import acting_owner, open_records

    open_records(args)
    from doffer.mill.commands.tables import override_cell

    override_cell(
        acting_owner(),
        table=args.table,
        row=args.row,
        column=args.column,
        value=args.value,
        reason=args.reason,
    )
    return _after(args)


def run_withdraw(args: argparse.Namespace) -> int:
    """Go back to the shipped figure."""
    from doffer.cli.mills import acting_owner, open_records

    open_records(args)
    from doffer.mill.commands.tables import withdraw_cell

    withdraw_cell(acting_owner(), table=args.table, row=args.row, column=args.column)
    return _after(args)


def _after(args: argparse.Namespace) -> int:
    args.row = args.row or None
    return run_show(args)


def _tables(args: argparse.Namespace) -> Any:
    """The shipped tables, with the mill's own figures when there is a mill to read them from."""
    from doffer.cli.mills import open_records
    from doffer.mill.folder import data_root, mill_folders
    from doffer.tables.loader import load_tables

    if args.mill is None and not mill_folders(data_root()):
        return load_tables()
    open_records(args)
    from doffer.mill.queries.tables import current_tables

    return current_tables()


def _row(name: str, table: Any, key: str) -> Any:
    from doffer.errors import NotFoundError

    if key not in table:
        near = [known for known in table if key in known][:3]
        hint = f"Did you mean {' or '.join(near)}" if near else f"`doffer table show {name}` lists them"
        raise NotFoundError(f"row of table {name}", key, hint)
    return table[key]


def _table_lines(name: str, data: list[dict[str, Any]]) -> list[str]:
    """Key, figures, source and status; the note is left to `show TABLE ROW`."""
    from doffer.working import STATUS_WORDS

    if not data:
        return [f"Table {name} is empty."]
    left_out = ("key", "note", "place", "status", "source")
    figures = [column for column in data[0] if column not in left_out]
    head = ("key", *figures, "source", "status")
    rows = [
        (d["key"], *(d[c] for c in figures), d.get("source", ""), STATUS_WORDS.get(d.get("status", ""), ""))
        for d in data
    ]
    return aligned(head, rows)
