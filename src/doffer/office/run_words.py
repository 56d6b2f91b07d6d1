"""What the form of a stage asks: its name as an act, usual wastes, the water in what comes out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from doffer.mill.booking import QuestionError
from doffer.mill.commands.run_questions import RunQuestionError
from doffer.mill.doubt import Doubt, said_all
from doffer.mill.queries.runs import WET_AFTER
from doffer.pictures.wording import say

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


# What is sprayed at the picker is still in the fibre when it is weighed there.
SPRAYED_AT: Final = "pick"
FRESH: Final = "fresh"
SPRAYED_WATER_WORDS: Final = (
    (FRESH, "As it left the machine", "with all that was sprayed still in it"),
    ("desorption", "Dried off again", "it lay in the room meanwhile"),
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
# What comes next for fibre that drips, by where it stands.
AFTER_A_BATH: Final = {"wash": "extract", "dye": "extract"}


def question_words(asked: QuestionError, system: str) -> str:
    """A question about a run in the units of the page."""
    if not isinstance(asked, RunQuestionError):
        return str(asked)
    return asked.said(lambda mass_g: say(mass_g, "g", system))


def marks_of(asked: QuestionError) -> tuple[str, ...]:
    """Signs of what is asked, which the form hands back with its answer."""
    return asked.marks if isinstance(asked, RunQuestionError) else ()


def asked_words(doubts: Sequence[Doubt], system: str) -> str:
    """What was asked about a run that is kept, in the units of the page."""
    return said_all(doubts, lambda mass_g: say(mass_g, "g", system))


def wastes_of(stage: str) -> tuple[str, ...]:
    """Streams that are usually swept up at a stage, and one for the rest."""
    return (*WASTES.get(stage, ()), OTHER_WASTE)


def water_words_of(stage: str) -> tuple[tuple[str, ...], ...]:
    """Choices of how dry it is when it is weighed behind a stage."""
    return SPRAYED_WATER_WORDS if stage == SPRAYED_AT else WATER_WORDS


def water_after(stage: str) -> str:
    """How the water is known in what a stage gives."""
    if stage == SPRAYED_AT:
        return FRESH
    return "wet" if stage in WET_AFTER else "desorption"
