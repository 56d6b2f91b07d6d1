"""Drafting: from the card's web through the drawings to the roving, and the draft the gears can give."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from doffer.errors import InputError

TEX_PER_G_PER_M = 1000.0  # by definition


def card_delivery_tex(*, web_g_per_m2: float, width_m: float, ends: int = 1) -> float:
    """Count of what a card delivers [tex]: ``web x width x 1000``, by the number of ends it is split into."""
    _check(web=web_g_per_m2, width=width_m, ends=ends)
    return web_g_per_m2 * width_m * TEX_PER_G_PER_M / ends


def drawn_tex(*, in_tex: float, doublings: int, draft: float) -> float:
    """Count after a drawing [tex]: ``tex x doublings / draft``.

    >>> drawn_tex(in_tex=12000, doublings=4, draft=6)
    8000.0
    """
    _check(count=in_tex, doublings=doublings, draft=draft)
    return in_tex * doublings / draft


def feed_tex(*, delivery_tex: float, draft: float, loss_frac: float = 0.0) -> float:
    """Feed [tex] of a machine that drafts and loses: ``delivery x draft / (1 - loss)``."""
    _check(count=delivery_tex, draft=draft)
    if not 0 <= loss_frac < 1:
        raise InputError("fibre lost", loss_frac, "a fraction from 0 to below 1")
    return delivery_tex * draft / (1 - loss_frac)


def cv_after_drawing_frac(
    *, cv_frac: float, doublings: int, added_cv_frac: float, correlation: float = 0.0
) -> float:
    """Unevenness after a drawing [frac]: ``CV^2 (rho + (1 - rho) / n) + CV_add^2``, under the root.

    Parameters
    ----------
    cv_frac : float
        Of what goes in [frac].
    doublings : int
        n ends fed together.
    added_cv_frac : float
        What the drafting itself adds [frac]: weigh ten lengths of 1 m to find it.
    correlation : float
        rho between the ends, 0 to 1; ends cut in turn off one card share its long waves.

    References
    ----------
    Texcoms handbook p. 141 for both pieces.

    Examples
    --------
    >>> round(100 * cv_after_drawing_frac(cv_frac=0.12, doublings=4, added_cv_frac=0.04), 1)
    7.2

    """
    _check(doublings=doublings)
    if not cv_frac >= 0 or not added_cv_frac >= 0 or not 0 <= correlation <= 1:
        raise InputError(
            "unevenness", (cv_frac, added_cv_frac, correlation), "zero or more, correlation 0 to 1"
        )
    return math.sqrt(cv_frac**2 * (correlation + (1 - correlation) / doublings) + added_cv_frac**2)


def colour_left_frac(doublings: Sequence[int]) -> float:
    """Share of a colour difference left by drawings at best [frac]: ``1 / sqrt(product of doublings)``."""
    return 1 / math.sqrt(math.prod(doublings))


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing of the chain: what goes in, ends fed, draft, what comes out [tex]."""

    in_tex: float
    doublings: int
    draft: float
    out_tex: float


def draw_chain(
    *, card_tex: float, roving_tex: float, doublings: Sequence[int], low_draft: float, high_draft: float
) -> tuple[Drawing, ...] | None:
    """Drawings that bring the card's roving to a wanted count, all of one draft; None if it does not fit.

    Parameters
    ----------
    card_tex, roving_tex : float
        Count off the card and wanted for the frame [tex].
    doublings : sequence of int
        Ends fed at each passage; empty: the card's roving is spun as it is.
    low_draft, high_draft : float
        What the drafter can draw.
    """
    _check(card=card_tex, roving=roving_tex, low=low_draft, high=high_draft)
    if not doublings:
        return () if math.isclose(card_tex, roving_tex, rel_tol=SAME_COUNT) else None
    total = card_tex * math.prod(doublings) / roving_tex
    draft = total ** (1 / len(doublings))
    if not low_draft * (1 - SAME_COUNT) <= draft <= high_draft * (1 + SAME_COUNT):
        return None
    chain: list[Drawing] = []
    now_tex = card_tex
    for ends in doublings:
        out_tex = drawn_tex(in_tex=now_tex, doublings=ends, draft=draft)
        chain.append(Drawing(now_tex, ends, draft, out_tex))
        now_tex = out_tex
    return tuple(chain)


SAME_COUNT = 1e-9


@dataclass(frozen=True, slots=True)
class Draft:
    """One draft a frame can be set to; `setting` says how ("33 teeth"), empty where it is stepless."""

    draft: float
    setting: str = ""


