"""One thing that is asked about before a run is kept, and how the run keeps it: words and weights apart."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

MARK_SIGNS = 12  # enough to tell the few questions of one form from one another


def in_grams(mass_g: float) -> str:
    """A weight as the program's own words say it."""
    return f"{mass_g:.0f} g"


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that is asked about: words with a place for each weight [g]."""

    words: str
    masses_g: tuple[float, ...] = ()

    def said(self, say_mass: Callable[[float], str] = in_grams) -> str:
        """The sentence, its weights in the words of whoever reads it."""
        return self.words.format(*map(say_mass, self.masses_g))

    @property
    def mark(self) -> str:
        """Short sign of the question, to the gram: with another weight it is another question."""
        return hashlib.sha256(self.said().encode()).hexdigest()[:MARK_SIGNS]

    def plain(self) -> dict[str, object]:
        """As a run keeps it."""
        return {"words": self.words, "masses_g": list(self.masses_g)}


def said_all(doubts: Sequence[Doubt], say_mass: Callable[[float], str] = in_grams) -> str:
    """All of them, as one answer answers them."""
    return ". ".join(doubt.said(say_mass) for doubt in doubts)


def doubts_from(kept: object) -> tuple[Doubt, ...]:
    """What a run was asked about; earlier runs kept a ready sentence."""
    if isinstance(kept, str):
        return (Doubt(kept.replace("{", "{{").replace("}", "}}")),) if kept else ()
    rows = kept if isinstance(kept, list) else []
    return tuple(Doubt(str(row["words"]), tuple(float(mass) for mass in row["masses_g"])) for row in rows)
