"""Yarn counts as people type them: which system, of the single or of the finished yarn, and how many strands.

"2/8 Nm", "8/2 cotton" and "R 250 tex / 2" say how many strands lie together; "250 m/100 g" is said of the
yarn as it is sold. What can be read in two ways is asked in one sentence and never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from doffer.errors import InputError
from doffer.exchange.count_questions import (
    THICKNESS_PLIES,
    ask_for_more,
    ask_named,
    strands_or_fraction,
    strands_or_thickness,
    which_order,
)
from doffer.exchange.count_said import DIRECT_SPELT, OWN_HANK, SaidOf, TypedCount, spell
from doffer.exchange.count_spelling import (
    FIGURE,
    LENGTH_FIRST,
    LENGTH_WORDS_M,
    MASS_FIRST,
    PLIES_BEHIND,
    PLIES_FIRST,
    STRANDS_BEFORE,
    SYSTEM_AT_END,
    SYSTEM_AT_START,
    SYSTEM_BETWEEN,
    TWIST,
    plain_text,
    plies_of_word,
    system_of,
)
from doffer.exchange.numbers import PLAIN, Cell, Habits, parse_number, refuse_range
from doffer.exchange.quantities import MASS_G, MASS_WORDS
from doffer.fibre.count import to_tex
from doffer.planning.spec import MAX_PLIES
from doffer.tables.loader import Tables

ALLOWED = (
    "metres in 100 g, such as 250 m/100 g, yards in a pound, such as 1240 yd/lb, tex, or a count with its "
    "system, such as 2/8 Nm"
)
_OF_WORDS = re.compile(r"\(?\b(singles?|resultant|finished|plied)\b\)?")
GRAIN_WORDS = frozenset({"grain", "grains", "grn", "grns"})
GRAIN_G = Decimal("0.06479891")  # exact, by definition: a pound is 7000 grains
TEX_M = 1000  # tex is grams per this many metres
FINEST_TEX, THICKEST_TEX = 1.0, 200_000.0  # from the finest silk to a sliver of 200 g a metre
YARD_M = LENGTH_WORDS_M["yd"]
_PER = {  # metres and grams of one unit of the systems that say length and weight
    "m_per_100g": (Decimal(1), Decimal(100)),
    "m_per_kg": (Decimal(1), MASS_G["kg"]),
    "yd_per_lb": (YARD_M, MASS_G["lb"]),
    "yd_per_100g": (YARD_M, Decimal(100)),
    "yd_per_oz": (YARD_M, MASS_G["oz"]),
    "yd_per_4oz": (YARD_M, 4 * MASS_G["oz"]),
    "tex": (Decimal(TEX_M), Decimal(1)),
    "g_per_m": (Decimal(1), Decimal(1)),
    "grains_per_yd": (YARD_M, GRAIN_G),
    "oz_per_yd": (YARD_M, MASS_G["oz"]),
}
_DIRECT_OF = {
    (Decimal(1000), "g"): "tex",
    (Decimal(1), "g"): "g_per_m",
    (YARD_M, "grains"): "grains_per_yd",
    (YARD_M, "oz"): "oz_per_yd",
}


@dataclass(frozen=True, slots=True)
class _Asked:
    """The text that is read, and how: passed to every form that may fit."""

    text: str
    typed: Cell
    field: str
    tables: Tables
    habits: Habits
    plies: int | None  # said in words: "2-ply", "3 strands of"
    of: SaidOf | None  # said in words: "singles", "resultant"

    def number(self, text: str) -> Decimal:
        value = parse_number(text.strip(), self.field, habits=self.habits, allowed=ALLOWED, within=self.typed)
        if not value:
            raise self.wrong(f"above zero: {ALLOWED}")
        return value

    def wrong(self, allowed: str) -> InputError:
        return InputError(self.field, self.typed, allowed)


def parse_count(
    typed: Cell, tables: Tables, field: str = "yarn count", *, habits: Habits = PLAIN
) -> TypedCount:
    """A yarn count: "250 m/100g", "1450 yd/lb", "2/8 Nm", "20/2 Ne", "R 421 tex / 2", "3 run", "50 gr/yd".

    Raises
    ------
    InputError
        Nothing known, or two meanings: "2/8" without its system, "64s" (a wool grade), "8 ply" (a
        thickness in some countries), "2-ply Nm 8" (each strand or both). The sentence asks.

    Examples
    --------
    >>> from doffer.tables.loader import load_tables
    >>> found = parse_count("2/8 Nm", load_tables())
    >>> found.plies, found.single_tex, found.yarn_tex
    (2, 125.0, 250.0)

    """
    text, twists = _without_twist(plain_text(typed, field, ALLOWED))
    ask_named(text, field, typed, tables)
    refuse_range(text, field, typed)
    asked = _without_words(_Asked(text, typed, field, tables, habits, None, None))
    forms = (_hank, _length_per_mass, _mass_per_length, _resultant, _named)
    found = next((count for count in (form(asked) for form in forms) if count is not None), None)
    if found is None:
        ask_for_more(asked.text, field, typed, tables)
        raise asked.wrong(ALLOWED)
    if not FINEST_TEX <= found.yarn_tex <= THICKEST_TEX:
        raise asked.wrong(
            f"from {FINEST_TEX:g} tex to {THICKEST_TEX / TEX_M:g} g in a metre: look at the unit"
        )
    return replace(found, twists=twists)


def parse_count_tex(
    typed: Cell, tables: Tables, field: str = "yarn count", *, habits: Habits = PLAIN
) -> float:
    """Count of the yarn [tex], all its strands together; see `parse_count`."""
    return parse_count(typed, tables, field, habits=habits).yarn_tex


def _without_twist(text: str) -> tuple[str, tuple[tuple[str, float], ...]]:
    """An ISO designation without its turns: "r 421 tex / 2 z 163 s 110"; they are kept beside it."""
    if "tex" not in text:
        return text, ()
    twists = tuple((match[1].upper(), float(match[2])) for match in TWIST.finditer(text))
    return " ".join(TWIST.sub(" ", text).split()), twists


def _without_words(asked: _Asked) -> _Asked:
    """Take the words for strands and for single or finished away from the figures, and keep them."""
    asked = _without_plies(asked)
    words = _OF_WORDS.findall(asked.text)
    if not words:
        return asked
    text = " ".join(_OF_WORDS.sub(" ", asked.text).split())
    is_single = words[0].startswith("single")
    is_alone = is_single and asked.plies is None and not re.search(r"[0-9] ?[/x] ?[0-9]", text)
    return replace(
        asked,
        text=text.strip(" ,;:"),
        plies=1 if is_alone else asked.plies,
        of=SaidOf.SINGLE if is_single else SaidOf.YARN,
    )


def _without_plies(asked: _Asked) -> _Asked:
    """Take "2-ply" or "3 strands of" away, from before and behind the figures."""
    found = [match for match in (PLIES_FIRST.match(asked.text), PLIES_BEHIND.search(asked.text)) if match]
    if not found:
        return asked
    said = [plies_of_word(match["plies"]) for match in found]
    if len(set(said)) > 1:
        raise asked.wrong(f"of one number of strands: it says {said[0]} and {said[1]}")
    rest = PLIES_BEHIND.sub("", PLIES_FIRST.sub("", asked.text)).strip(" ,;:")
    if said[0] in THICKNESS_PLIES and {match["word"] for match in found} & {"ply", "plies"}:
        raise asked.wrong(strands_or_thickness(said[0], rest))
    if not 1 <= said[0] <= MAX_PLIES:
        raise asked.wrong(f"of 1 to {MAX_PLIES} strands")
    of = SaidOf.SINGLE if any(match["of"] for match in found) else None
    return replace(asked, text=rest, plies=said[0], of=of)


def _hank(asked: _Asked) -> TypedCount | None:
    """A hank of the mill's own: "20 hanks of 300 yd/lb", "2/20 leas of 300 yd per lb"."""
    match = re.fullmatch(rf"({FIGURE}(?:/{FIGURE})?)'?s? (?:hanks?|leas?|cuts?|skeins?) of (.+)", asked.text)
    per = LENGTH_FIRST.fullmatch(match[2]) if match else None
    if match is None or per is None:
        return None
    m_per_g = _length_m(asked, per["length"], per["unit"]) / _mass_g(asked, per["n"], per["mass"])
    first, _, second = match[1].partition("/")
    plies, number = (
        _strands(asked, first, second, OWN_HANK, "hanks") if second else (None, asked.number(first))
    )
    own = _made(asked, OWN_HANK, number, said_plies=plies, tex=float(TEX_M / (number * m_per_g)))
    return replace(own, hank_m_per_g=float(m_per_g))


