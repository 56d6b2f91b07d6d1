"""Putting up: how long a skein is wound for its promise, how many there are, what a reeled length weighs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

from doffer.errors import InputError
from doffer.fibre.count import strand_mass_g
from doffer.process.yarn.basis import StrandCount, rebase
from doffer.tables.loader import Tables


class Promise(StrEnum):
    """What a label promises of each skein."""

    METRES = "metres"  # wound exactly; grams follow
    GRAMS = "grams"  # at least so many
    BOTH = "both"  # at least so many of each


@dataclass(frozen=True, slots=True)
class SkeinWish:
    """What is promised of a skein: length [m] and weight at agreed regain [g], and which of them binds."""

    length_m: float
    mass_g: float
    promise: Promise = Promise.METRES

    def __post_init__(self) -> None:
        if not self.length_m > 0 or not self.mass_g > 0:
            raise InputError("skein", (self.length_m, self.mass_g), "metres and grams above zero")


@dataclass(frozen=True, slots=True)
class Skeins:
    """Skeins out of a lot: how long each is wound, how many, what is left over [g] and what a promise costs.

    `given_up` is how many more there would be if only the length were promised.
    """

    wind_length_m: float
    n_skeins: int
    skein_mass_g: float
    over_mass_g: float
    given_up: int


def wind_length_m(
    wish: SkeinWish, *, count_tex: float, skein_cv_frac: float, short_chance_frac: float
) -> float:
    """Length to wind [m] so that the promise holds: ``max(L, 1000 G / (tex (1 - z CV)))``.

    Parameters
    ----------
    wish : SkeinWish
    count_tex : float
        Finished count at agreed regain [tex].
    skein_cv_frac : float
        How far skeins of one length differ in weight [frac].
    short_chance_frac : float
        Share of skeins that may be lighter than promised [frac], above 0 to 0.5; z is its normal quantile.

    Examples
    --------
    >>> wish = SkeinWish(length_m=230, mass_g=100, promise=Promise.BOTH)
    >>> round(wind_length_m(wish, count_tex=434.78, skein_cv_frac=0.03, short_chance_frac=0.05), 1)
    241.9

    """
    if not count_tex > 0:
        raise InputError("count", count_tex, "above zero tex")
    if wish.promise is Promise.METRES:
        return wish.length_m
    if not 0 < short_chance_frac <= EVEN_CHANCE or not 0 <= skein_cv_frac < 1:
        raise InputError(
            "promised weight",
            (skein_cv_frac, short_chance_frac),
            "a spread below 1, a chance of 0 to one half",
        )
    away = NormalDist().inv_cdf(1 - short_chance_frac) * skein_cv_frac
    if not away < 1:
        raise InputError(
            "spread of skeins", skein_cv_frac, "small enough that a weight can be promised at all"
        )
    for_grams_m = 1000 * wish.mass_g / (count_tex * (1 - away))
    return for_grams_m if wish.promise is Promise.GRAMS else max(wish.length_m, for_grams_m)


EVEN_CHANCE = 0.5


def skeins(
    wish: SkeinWish,
    *,
    lot_mass_g: float,
    count_tex: float,
    ends_mass_g: float = 0.0,
    test_mass_g: float = 0.0,
    tie_length_m: float = 0.0,
    skein_cv_frac: float = 0.0,
    short_chance_frac: float = EVEN_CHANCE,
) -> Skeins:
    """Whole skeins out of a lot, never rounded up; what is left stays the owner's.

    ``floor((m - ends - test) / (tex (L + tie) / 1000))``.

    Parameters
    ----------
    wish : SkeinWish
        What is promised of each.
    lot_mass_g, count_tex : float
        Finished yarn [g] and count [tex], both at agreed regain.
    ends_mass_g, test_mass_g : float
        Left on bobbins and taken for the test skein [g].
    tie_length_m : float
        Spent on the ties of one skein [m].
    skein_cv_frac, short_chance_frac : float
        See `wind_length_m`.

    References
    ----------
    Arithmetic.
    """
    left_g = lot_mass_g - ends_mass_g - test_mass_g
    if not left_g >= 0 or ends_mass_g < 0 or test_mass_g < 0:
        raise InputError(
            "yarn to put up", (lot_mass_g, ends_mass_g, test_mass_g), "more than the ends and the test skein"
        )
    length_m = wind_length_m(
        wish, count_tex=count_tex, skein_cv_frac=skein_cv_frac, short_chance_frac=short_chance_frac
    )
    each_g = strand_mass_g(length_m=length_m + tie_length_m, count_tex=count_tex)
    plain_g = strand_mass_g(length_m=wish.length_m + tie_length_m, count_tex=count_tex)
    n_skeins = math.floor(left_g / each_g + WHOLE_DUST)
    n_plain = math.floor(left_g / plain_g + WHOLE_DUST)
    return Skeins(
        wind_length_m=length_m,
        n_skeins=n_skeins,
        skein_mass_g=strand_mass_g(length_m=length_m, count_tex=count_tex),
        over_mass_g=max(0.0, left_g - n_skeins * each_g),
        given_up=n_plain - n_skeins,
    )


WHOLE_DUST = 1e-9  # 7800.0000001 / 100 is 78 skeins, and so is 7799.9999999


def usual_skein_spread(tables: Tables) -> tuple[float, float]:
    """How far skeins differ in weight, and the share that may be short [frac]; table yarn_figures."""
    figures = tables.yarn_figures
    return figures["skein_cv/any"].value, figures["short_weight_chance/any"].value


def reel_turns(*, length_m: float, circumference_m: float) -> int:
    """Turns of the reel that give at least a length; measure the reel with yarn on, at winding tension."""
    if not length_m > 0 or not circumference_m > 0:
        raise InputError("reel", (length_m, circumference_m), "a length and a round above zero")
    return math.ceil(length_m / circumference_m - WHOLE_DUST)


def reeled_mass_g(count: StrandCount, *, length_m: float, room_regain_frac: float | None = None) -> float:
    """What a reeled length of a planned strand should weigh on the scale [g], here or in another room.

    >>> from doffer.process.yarn.basis import Basis, State
    >>> single = StrandCount(210.55, Basis(State.BOBBIN, 0.17, 0.01))
    >>> round(reeled_mass_g(single, length_m=10), 3)
    2.106
    >>> round(reeled_mass_g(single, length_m=10, room_regain_frac=0.12), 3)
    2.016
    """
    here = count if room_regain_frac is None else rebase(count, regain_frac=room_regain_frac)
    return strand_mass_g(length_m=length_m, count_tex=here.tex)
