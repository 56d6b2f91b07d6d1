"""What is said of the fibre announced for an order: a line in the feed of changes, which is only added to."""

from __future__ import annotations

from typing import Final

from doffer.mill.models import Change

FIBRE_TOPIC: Final = "order fibre"
ALL_HERE: Final = "that is all of it"
MORE_COMES: Final = "more is still to come"


def is_all_here(order: str) -> bool:
    """Whether the newest word about an order's fibre is that all of it is here; one query."""
    newest = Change.objects.filter(topic=FIBRE_TOPIC, subject=order).order_by("-pk")
    return newest.values_list("what", flat=True).first() == ALL_HERE
