"""`doffer worker`: carries out long work of a mill; the server starts one by itself."""

from __future__ import annotations

import argparse
import json
import os
import signal

from doffer.cli.mills import add_mill_option, mill_path

EXAMPLE = """\
examples:
  doffer worker --mill mill          work until Ctrl-C
  doffer worker --mill mill --once   work off what waits, then stop
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "worker",
        help="carry out the long work that waits",
        description="Carry out long work (safety copies, checks of all records), one after the other.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_mill_option(words)
    words.add_argument("--once", action="store_true", help="stop when nothing waits any more")
    words.add_argument("--kind", help=argparse.SUPPRESS)
    words.add_argument("--params", help=argparse.SUPPRESS)
    words.add_argument("--stop-with-parent", action="store_true", help=argparse.SUPPRESS)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Work; with the hidden words, be the process of one piece of work."""
    from doffer.serve import startup
    from doffer.serve.children import stop_with_parent

    folder = mill_path(args.mill)
    startup.open_mill(folder, "worker")
    from doffer.serve.worker import Worker, do_chore

    if args.kind is not None:
        stop_with_parent(lambda: os._exit(1))
        return do_chore(folder, args.kind, json.loads(args.params or "{}"))
    worker = Worker(folder)
    signal.signal(signal.SIGTERM, lambda _number, _frame: worker.stop())
    if args.stop_with_parent:
        stop_with_parent(worker.stop)
    worker.run(until_idle=args.once)
    return 0
