"""What a few measured lengths say: mean, 95 % range, spread, and whether a difference is proven."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.planning.evenness.chi_square import sd_interval

CONFIDENCE = 0.95
HALVINGS = 200
ALIKE = 1e-9
WIDEST_T = 1000.0
FEW = 60  # above it Student's t is 2 to the second digit


@dataclass(frozen=True, slots=True)
class FewLengths:
    """Mean, ends of its 95 % range, coefficient of variation with its range; all in the unit measured.

    `cv` and its ends are None where the readings tell none; then the range of the mean rests on the usual
    spread. `spread_frac` is the one it rests on [frac].
    """

    n: int
    mean: float
    low: float
    high: float
    cv: float | None
    cv_low: float | None
    cv_high: float | None
    spread_frac: float
    is_spread_usual: bool

    def differs_from(self, wanted_value: float) -> bool:
        """Whether so few readings prove that the true mean is not the wanted one (95 %)."""
        return not self.low <= wanted_value <= self.high

    def enough_for(self, difference_frac: float) -> int | None:
        """About how many readings would prove a difference of so much [frac]; None without a difference.

        The fewest n above those there are with ``t CV / sqrt(n) < d``, t Student's with n - 1; of many
        ``(2 CV / d)^2 + 1``.
        """
        if difference_frac == 0:
            return None
        many = math.ceil((2 * self.spread_frac / abs(difference_frac)) ** 2 + 1)
        if many > FEW:
            return max(many, self.n + 1)
        n = self.n + 1
        while student_t(n_free=n - 1) * self.spread_frac / math.sqrt(n) >= abs(difference_frac):
            n += 1
        return n


NORMAL_95 = 1.959964  # standard deviations to either side of 95 %


def few_lengths(readings: Sequence[float], *, usual_cv_frac: float) -> FewLengths:
    """Sum up readings of one thing: ``mean +- t s / sqrt(n)``, t Student's with n - 1.

    Parameters
    ----------
    readings : sequence of float
        Each above zero.
    usual_cv_frac : float
        Spread taken where there is only one reading, or where all of them are alike [frac].

    Raises
    ------
    InputError
        No reading, or one that is not above zero.

    Examples
    --------
    >>> found = few_lengths([2.0, 2.1, 2.2], usual_cv_frac=0.045)
    >>> round(found.mean, 2), round(found.low, 2), round(found.high, 2)
    (2.1, 1.85, 2.35)

    """
    if not readings or not all(reading > 0 and math.isfinite(reading) for reading in readings):
        raise InputError("readings", tuple(readings), "one or more, each above zero")
    n, mean = len(readings), math.fsum(readings) / len(readings)
    if n == 1:
        off = NORMAL_95 * usual_cv_frac * mean
        return FewLengths(
            1, mean, mean - off, mean + off, None, None, None, usual_cv_frac, is_spread_usual=True
        )
    sd = math.sqrt(math.fsum((reading - mean) ** 2 for reading in readings) / (n - 1))
    off = student_t(n_free=n - 1) * sd / math.sqrt(n)
    if sd <= ALIKE * mean:  # the scale was too coarse to tell them apart: that proves nothing
        off = student_t(n_free=n - 1) * usual_cv_frac * mean / math.sqrt(n)
        return FewLengths(
            n, mean, mean - off, mean + off, None, None, None, usual_cv_frac, is_spread_usual=True
        )
    low, high = sd_interval(sd, n=n, confidence=CONFIDENCE)
    return FewLengths(
        n,
        mean,
        mean - off,
        mean + off,
        sd / mean,
        low / mean,
        high / mean,
        sd / mean,
        is_spread_usual=False,
    )


def student_t(*, n_free: int, confidence: float = CONFIDENCE) -> float:
    """The value that a share `confidence` of Student's t lies within, to both sides, by halving.

    >>> round(student_t(n_free=4), 3)
    2.776
    """
    if n_free < 1 or not 0 < confidence < 1:
        raise InputError("degrees of freedom", (n_free, confidence), "1 or more, and a confidence of 0 to 1")
    low, high = 0.0, WIDEST_T
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, n_free) < confidence else (low, middle)
    return (low + high) / 2


def _within(t: float, n_free: int) -> float:
    """Share of Student's t between -t and t, by the finite series in the angle ``atan(t / sqrt(n))``."""
    angle = math.atan(t / math.sqrt(n_free))
    cosine, sine = math.cos(angle), math.sin(angle)
    if n_free == 1:
        return 2 * angle / math.pi
    term = total = cosine if n_free % 2 else 1.0
    for place in range(3 if n_free % 2 else 2, n_free - 1, 2):
        term *= cosine**2 * (place - 1) / place
        total += term
    return 2 / math.pi * (angle + sine * total) if n_free % 2 else sine * total