def _length_per_mass(asked: _Asked) -> TypedCount | None:
    match = LENGTH_FIRST.fullmatch(asked.text)
    if match is None:
        return None
    unit, mass = match["unit"], match["mass"]
    if mass == "gr":  # beside a length that stands first, labels mean grams
        mass = "g"
    length_m, mass_g = _length_m(asked, match["length"], unit), _mass_g(asked, match["n"], mass)
    return _of_yarn(asked, _length_system(unit, mass, mass_g), length_m=length_m, mass_g=mass_g)


def _mass_per_length(asked: _Asked) -> TypedCount | None:
    """Mass before length: "50 gr/yd", "3.5 g/m", "100 g = 230 m", "4 oz / 420 yd"."""
    match = MASS_FIRST.fullmatch(asked.text)
    if match is None:
        return None
    unit, mass, is_one = match["unit"], match["mass"], not match["n"]
    if mass == "gr":
        if unit.startswith("y") and not is_one:
            raise asked.wrong("in grains or in grams, with the word written out: “gr” stands for both")
        mass = "grains" if unit.startswith("y") else "g"
    length_m = _length_m(asked, match["n"] or "1", unit)
    mass_g = asked.number(match["amount"]) * _unit_g(asked, mass)
    word = "grains" if mass in GRAIN_WORDS else MASS_WORDS[mass]
    direct = _DIRECT_OF.get((LENGTH_WORDS_M[unit], word))
    system = direct if is_one and direct else _length_system(unit, mass, mass_g)
    return _of_yarn(asked, system, length_m=length_m, mass_g=mass_g)


