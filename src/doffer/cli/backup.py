"""`doffer backup`: a checked safety copy, also while the mill is being served."""

from __future__ import annotations

import argparse
from pathlib import Path

from doffer.cli.mills import add_mill_option, mill_path
from doffer.cli.output import add_json_option, aligned, emit

EXAMPLE = """\
examples:
  doffer backup                           a copy in the mill's folder backups/
  doffer backup --bundle /media/stick/mill.zip   the same, and everything in one file
  doffer backup --list
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "backup",
        help="make a checked safety copy of a mill",
        description="Copy records and photos, check the copy, keep 7 daily, 5 weekly and 12 monthly ones.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_mill_option(words)
    words.add_argument(
        "--bundle", type=Path, metavar="FILE", help="also pack records and photos into one zip"
    )
    words.add_argument("--list", action="store_true", help="only list the copies there are")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make a copy, or list them."""
    from doffer.serve import backup as copies
    from doffer.serve.startup import database_url

    folder = mill_path(args.mill)
    if args.list:
        found = [
            (path.name, path.stat().st_size, copies.manifest_of(path).get("made_at", ""))
            for path in copies.listed(folder)
        ]
        data = [{"name": name, "size_bytes": size, "made_at": at} for name, size, at in found]
        emit(args, data, aligned(("copy", "bytes", "made at"), found))
        return 0
    made = copies.back_up(folder, database_url(folder))
    lines = [f"{made.path}: {made.database.size_bytes:,} bytes, {len(made.media)} photos, checked."]
    if args.bundle:
        copies.bundle(folder, made, args.bundle)
        lines.append(f"{args.bundle}: everything in one file.")
    emit(args, {"backup": made, "bundle": args.bundle}, lines)
    return 0
