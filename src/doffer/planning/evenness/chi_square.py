"""What a standard deviation from a few samples says: intervals by the chi-square distribution."""

from __future__ import annotations

import math

from doffer.errors import InputError

CONFIDENCE = 0.95
SERIES_ENDS_AT = 1e-15
HALVINGS = 200
CLOSE_ENOUGH = 1e-12


def chi_square_below(x: float, *, n_free: int) -> float:
    """Share of chi-square with ``n_free`` degrees of freedom below x, by the series of the lower gamma.

    >>> round(chi_square_below(3.841, n_free=1), 3)
    0.95
    """
    if x <= 0:
        return 0.0
    a, half = n_free / 2, x / 2
    term = total = 1.0
    count = 0
    while term > SERIES_ENDS_AT * total:
        count += 1
        term *= half / (a + count)
        total += term
    return min(1.0, total * math.exp(a * math.log(half) - half - math.lgamma(a + 1)))


def chi_square_quantile(level: float, *, n_free: int) -> float:
    """The value that a share `level` of chi-square lies below, by halving.

    Raises
    ------
    InputError
        A level outside 0 to 1, or no degree of freedom.
    """
    if not 0 < level < 1 or n_free < 1:
        raise InputError("level and degrees of freedom", (level, n_free), "between 0 and 1, and 1 or more")
    low, high = 0.0, float(n_free)
    while chi_square_below(high, n_free=n_free) < level:
        high *= 2
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if chi_square_below(middle, n_free=n_free) < level:
            low = middle
        else:
            high = middle
        if high - low < CLOSE_ENOUGH * high:
            break
    return (low + high) / 2


def sd_interval(sd: float, *, n: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Ends of the true standard deviation behind one of n samples: ``s sqrt((n-1) / chi2)``, normal samples.

    >>> low, high = sd_interval(1.0, n=5)
    >>> round(low, 2), round(high, 2)
    (0.6, 2.87)

    Raises
    ------
    InputError
        Fewer than two samples, or a negative standard deviation.
    """
    if n < 2 or sd < 0:
        raise InputError("samples", n, "two or more, with a spread of zero or more")
    tail = (1 - confidence) / 2
    free = n - 1
    low = sd * math.sqrt(free / chi_square_quantile(1 - tail, n_free=free))
    return low, sd * math.sqrt(free / chi_square_quantile(tail, n_free=free))
