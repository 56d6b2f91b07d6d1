"""`doffer serve`: the mill in the browser of this computer."""

from __future__ import annotations

import argparse
from pathlib import Path

DEMO_PORT = 8765
EXAMPLE = """\
examples:
  doffer serve                     the invented mill on 8765, your own beside it on 8766
  doffer serve --mill mill         only your own mill
  doffer serve --port 9000         on 9000 and 9001
"""


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "serve",
        help="serve the mills to the browser of this computer",
        description="Serve every mill of this computer, each from a process of its own, until Ctrl-C.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("--mill", metavar="NAME", help="only this mill: demo, mill, or a data folder")
    words.add_argument("--root", type=Path, metavar="FOLDER", help="where the mills are kept")
    words.add_argument("--host", default="127.0.0.1", help="address to serve on (this computer only)")
    words.add_argument(
        "--port", type=int, default=DEMO_PORT, help="port of the invented mill; your own takes the next one"
    )
    words.add_argument("--stop-with-parent", action="store_true", help=argparse.SUPPRESS)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Serve until stopped."""
    from doffer.cli.mills import mill_path
    from doffer.mill.folder import OWN, data_root
    from doffer.serve.server import require_loopback, serve_mill
    from doffer.serve.supervisor import Supervisor

    require_loopback(args.host)
    if args.mill is None:
        root = args.root or data_root()
        return Supervisor(root, demo_port=args.port, own_port=args.port + 1).run()
    folder = mill_path(args.mill)
    port = args.port + 1 if args.port == DEMO_PORT and folder.name == OWN else args.port
    serve_mill(folder, host=args.host, port=port, is_child=args.stop_with_parent, say=_say)
    return 0


def _say(line: str) -> None:
    print(line, flush=True)
