"""From samples to what a person is told: the mean, a 90 % range, and what is safe to promise."""

from __future__ import annotations

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
    """Sum up samples; `safe` is their `promise_quantile` (0.15: met or beaten 85 times in 100).

    A quantile of a product is not the product of quantiles: always spread the samples of the figure itself.
    """
    if not 0 < promise_quantile < 1:
        raise InputError("promise quantile", promise_quantile, "between 0 and 1")
    low, safe, high = np.quantile(samples, [RANGE_LOW, promise_quantile, RANGE_HIGH])
    return Spread(mean=float(samples.mean()), low=float(low), high=float(high), safe=float(safe))
