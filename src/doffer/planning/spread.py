"""From samples to what a person is told: the mean, a 90 % range, and what is safe to promise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats

RANGE_LOW, RANGE_HIGH = 0.05, 0.95  # the two ends of a 90 % range


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean, 90 % range (5 % and 95 % quantile) and the safe promise, all in the unit of the samples."""

    mean: float
    low: float
    high: float
    safe: float


def spread(samples: Floats, *, promise_quantile: float) -> Spread:
    """Sum up samples, shape (n,); see `spreads`."""
    return spreads([samples], promise_quantile=promise_quantile)[0]


def spreads(many_samples: Sequence[Floats], *, promise_quantile: float) -> list[Spread]:
    """Sum up several figures at once, each of shape (n,) or (1,).

    `safe` is the `promise_quantile` (0.15: met or beaten 85 times in 100). A quantile of a product is not
    the product of quantiles: always spread the samples of the figure itself.
    """
    if not 0 < promise_quantile < 1:
        raise InputError("promise quantile", promise_quantile, "between 0 and 1")
    rows = np.stack(np.broadcast_arrays(*many_samples))
    lows, safes, highs = np.quantile(rows, [RANGE_LOW, promise_quantile, RANGE_HIGH], axis=1)
    return [
        Spread(mean=float(mean), low=float(low), high=float(high), safe=float(safe))
        for mean, low, high, safe in zip(rows.mean(axis=1), lows, highs, safes, strict=True)
    ]
