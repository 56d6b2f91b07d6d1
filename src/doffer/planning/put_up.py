"""Put-up: how many skeins, how many metres, what to promise."""

from __future__ import annotations

import math
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.fibre.arrays import Floats


@dataclass(frozen=True, slots=True)
class PutUp:
    """Full skeins (or bumps, batts) out of a mass, and what is left over [g]."""

    n_pieces: int
    piece_mass_g: float
    over_mass_g: float


def put_up(*, mass_g: float, piece_mass_g: float, test_mass_g: float = 0.0) -> PutUp:
    """Whole pieces out of a mass, after a test skein was taken; never rounded up.

    >>> put_up(mass_g=7860, piece_mass_g=100, test_mass_g=40)
    PutUp(n_pieces=78, piece_mass_g=100, over_mass_g=20)
    """
    if piece_mass_g <= 0:
        raise InputError("weight of a piece", piece_mass_g, "above zero grams")
    if not 0 <= test_mass_g <= mass_g:
        raise InputError("test skein", test_mass_g, f"from 0 to {mass_g:g} g")
    rest = mass_g - test_mass_g
    n_pieces = math.floor(rest / piece_mass_g + WHOLE_DUST)
    return PutUp(n_pieces, piece_mass_g, max(0, rest - n_pieces * piece_mass_g))


WHOLE_DUST = 1e-9  # 7800.0000001 / 100 is 78 skeins, and so is 7799.9999999


M_PER_100G_TEX = 100_000  # by definition: tex is g in 1000 m


def length_samples_m(mass_g: Floats, *, length_m_per_100g: float, count_noise: Floats) -> Floats:
    """Metres of strand [m] = mass / 100 x m per 100 g x (1 + deviation of the count), shape (n,)."""
    return mass_g / 100 * length_m_per_100g * (1 + count_noise)
