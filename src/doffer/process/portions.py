"""Splitting grams into portions a scale can show, with sums that are exact."""

from __future__ import annotations

import math
from collections.abc import Sequence

from doffer.errors import InputError


def whole_portions(total_g: int, *, n_portions: int) -> tuple[int, ...]:
    """Split whole grams into equal portions that differ by 1 g at the most; the heavier come first.

    >>> whole_portions(2110, n_portions=6)
    (352, 352, 352, 352, 351, 351)
    """
    if n_portions < 1:
        raise InputError("number of portions", n_portions, "1 or more")
    if total_g < 0:
        raise InputError("grams to split", total_g, "zero or more")
    small, n_heavier = divmod(total_g, n_portions)
    return tuple(small + (1 if place < n_heavier else 0) for place in range(n_portions))


def apportion(total: int, weights: Sequence[float]) -> tuple[int, ...]:
    """Share out a whole number in proportion to weights, by largest remainder; the sum is exact.

    Ties go to the larger weight, then to the earlier place.

    >>> apportion(100, [1, 1, 1])
    (34, 33, 33)
    """
    weight_sum = math.fsum(weights)
    if weight_sum <= 0 or min(weights) < 0:
        raise InputError("shares", list(weights), "zero or more, with something above zero")
    exact = [total * weight / weight_sum for weight in weights]
    whole = [math.floor(share + ROUNDING_DUST) for share in exact]
    order = sorted(range(len(weights)), key=lambda i: (whole[i] - exact[i], -weights[i], i))
    for place in order[: total - sum(whole)]:
        whole[place] += 1
    return tuple(whole)


ROUNDING_DUST = 1e-9  # a share that is whole but for the last bits of a float counts as whole
