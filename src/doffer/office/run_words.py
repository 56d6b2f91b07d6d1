"""What the form of a stage asks: its name as an act, usual wastes, the water in what comes out."""

from __future__ import annotations

from typing import Final

from doffer.mill.queries.runs import WET_AFTER

STAGE_WORDS: Final = {
    "skirt": "Skirt and grade",
    "tumble": "Tumble",
    "wash": "Wash",
    "extract": "Spin out water",
    "dry": "Dry",
    "dye": "Dye",
    "pick": "Pick",
    "rest": "Rest",
    "dehair": "Dehair",
    "card": "Card",
    "draw": "Draw",
    "spin": "Spin",
    "ply": "Ply",
    "set": "Set the twist",
    "skein": "Skein",
}
WASTES: Final = {
    "tumble": ("dust and sand",),
    "wash": ("felted bits",),
    "dry": ("lost on the rack",),
    "pick": ("dust and hay", "sweepings"),
    "dehair": ("guard hair", "sweepings"),
    "card": ("strips", "droppings and fly", "sweepings"),
    "draw": ("ends and lap-ups",),
    "spin": ("roving ends", "yarn ends"),
    "ply": ("bobbin ends",),
    "skein": ("yarn ends",),
}
OTHER_WASTE: Final = "something else"
CONTAINER_AFTER: Final = {
    "wash": "bin",
    "dry": "rack",
    "card": "can",
    "draw": "can",
    "spin": "bobbin",
    "ply": "bobbin",
    "skein": "box",
}
CONTAINERS: Final = tuple(
    (kind, kind.capitalize()) for kind in ("bag", "bin", "rack", "can", "bobbin", "cone", "tray", "box")
)
FORMS_OUT: Final = {"card": (("roving", "Roving"), ("batt", "Batts"))}
OILED: Final = frozenset({"pick", "rest", "dehair", "card", "draw", "spin", "ply"})
WATER_WORDS: Final = (
    ("desorption", "Dry, as it came from the wash"),
    ("absorption", "Dry, from a dry store"),
    ("wet", "Still wet"),
)


# What usually comes next for fibre in a form; the form of another stage is one choice away.
NEXT_STAGE: Final = {
    "greasy": "wash",
    "skirted": "wash",
    "scoured": "pick",
    "opened": "card",
    "roving": "draw",
    "batt": "spin",
    "single": "ply",
    "plied": "set",
    "skein": "skein",
}


def wastes_of(stage: str) -> tuple[str, ...]:
    """Streams that are usually swept up at a stage, and one for the rest."""
    return (*WASTES.get(stage, ()), OTHER_WASTE)


def water_after(stage: str) -> str:
    """How the water is known in what a stage gives."""
    return "wet" if stage in WET_AFTER else "desorption"
