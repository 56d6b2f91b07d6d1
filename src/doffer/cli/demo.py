"""`doffer demo`: make the invented mill, or put it back to how it was."""

from __future__ import annotations

import argparse

from doffer.cli.output import add_json_option, emit

EXAMPLE = """\
examples:
  doffer demo             make the invented mill if it is not there
  doffer demo --reset     throw away what was tried in it and make it anew
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "demo",
        help="make or reset the invented mill",
        description="The invented mill Quillfern Hollow, to try things in. Your own mill is never touched.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("--reset", action="store_true", help="throw its records away first")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the demo's folder and records."""
    from doffer.mill.folder import CARD, DEMO, begin_demo, data_root
    from doffer.serve import startup
    from doffer.serve.lock import hold

    root = data_root()
    folder = root / DEMO
    is_new = args.reset or not (folder / CARD).exists()
    if is_new:
        with hold(folder, "demo"):
            startup.throw_away(folder)
            begin_demo(root)
            startup.prepare(folder, "commands")
    word = "made" if is_new else "is there already (--reset makes it anew)"
    emit(args, {"folder": folder, "made": is_new}, [f"The invented mill in {folder} {word}."])
    return 0
