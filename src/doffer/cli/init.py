"""`doffer init`: begin a mill of one's own, from five answers."""

from __future__ import annotations

import argparse
import sys

from doffer.cli.output import add_json_option, emit

EXAMPLE = """\
example:
  doffer init --name "Barrow Lane Mill" --units metric --rules UK \\
      --machine card --machine picker --you Ida
"""
QUESTIONS = (
    ("name", "What is your mill called?"),
    ("units", "Units, metric or us?"),
    ("country_rules", "Whose rules for labels, EU, UK, US or CA?"),
    ("your_name", "Who are you (the name on the records)?"),
)


def add(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """The words of this verb."""
    words = verbs.add_parser(
        "init",
        help="begin a mill of your own",
        description="Begin a mill of your own beside the invented one. What is not given is asked.",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    words.add_argument("--name", help="what the mill is called")
    words.add_argument("--units", choices=("metric", "us"), help="kg and metres, or pounds and yards")
    words.add_argument(
        "--rules", dest="country_rules", choices=("EU", "UK", "US", "CA"), help="whose rules labels follow"
    )
    words.add_argument(
        "--machine",
        action="append",
        default=[],
        metavar="KIND",
        help="a machine you have, of table machine_kinds; may be repeated",
    )
    words.add_argument("--you", dest="your_name", help="who runs the mill")
    add_json_option(words)
    words.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the folder and the first records."""
    from doffer.mill.folder import StartAnswers, begin_own_mill, data_root
    from doffer.serve import startup
    from doffer.serve.lock import hold

    answers = StartAnswers(**_answers(args), machines=tuple(args.machine))
    folder = begin_own_mill(data_root(), answers)
    with hold(folder, "init"):
        startup.prepare(folder, "commands")
    emit(args, {"folder": folder, "name": answers.name}, [f"{answers.name} begins in {folder}."])
    return 0


def _answers(args: argparse.Namespace) -> dict[str, str]:
    """What was given, and what a person at the keyboard answers to the rest."""
    answers = {}
    for key, question in QUESTIONS:
        value = getattr(args, key)
        if value is None and sys.stdin.isatty():
            value = input(f"{question} ")
        answers[key] = (value or "").strip()
    return answers
