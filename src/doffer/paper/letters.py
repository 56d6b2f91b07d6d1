"""Text that can be printed: what people typed, without what no font draws or what hides in it.

A tagged PDF may hold no sign without a shape. The typesetter itself is asked which signs it can draw, so
there is no second list of glyphs to keep; signs nobody can draw are printed as a question mark.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Final

UNDRAWN: Final = "?"
VARIATIONS: Final = frozenset(map(chr, range(0xFE00, 0xFE10)))  # ask for another shape of the sign before
CUT: Final = "…"
LONG_WORD: Final = 24  # signs without a space before a word may be broken
BREAK: Final = "\u200b"  # zero-width space
SPACES: Final = {"\u202f": "\u00a0", "\u2007": "\u00a0", "\t": " ", "\n": " ", "\r": " "}
HIDDEN: Final = ("Cc", "Cf", "Cs", "Co", "Cn")  # control, format, surrogate, private, unassigned
PLAIN: Final = frozenset(
    {chr(code) for code in (*range(0x20, 0x7F), *range(0xA0, 0x180))}
    - {"\u00ad", "\u0132", "\u0133", "\u013f", "\u0140", "\u0149", "\u017f"}
) | frozenset("–—‘’“”„…•−×÷€ẞ")


def printable(text: str, draws: Callable[[str], bool], *, most: int = 600) -> str:
    """One line of text that can be printed: composed, no hidden signs, cut at `most` signs."""
    text = unicodedata.normalize("NFC", text)
    text = "".join(SPACES.get(sign, sign) for sign in text)
    text = _without_loose_marks("".join(sign for sign in text if not _is_hidden(sign))).strip()
    odd = undrawn({sign for sign in text if sign not in PLAIN}, draws)
    return shortened("".join(UNDRAWN if sign in odd else sign for sign in text), most)


def _without_loose_marks(text: str) -> str:
    """Marks that make no letter with the Latin letter before them are left out.

    The typesetter would draw them, but would then tell readers that every such letter carries the mark.
    """
    kept: list[str] = []
    for sign in text:
        if unicodedata.category(sign) != "Mn" or (kept and kept[-1] not in PLAIN):
            kept.append(sign)
    return "".join(kept)


def _is_hidden(sign: str) -> bool:
    return sign in VARIATIONS or unicodedata.category(sign) in HIDDEN


def undrawn(signs: Iterable[str], draws: Callable[[str], bool]) -> set[str]:
    """Those of the signs that cannot be drawn, found by halving."""
    waiting, bad = ["".join(sorted(signs))], set()
    while waiting:
        group = waiting.pop()
        if not group or draws(group):
            continue
        if len(group) == 1:
            bad.add(group)
        else:
            waiting += [group[: len(group) // 2], group[len(group) // 2 :]]
    return bad


def shortened(text: str, most: int) -> str:
    """Text of at most `most` signs, the cut shown."""
    return text if len(text) <= most else text[: most - 1].rstrip() + CUT


@lru_cache(maxsize=4096)
def breakable(text: str) -> str:
    """Text whose very long words may be broken at the end of a line."""
    words = text.split(" ")
    return " ".join(
        BREAK.join(word[i : i + LONG_WORD] for i in range(0, len(word), LONG_WORD)) for word in words
    )
