"""How many doublings a spread needs, and when drawing cannot mend it at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.process.evenness.spectrum import doubled_variance_frac
from doffer.working import Status, Term, Working

MOST_PASSES = 3  # two or three passages of drawing: common practice
MOST_ENDS = 6  # of a pin drafter: common practice, table machine_kinds
ROUNDING = 1e-9
MANY = 10**12  # doublings without end
PICK_AGAIN = "drawing cannot mend it: pick and card again"


@dataclass(frozen=True, slots=True)
class Way:
    """One way of drawing: ends of each passage, doublings in all, the spread they leave."""

    ends: tuple[int, ...]
    doublings: int
    sd_de: float


@dataclass(frozen=True, slots=True)
class Doublings:
    """What doublings do to a spread.

    Parameters
    ----------
    needed : int or None
        Doublings in all that reach the wish; None: no number does.
    ways : tuple of Way
        Ways that reach it, fewest passages first; without one, the most that the machine can do.
    floor_de : float
        What is left however often it is doubled.
    is_enough : bool
        Whether one of the ways reaches the wish.
    sentence : str
        The verdict in mill words.
    """

    needed: int | None
    ways: tuple[Way, ...]
    floor_de: float
    is_enough: bool
    sentence: str
    working: Working


def doubled_sd(*, sd_de: float, ends: Sequence[int], shared_frac: float = 0.0) -> float:
    """Spread after drawings: ``sd sqrt(rho + (1 - rho) / (n1 n2 ...))``, in the unit of `sd_de`.

    rho is a deviation common to all ends of the lot, which every passage keeps; it is not put in afresh.

    >>> round(doubled_sd(sd_de=3.0, ends=(6, 6), shared_frac=0.2), 2)
    1.41
    """
    left = doubled_variance_frac(doublings=math.prod(ends), correlation=shared_frac)
    return sd_de * math.sqrt(left)


def doublings(
    *,
    sd_de: float,
    want_de: float,
    shared_frac: float = 0.0,
    most_ends: int = MOST_ENDS,
    most_passes: int = MOST_PASSES,
) -> Doublings:
    """Doublings that bring a spread down to a wish, by equal passages of at most `most_ends` ends.

    Parameters
    ----------
    sd_de, want_de : float
        Standard deviation of shade (or of anything else) along the strand, now and wanted, above 0.
    shared_frac : float
        Correlation between ends fed together, 0 to 1.
    most_ends, most_passes : int
        What the machine takes, and how often fibre may be drawn.

    Raises
    ------
    InputError
        A spread or wish that is not above zero, or a machine that takes less than two ends.
    """
    if not (sd_de > 0 and want_de > 0):
        raise InputError("spread and wish", (sd_de, want_de), "above zero")
    if most_ends < 2 or most_passes < 1:
        raise InputError(
            "ends and passages", (most_ends, most_passes), "two or more ends, one or more passages"
        )
    floor_de = doubled_sd(sd_de=sd_de, ends=(MANY,), shared_frac=shared_frac)
    needed = _needed(sd_de=sd_de, want_de=want_de, shared_frac=shared_frac)
    ways = _ways(needed, most_ends=most_ends, most_passes=most_passes)
    is_enough = bool(ways)
    if not ways:
        ways = ((most_ends,) * most_passes,)
    told = tuple(
        Way(ends, math.prod(ends), doubled_sd(sd_de=sd_de, ends=ends, shared_frac=shared_frac))
        for ends in ways
    )
    sentence = _sentence(needed, told, want_de=want_de, floor_de=floor_de, is_enough=is_enough)
    working = _working(told[0], sd_de=sd_de, shared_frac=shared_frac)
    return Doublings(needed, told, floor_de, is_enough, sentence, working)


def _needed(*, sd_de: float, want_de: float, shared_frac: float) -> int | None:
    """Fewest doublings n with ``rho + (1 - rho) / n <= (want / sd)^2``."""
    wanted = (want_de / sd_de) ** 2
    if wanted >= 1:
        return 1
    if wanted <= shared_frac:
        return None
    return math.ceil((1 - shared_frac) / (wanted - shared_frac) - ROUNDING)


def _ways(needed: int | None, *, most_ends: int, most_passes: int) -> tuple[tuple[int, ...], ...]:
    """Equal passages that reach the number, with as few ends as will do."""
    if needed is None:
        return ()
    if needed == 1:
        return ((1,),)
    found = []
    for passes in range(1, most_passes + 1):
        ends = next((n for n in range(2, most_ends + 1) if n**passes >= needed), None)
        if ends is not None:
            found.append((ends,) * passes)
    return tuple(found)


def _way_words(way: Way) -> str:
    if way.doublings == 1:
        return f"no drawing ({way.sd_de:.2f})"
    passes = "1 pass" if len(way.ends) == 1 else f"{len(way.ends)} passes"
    return f"{passes} of {way.ends[0]} ({way.sd_de:.3g})"


def _sentence(
    needed: int | None, ways: Sequence[Way], *, want_de: float, floor_de: float, is_enough: bool
) -> str:
    if is_enough:
        return f"{needed} doublings are needed: {' or '.join(_way_words(way) for way in ways)}."
    best = ways[0]
    if needed is None:
        return (
            f"{want_de:g} cannot be reached: what all ends have in common leaves {floor_de:.2f} however "
            f"often it is doubled; {PICK_AGAIN}. {best.doublings} doublings would leave {best.sd_de:.2f}."
        )
    return (
        f"{needed} doublings are needed, and this machine makes {best.doublings} at most "
        f"({_way_words(best)}): pick or card again first, or draw more often than is usual."
    )


def _working(way: Way, *, sd_de: float, shared_frac: float) -> Working:
    return Working(
        title="Spread after doubling",
        formula="spread x square root of (common + (1 - common) / doublings)",
        inputs=(
            Term("spread now", sd_de, ""),
            Term("doublings", float(way.doublings), ""),
            Term("common to all ends", shared_frac, "frac"),
        ),
        result=Term("spread after", way.sd_de, ""),
        source="variance of a mean of correlated ends, computed",
        status=Status.COMPUTED,
    )
