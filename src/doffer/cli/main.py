"""`doffer`: reads the words, runs the verb, turns every refusal into one sentence and an exit code.

Exit code 0: done. 1: refused or not found, the sentence says why. 2: the words were not understood.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence

from doffer import __version__
from doffer.cli import (
    backup,
    cli_docs,
    count,
    demo,
    dose,
    evenness,
    export,
    import_file,
    init,
    plan,
    restore,
    serve,
    shade,
    table,
    weigh_out,
    worker,
    yarn,
)
from doffer.cli.output import refuse
from doffer.errors import DofferError

VERBS = (
    serve,
    demo,
    init,
    plan,
    weigh_out,
    count,
    yarn,
    dose,
    shade,
    evenness,
    table,
    import_file,
    export,
    backup,
    restore,
    worker,
    cli_docs,
)
STOPPED = 130


def parser() -> argparse.ArgumentParser:
    """All words of the command."""
    top = argparse.ArgumentParser(
        prog="doffer",
        description="From bags of fleece to labelled roving and yarn: plans and records of a fibre mill.",
        epilog="`doffer VERB --help` explains a verb, with an example.",
    )
    top.add_argument("--version", action="version", version=f"doffer {__version__}")
    verbs = top.add_subparsers(metavar="VERB", required=True)
    for verb in VERBS:
        verb.add(verbs)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit code."""
    top = parser()
    args = top.parse_args(argv)
    args.top = top
    try:
        return int(args.run(args))
    except DofferError as error:
        refuse(str(error))
        return 1
    except BrokenPipeError:
        # The reader (`| head`) has left; without this Python complains once more while closing.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return STOPPED
    except Exception as error:  # noqa: BLE001 - the edge of the program: a person gets a sentence
        refuse(_unexpected(error))
        return 1


def _unexpected(error: Exception) -> str:
    """Keep the details in a file and say where."""
    from doffer.mill.folder import data_root

    path = data_root() / "last-error.txt"
    sentence = f"something went wrong that should not have ({type(error).__name__}: {error})"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        return f"{sentence}."
    return f"{sentence}. The details are in {path}."


if __name__ == "__main__":
    sys.exit(main())
