"""Run measurements by name and print them as a table or as JSON."""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import json
import sys

# what is asked for -> its module; a module named colour would hide the library of that name
NAMES = {
    "plan": "plan",
    "colour": "shades",
    "evenness": "evenness",
    "evenness-plan": "evenness_plan",
    "pages": "pages",
}


def main() -> int:
    """Measure what was asked for; 1 when a target is missed."""
    parser = argparse.ArgumentParser(
        prog="bench/run", description="Measure Doffer beside references; ratios travel between machines."
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one of {', '.join(NAMES)}; none: all")
    parser.add_argument("--json", action="store_true", help="a JSON list of figures")
    asked = parser.parse_args()
    unknown = set(asked.names) - set(NAMES)
    if unknown:
        print(
            f"There is no measurement {', '.join(sorted(unknown))}; known: {', '.join(NAMES)}.",
            file=sys.stderr,
        )
        return 2
    figures = [f for name in asked.names or NAMES for f in importlib.import_module(NAMES[name]).measure()]
    if asked.json:
        print(json.dumps([dataclasses.asdict(figure) for figure in figures], indent=1))
    else:
        for f in figures:
            ratio = "-" if f.ratio is None else f"{f.ratio:.3g}"
            verdict = {True: "met", False: "MISSED", None: ""}[f.met]
            told = f"{f.name:52} {f.value:10.4g} {f.unit:8} ratio {ratio:>8} to {f.reference:28}"
            print(f"{told} {f.target:12} {verdict}")
    return 1 if any(figure.met is False for figure in figures) else 0


if __name__ == "__main__":
    sys.exit(main())
