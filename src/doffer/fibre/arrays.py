"""The one array type of the pure packages, and the same in single precision."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

SINGLE: Any = np.float32


def single(values: Floats) -> Floats:
    """The same numbers in single precision, contiguous, for searches that try very many.

    Typed as `Floats` so that one formula serves both precisions.
    """
    return np.ascontiguousarray(values, dtype=SINGLE)
