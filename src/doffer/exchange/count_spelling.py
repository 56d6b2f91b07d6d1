"""How counts are spelt: the words of every system, and how figures and words stand together."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal

from doffer.exchange.numbers import Cell, smoothed, without_about

LENGTH_WORDS_M = {
    **dict.fromkeys(("m", "mt", "mtr", "mtrs", "metre", "metres", "meter", "meters"), Decimal(1)),
    "km": Decimal(1000),
    **dict.fromkeys(("y", "yd", "yds", "yard", "yards"), Decimal("0.9144")),  # exact, by definition
}
SYSTEM_WORDS = {
    "nm": ("nm", "metric", "metric count"),
    "new_worsted": (
        "new",
        "nek",
        "ne(w)",
        "ne w",
        "ne worsted",
        "worsted",
        "worsted count",
        "english worsted",
    ),
    "ne_cotton": (
        "ne",
        "nec",
        "neb",
        "ne(c)",
        "ne c",
        "ne cotton",
        "cotton",
        "cotton count",
        "cc",
        "english cotton",
        "pearl cotton",
        "perle cotton",
        "pearl",
        "perle",
    ),
    "woollen_run": ("run", "runs", "woollen run", "woolen run", "run woollen", "run woolen", "american run"),
    "woollen_cut": ("cut", "cuts", "woollen cut", "woolen cut", "cut woollen", "cut woolen"),
    "yorkshire_skein": (
        "yorkshire skein",
        "yorkshire skeins",
        "yorkshire skeins woollen",
        "ysw",
        "ysk",
        "y.s.w.",
    ),
    "tex": ("tex",),
    "dtex": ("dtex", "decitex"),
    "ktex": ("ktex", "kilotex"),
    "denier": ("denier", "den", "deniers"),
    "yd_per_lb": ("ypp",),
}
_SYSTEM_OF = {word: system for system, words in SYSTEM_WORDS.items() for word in words}
_NAMES = "|".join(re.escape(word) for word in sorted(_SYSTEM_OF, key=len, reverse=True))

FIGURE = r"[0-9.,][0-9.,']*(?: [0-9]{3}(?![0-9]))*(?: [0-9]{1,2}/[0-9]{1,2})?(?<!')"
_TWO = rf"(?P<first>{FIGURE})(?:'?s)?(?: ?(?P<sign>[/x]) ?(?P<second>{FIGURE})(?:'?s)?)?"
SYSTEM_AT_START = re.compile(rf"(?P<system>{_NAMES})[ :.]*{_TWO}")
SYSTEM_AT_END = re.compile(rf"{_TWO}[ -]*(?P<system>{_NAMES})")
SYSTEM_BETWEEN = re.compile(
    rf"(?P<first>{FIGURE}) ?(?P<system>{_NAMES}) ?(?P<sign>[/x]) ?(?P<second>{FIGURE})"
)
STRANDS_BEFORE = re.compile(rf"(?P<first>{FIGURE}) ?x ?(?P<system>{_NAMES})[ .]*(?P<second>{FIGURE})")
TWIST = re.compile(r"[,;]?\s*\b([sz]) ?([0-9]{1,4}(?:\.[0-9]+)?)(?= |$|;|,|\))(?: ?(?:t/m|tpm|turns/m))?")

_LENGTHS = "|".join(sorted(LENGTH_WORDS_M, key=len, reverse=True))
_PER = r"(?:/|=|\bper\b|\bpro\b|\bje\b|\bauf\b|\bin\b|\bto\b|\ba\b|\bto the\b|\bto a\b|\bp\.)"
LENGTH_FIRST = re.compile(
    rf"(?P<length>.+?) ?(?P<unit>{_LENGTHS})\.? ?{_PER} ?(?P<n>[0-9][0-9.,]*)? ?(?P<mass>[a-z]+|#)\.?"
)
MASS_FIRST = re.compile(
    rf"(?P<amount>{FIGURE}) ?(?P<mass>[a-z]+|#)\.? ?{_PER} ?(?P<n>[0-9][0-9.,' ]*)? ?(?P<unit>{_LENGTHS})\.?"
)

_WORDS = {
    word: n for n, word in enumerate(("one", "two", "three", "four", "five", "six", "seven", "eight"), 1)
}
_PLIES = rf"(?P<plies>[0-9]{{1,2}}|{'|'.join(_WORDS)})[ -]?"
PLIES_FIRST = re.compile(
    rf"^{_PLIES}(?P<word>ply|plies|fold|(?P<of>strands? of|ends? of|strands? at))\b[ ,:]*(?=.)"
)
PLIES_BEHIND = re.compile(rf"[ ,;(]+{_PLIES}(?P<word>ply|plies|fold|strands?|ends?)\)?(?P<of>)$")
_UNIT_FIRST = re.compile(
    rf"^(?P<unit>(?:{_LENGTHS}) ?/ ?(?:100 ?|50 ?|4 ?)?[a-z]+)[ :=]+(?P<figure>{FIGURE})$"
)
_PLAIN = str.maketrans({"×": "x", "*": "x", "∕": "/", "⁄": "/"})
_SIGNS = re.compile("([0-9]*) ?([½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞])")


def plain_text(typed: Cell, field: str, allowed: str) -> str:
    """Typed text in small letters with plain signs: "8½" as 8.5, "×" as x, no "about", no quotes."""
    if isinstance(typed, str):
        typed = unicodedata.normalize("NFKC", _SIGNS.sub(_decimal, typed))
    text, _ = without_about(smoothed(typed, field, allowed))
    text = text.translate(_PLAIN).strip(" \"'“”„.,;:")
    text = re.sub(r"^ll\b[ :]*", "", text)  # length of yarn on the labels of some countries
    text = _UNIT_FIRST.sub(r"\g<figure> \g<unit>", text)
    text = re.sub(r"(?<=[a-z]) to (?:the |an? )?(?=[0-9]|[a-z])", " / ", text)
    return text if text.endswith(("(w)", "(c)")) else re.sub(r"\(([a-z]+)\)$", r"\1", text)


def _decimal(match: re.Match[str]) -> str:
    whole = int(match[1] or 0)
    return f"{whole + round(unicodedata.numeric(match[2]), 6):g}" if whole < 10**6 else match[0]


def system_of(word: str) -> str:
    """Key of table counts for the word of a system."""
    return _SYSTEM_OF[word]


def plies_of_word(word: str) -> int:
    """Number of "2" or "two"."""
    return _WORDS[word] if word in _WORDS else int(word)
