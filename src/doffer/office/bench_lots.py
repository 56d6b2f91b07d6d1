"""The lots on the bench as choices: whose fibre may be used, how far each is from the aim, what stops it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doffer.fibre.colour.words import difference_words
from doffer.mill.queries.bench import Bench, BenchLot
from doffer.office.bench_asked import CORRECT, FIND, LEFTOVERS, Asked
from doffer.office.bench_blend import TELLABLE_DE, Aim, free_g, hex_of
from doffer.pictures.swatch import tuft_icon
from doffer.pictures.words import say_list

MOST_SHOWN = 50
AGREED = "a"  # before the number of an agreement
CHOOSING = (FIND, CORRECT, LEFTOVERS)  # questions that put in lots nobody ticked
HOME = "The mill’s own"


@dataclass(frozen=True, slots=True)
class Choice:
    """One lot as a choice; `de` and `words` are its difference to the aim in daylight."""

    lot: BenchLot
    tuft: str
    free_g: float
    de: float | None
    words: tuple[str, ...]
    is_chosen: bool
    is_allowed: bool


@dataclass(frozen=True, slots=True)
class Choices:
    """All lots: chosen in the order of the address, the others nearest first, those that cannot go in."""

    chosen: tuple[Choice, ...]
    others: tuple[Choice, ...]
    cannot: tuple[Choice, ...]
    n_more: int
    n_elsewhere: int


def whose_options(bench: Bench) -> list[tuple[str, str]]:
    """Whose fibre may be used: the mill's own, one owner's alone, or what owners agreed to."""
    owners = {lot.owner: lot.owner_name for lot in bench.lots if not lot.is_own}
    agreed = [
        (f"{AGREED}{one.id}", f"By agreement {one.id}: {say_list(list(one.lots))}")
        for one in bench.agreements
    ]
    return [
        ("", HOME),
        *agreed,
        *((code, f"{name} alone") for code, name in sorted(owners.items(), key=lambda pair: pair[1])),
    ]


def agreement_of(asked: Asked) -> int | None:
    """The number of the agreement that is asked for."""
    number = asked.whose.removeprefix(AGREED)
    return int(number) if asked.whose.startswith(AGREED) and number.isdecimal() else None


def is_allowed(lot: BenchLot, asked: Asked, bench: Bench) -> bool:
    """Whether this fibre may be used: nobody's fibre goes with another's without their yes."""
    number = agreement_of(asked)
    if number is not None:
        return any(one.id == number and lot.code in one.lots for one in bench.agreements)
    return lot.owner == asked.whose if asked.whose else lot.is_own


def stock_lots(asked: Asked, bench: Bench) -> list[BenchLot]:
    """Lots a search may use: read, free, of the fibre and the owner asked for."""
    return [
        lot
        for lot in bench.lots
        if lot.is_usable
        and lot.free_dry_g > 0
        and is_allowed(lot, asked, bench)
        and (not asked.only_fibre or lot.fibre == asked.only_fibre or _is_ticked(lot, asked))
    ]


def _is_ticked(lot: BenchLot, asked: Asked) -> bool:
    """Whether a person wants this very lot in it, and has not said that it is to be of one fibre."""
    return not asked.fibre and lot.code in asked.must


def with_usual_fibre(asked: Asked, bench: Bench) -> Asked:
    """Where the bench chooses lots and nobody said of which fibre: of that of the ticked lots, or of most."""
    if asked.fibre or asked.want not in CHOOSING:
        return asked
    may = [lot for lot in bench.lots if lot.is_usable and is_allowed(lot, asked, bench)]
    ticked = [lot.fibre for lot in bench.lots if lot.code in asked.lots]
    if asked.want != FIND and not ticked:
        return asked
    counted = Counter(lot.fibre for lot in may) if asked.want == FIND else Counter(ticked)
    return replace(asked, only_fibre=counted.most_common(1)[0][0]) if counted else asked


def decision_for(asked: Asked, bench: Bench) -> int | None:
    """The agreement that names every chosen lot, the one asked for first."""
    number = agreement_of(asked)
    fit = [one.id for one in bench.agreements if set(asked.lots) <= set(one.lots)]
    return number if number in fit else next(iter(fit), None)


def owners_apart(asked: Asked, bench: Bench) -> tuple[str, ...]:
    """Owners whose fibre would come together without a recorded yes; empty when all is well."""
    owners = {lot.owner: lot.owner_name for lot in bench.lots if lot.code in asked.lots}
    if len(owners) < 2 or decision_for(asked, bench) is not None:
        return ()
    return tuple(owners.values())


def choices_of(asked: Asked, bench: Bench, aim: Aim | None) -> Choices:
    """The lots as choices for the page."""
    by_code = {lot.code: lot for lot in bench.lots}
    one = asked.only_fibre
    here = [lot for lot in bench.lots if not one or lot.fibre == one or _is_ticked(lot, asked)]
    open_to_us = [lot for lot in here if is_allowed(lot, asked, bench) and lot.code not in asked.lots]
    others = [_choice(lot, asked, bench, aim) for lot in open_to_us if lot.is_usable]
    others.sort(key=lambda one: (one.de is None, one.de or 0.0, one.lot.code))
    cannot = [lot for lot in open_to_us if not lot.is_usable]
    return Choices(
        chosen=tuple(_choice(by_code[code], asked, bench, aim) for code in asked.lots if code in by_code),
        others=tuple(others[:MOST_SHOWN]),
        cannot=tuple(_choice(lot, asked, bench, None) for lot in cannot[:MOST_SHOWN]),
        n_more=max(0, len(others) - MOST_SHOWN),
        n_elsewhere=len(bench.lots) - len(open_to_us) - len(asked.lots),
    )


def _choice(lot: BenchLot, asked: Asked, bench: Bench, aim: Aim | None) -> Choice:
    de, words = None, ()
    if aim is not None and lot.lab is not None and lot.is_usable:
        wanted, mine = aim.target.labs[0], np.array(lot.lab)
        de = float(aim.target.apart(mine))
        words = difference_words(wanted, mine, least_de=TELLABLE_DE)
    return Choice(
        lot=lot,
        tuft=tuft_icon(lot.code, hex_of(lot, bench.tables), size=44, label=f"colour of {lot.code}"),
        free_g=free_g(lot),
        de=de,
        words=words,
        is_chosen=lot.code in asked.lots,
        is_allowed=is_allowed(lot, asked, bench),
    )


def known_lots(asked: Asked, bench: Bench) -> Sequence[str]:
    """Numbers of chosen lots that are not on the bench."""
    here = {lot.code for lot in bench.lots}
    return [code for code in asked.lots if code not in here]