def _length_system(unit: str, mass: str, mass_g: Decimal) -> str:
    """In which system a length for a weight is kept: the nearest to what was typed."""
    word = MASS_WORDS.get(mass, "g")
    if LENGTH_WORDS_M[unit] != YARD_M:
        return "m_per_kg" if word == "kg" else "m_per_100g"
    if word == "oz":
        return "yd_per_4oz" if mass_g == _PER["yd_per_4oz"][1] else "yd_per_oz"
    return "yd_per_lb" if word == "lb" else "yd_per_100g"


def _of_yarn(asked: _Asked, system: str, *, length_m: Decimal, mass_g: Decimal) -> TypedCount:
    """A length of so much weight is said of the yarn as it is sold, unless “singles” stands with it."""
    per_m, per_g = _PER[system]
    number = (length_m / per_m) / (mass_g / per_g)
    is_direct = asked.tables.counts[system].kind == "direct"
    together = (asked.plies or 1) if asked.of is SaidOf.SINGLE else 1
    return TypedCount(
        system=system,
        number=float(1 / number if is_direct else number),
        said_of=SaidOf.SINGLE if asked.of is SaidOf.SINGLE else SaidOf.YARN,
        plies=asked.plies,
        yarn_tex=float(TEX_M * mass_g / length_m * together),
    )


def _resultant(asked: _Asked) -> TypedCount | None:
    """The designation of a folded yarn by its resultant: "R 421 tex / 2"."""
    match = re.fullmatch(rf"r ?({FIGURE}) ?(tex|dtex|ktex)(?: ?/ ?([0-9]+))?", asked.text)
    if match is None:
        return None
    plies = int(match[3]) if match[3] else None
    told = replace(asked, of=SaidOf.YARN)
    if plies is not None and not 1 <= plies <= MAX_PLIES:
        raise asked.wrong(f"of 1 to {MAX_PLIES} strands")
    return _made(told, match[2], asked.number(match[1]), said_plies=plies)


def _named(asked: _Asked) -> TypedCount | None:
    """A figure or two with the name of a system before, behind or between them."""
    for pattern in (SYSTEM_AT_START, SYSTEM_AT_END, SYSTEM_BETWEEN, STRANDS_BEFORE):
        match = pattern.fullmatch(asked.text)
        if match is not None:
            return _by_name(asked, match, pattern)
    return None