@dataclass(frozen=True, slots=True)
class Gears:
    """The drafts of a frame: ``constant / teeth``; or any draft in its window where no pinions are given.

    Parameters
    ----------
    low_draft, high_draft : float
        Window that drafts well.
    constant : float or None
        Draft constant of the head.
    teeth : tuple of int
        Change pinions the mill has.
    sweet_draft : float or None
        Where it runs best; None: the middle of the window by ratio.
    """

    low_draft: float
    high_draft: float
    constant: float | None = None
    teeth: tuple[int, ...] = ()
    sweet_draft: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.low_draft <= self.high_draft:
            raise InputError("drafts", (self.low_draft, self.high_draft), "above zero, the lower one first")
        if self.teeth and (self.constant is None or self.constant <= 0 or min(self.teeth) <= 0):
            raise InputError("change pinions", self.teeth, "given with a draft constant above zero")

    @property
    def sweet(self) -> float:
        """Draft at which it runs best."""
        return self.sweet_draft or math.sqrt(self.low_draft * self.high_draft)

    def drafts(self) -> tuple[Draft, ...]:
        """Drafts of the pinions that fall in the window; none where it is stepless."""
        if self.constant is None:
            return ()
        found = (Draft(self.constant / n, f"{n} teeth") for n in self.teeth)
        return tuple(one for one in found if self.low_draft <= one.draft <= self.high_draft)

    def tooth_step_frac(self) -> float:
        """Half the widest step of count between neighbouring pinions [frac]; 0 where it is stepless."""
        drafts = sorted(one.draft for one in self.drafts())
        steps = [wide / narrow - 1 for narrow, wide in pairwise(drafts)]
        return max(steps, default=0.0) / 2

    def tooth_frac(self, draft: float) -> float:
        """What one tooth more or less does to the count at a draft [frac]: one over its teeth; 0 stepless."""
        return 0.0 if self.constant is None else draft / self.constant


@dataclass(frozen=True, slots=True)
class DraftChoice:
    """A roving with a draft: the front-roll count it gives [tex], how far off that is [frac], + heavier."""

    roving_tex: float
    draft: float
    setting: str
    out_tex: float
    error_frac: float


def choose_draft(
    *, roller_tex: float, roving_texs: Iterable[float], gears: Gears, most_error_frac: float = math.inf
) -> tuple[DraftChoice, ...]:
    """Rovings and drafts that give a front-roll count, best first.

    Ranked by ``|ln(roving / (draft x tex))|``, then nearest the sweet draft, then in the order of the rovings
    given (put what stands ready first). Empty where nothing is within the error allowed: then say the roving
    that would fit, `needed_roving_tex`.

    Examples
    --------
    >>> frame = Gears(low_draft=6, high_draft=25, constant=480, teeth=tuple(range(24, 61)))
    >>> best = choose_draft(roller_tex=205.1, roving_texs=[3000], gears=frame)[0]
    >>> best.setting, round(100 * best.error_frac, 1)
    ('33 teeth', 0.6)

    """
    _check(count=roller_tex)
    found = []
    for order, roving_tex in enumerate(roving_texs):
        _check(roving=roving_tex)
        for one in _drafts_for(roving_tex / roller_tex, gears):
            out_tex = roving_tex / one.draft
            choice = DraftChoice(roving_tex, one.draft, one.setting, out_tex, out_tex / roller_tex - 1)
            if abs(choice.error_frac) <= most_error_frac:
                found.append((_rank(choice, gears), order, choice))
    return tuple(choice for _, _, choice in sorted(found, key=lambda item: item[:2]))


def _drafts_for(wanted_draft: float, gears: Gears) -> tuple[Draft, ...]:
    if gears.constant is not None:
        return gears.drafts()
    fits = gears.low_draft <= wanted_draft <= gears.high_draft
    return (Draft(wanted_draft),) if fits else ()


def _rank(choice: DraftChoice, gears: Gears) -> tuple[float, float]:
    off = round(abs(math.log1p(choice.error_frac)), RANK_DIGITS)
    return off, abs(math.log(choice.draft / gears.sweet))


RANK_DIGITS = 9  # equal to the last digit but one counts as equal


def needed_roving_tex(*, roller_tex: float, draft: float) -> float:
    """Roving that a draft would bring to a front-roll count [tex]: ``draft x tex``."""
    _check(count=roller_tex, draft=draft)
    return roller_tex * draft


def nearest_draft(gears: Gears, *, wanted_draft: float) -> Draft:
    """The draft nearest to a wanted one that the frame can be set to."""
    drafts = gears.drafts()
    if gears.constant is None or not drafts:
        return Draft(min(max(wanted_draft, gears.low_draft), gears.high_draft))
    return min(drafts, key=lambda one: abs(math.log(one.draft / wanted_draft)))


def _check(**given: float) -> None:
    for name, value in given.items():
        if not value > 0 or not math.isfinite(value):
            raise InputError(name, value, "above zero")
