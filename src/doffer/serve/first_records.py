"""The first records of a mill that was begun: the answers carried out, or the invented mill brought in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from doffer.mill.commands.start_mill import Answers, start_mill
from doffer.mill.queries import house


def carry_out(card: Mapping[str, Any]) -> None:
    """Make the records that `mill.json` asks for; a mill that has people in it was interrupted after that."""
    if house.is_started():
        return
    if card.get("kind") == "demo":
        from doffer.mill.demo.load import load_demo

        load_demo()
        return
    answers = card["start"]
    start_mill(Answers(**{**answers, "machines": tuple(answers["machines"])}))