def _by_name(asked: _Asked, match: re.Match[str], pattern: re.Pattern[str]) -> TypedCount:
    """With x the figure beside the name is the count, the other one the strands."""
    system, first, second = system_of(match["system"]), match["first"], match["second"]
    if not second:
        return _made(asked, system, asked.number(first), said_plies=None)
    sign = match["sign"] if "sign" in pattern.groupindex else "x"
    if sign == "/" and pattern is SYSTEM_BETWEEN and system in DIRECT_SPELT:
        raise asked.wrong(_each_or_together(first, second, system))
    if sign == "/":
        plies, number = _strands(asked, first, second, system, match["system"])
    elif pattern in (SYSTEM_AT_START, SYSTEM_BETWEEN):
        plies, number = _whole_strands(asked, second), asked.number(first)
    else:
        plies, number = _whole_strands(asked, first), asked.number(second)
    return _made(replace(asked, of=asked.of or SaidOf.SINGLE), system, number, said_plies=plies)


def _each_or_together(number: str, plies: str, system: str) -> str:
    return (
        f"either R {number} {system} / {plies} for all strands together, or {number} {system} x {plies} "
        "for each of them"
    )


def _length_m(asked: _Asked, number: str, unit: str) -> Decimal:
    return asked.number(number) * LENGTH_WORDS_M[unit]


def _mass_g(asked: _Asked, number: str | None, unit: str) -> Decimal:
    return asked.number(number or "1") * _unit_g(asked, unit)


def _unit_g(asked: _Asked, unit: str) -> Decimal:
    if unit in GRAIN_WORDS:
        return GRAIN_G
    if unit not in MASS_WORDS:
        raise asked.wrong(ALLOWED)
    return MASS_G[MASS_WORDS[unit]]


def _whole_strands(asked: _Asked, text: str) -> int:
    value = asked.number(text)
    if value != int(value) or value > MAX_PLIES:
        raise asked.wrong(f"of 1 to {MAX_PLIES} strands, as a whole number")
    return int(value)


def _strands(asked: _Asked, first: str, second: str, system: str, word: str) -> tuple[int, Decimal]:
    """Strands and count of two figures with a stroke: 2/8 Nm, 2/8s worsted, but 8/2 cotton."""
    values = asked.number(first), asked.number(second)
    can = [value == int(value) and value <= MAX_PLIES for value in values]
    if system in DIRECT_SPELT:
        raise asked.wrong(_each_or_together(*((second, first) if can[0] else (first, second)), system))
    if system == "woollen_run":
        raise asked.wrong(strands_or_fraction(values, system=word))
    if not any(can):
        raise asked.wrong(f"of 1 to {MAX_PLIES} strands, such as 2/{max(values):f} {_word_of(system, word)}")
    place = 0 if can[0] else 1
    if all(can) and values[0] != values[1]:
        habit = 1 if system == "ne_cotton" else 0  # cotton writes the strands last, the others first
        smaller = 0 if values[0] < values[1] else 1
        if smaller != habit and 1 not in values:
            raise asked.wrong(which_order(values, spelt=_word_of(system, word), is_cotton=habit == 1))
        place = smaller
    return int(values[place]), values[1 - place]


def _word_of(system: str, word: str) -> str:
    return {"nm": "Nm", "ne_cotton": "Ne"}.get(system, word)


def _made(
    asked: _Asked, system: str, number: Decimal, *, said_plies: int | None, tex: float | None = None
) -> TypedCount:
    """The count with all that was said of it; asks whether a figure is of each strand or of the yarn."""
    if said_plies is not None and asked.plies is not None and said_plies != asked.plies:
        raise asked.wrong(f"of one number of strands: it says {said_plies} and {asked.plies}")
    plies = said_plies if said_plies is not None else asked.plies
    of = asked.of or (SaidOf.SINGLE if said_plies is not None else None)
    if of is None and plies is not None and plies > 1:
        raise asked.wrong(_each_or_all(system, number, plies=plies))
    of = of or (SaidOf.SINGLE if plies == 1 else SaidOf.YARN)
    tex = tex if tex is not None else to_tex(asked.tables, system=system, count=float(number))
    together = plies if of is SaidOf.SINGLE and plies else 1
    return TypedCount(system=system, number=float(number), said_of=of, plies=plies, yarn_tex=tex * together)


def _each_or_all(system: str, number: Decimal, *, plies: int) -> str:
    counts: Sequence[TypedCount] = [
        TypedCount(system=system, number=float(number), said_of=of, plies=plies, yarn_tex=1.0)
        for of in (SaidOf.SINGLE, SaidOf.YARN)
    ]
    if system == OWN_HANK:
        return f"said of each strand (write “singles” behind it) or of all {plies} together (“resultant”)"
    each, together = (spell(count) for count in counts)
    return f"either “{each}” for each of the {plies} strands, or “{together}” for all of them together"
