"""Row types of the tables on colour; see `rows` for how a field says its rule."""

from __future__ import annotations

from dataclasses import dataclass

from doffer.tables.cells import key, maybe_number, number, number_key, text
from doffer.tables.rows import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class TristimulusWeight(Row):
    """The weight of one wavelength in X, Y and Z under a light, for an observer; Y of white sums to 100."""

    nm: float = number_key(400, 700)
    illuminant: str = key(choices=("D65", "A", "LED-B3", "FL11"))
    observer_deg: float = number_key(2, 10)
    x: float = number(-5, 100)
    y: float = number(-5, 100)
    z: float = number(-5, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourPair(Row):
    """A published pair of colours with its CIEDE2000 difference, to check the formula."""

    pair: float = number_key(1, 34)
    lab_l_1: float = number(0, 100)
    lab_a_1: float = number(-130, 130)
    lab_b_1: float = number(-130, 130)
    lab_l_2: float = number(0, 100)
    lab_a_2: float = number(-130, 130)
    lab_b_2: float = number(-130, 130)
    de2000: float = number(0, 150)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourModel(Row):
    """A constant of a blend model, or its published error, with the data it was found on."""

    model: str = key(choices=("stearns_noechel", "friele", "kubelka_munk", "two_constant", "any"))
    quantity: str = key(choices=("m", "ln_m_sd", "sigma", "error_mean", "error_most"))
    data: str = key()
    value: float = number(0, 100)
    unit: str = text()


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyScaleGrade(Row):
    """A grade of the grey scale: the limit of its class, or the step of the physical scale."""

    kind: str = key(choices=("limit", "step"))
    grade: str = key()
    de: float = number(0, 20)
    tolerance_de: float | None = maybe_number(0, 5)
