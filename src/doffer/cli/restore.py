"""`doffer restore`: put a safety copy back while the mill is stopped."""

from __future__ import annotations

import argparse
from pathlib import Path

from doffer.cli.mills import add_mill_option, mill_path
from doffer.cli.output import add_json_option, emit

EXAMPLE = """\
examples:
  doffer restore 20261103-0200                 a copy of the list of `doffer backup --list`
  doffer restore /media/stick/mill.zip --mill mill
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "restore",
        help="put a safety copy back",
        description="Check a copy and put it in place of the records; what it replaces is kept in backups/.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("copy", help="name of a copy, or a .sqlite3, .pgdump or .zip file")
    add_mill_option(words)
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Put it back."""
    from doffer.serve.restore import restore
    from doffer.serve.startup import database_url

    folder = mill_path(args.mill)
    done = restore(folder, _source(folder, args.copy), database_url(folder))
    lines = [f"{done.source.name} is back in {folder}; {done.photos} photos were brought back."]
    if done.replaced:
        lines.append(f"The records it replaced are kept in {done.replaced}.")
    emit(args, done, lines)
    return 0


def _source(folder: Path, name: str) -> Path:
    """A file as given, or a copy in the mill's own store by its name."""
    store = folder / "backups"
    choices = (Path(name), store / name, store / f"{name}.sqlite3", store / f"{name}.pgdump")
    return next((path for path in choices if path.is_file()), Path(name))
