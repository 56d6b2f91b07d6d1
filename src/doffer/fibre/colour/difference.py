"""Colour differences: CIEDE2000, CMC(l:c), CIELAB, and the grey scale rating for change in colour."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables

WEAKEST_GRADE = "1"


@dataclass(frozen=True, eq=False, slots=True)
class Parts:
    """Terms of CIEDE2000, shape (...) each, sample less standard: ``dE^2 = l^2 + c^2 + h^2 + turn c h``."""

    lightness: Floats
    chroma: Floats
    hue: Floats
    turn: Floats


def de2000(
    standard: Floats, sample: Floats, *, k_l: float = 1.0, k_c: float = 1.0, k_h: float = 1.0
) -> Floats:
    """CIEDE2000 between L*a*b* values, shape (..., 3) each, result (...).

    Sharma, Wu and Dalal (2005), with their 34 test pairs; textile practice may set ``k_l = 2``. Meant for
    small differences (below about 5): use only the ranking above that.

    >>> round(float(de2000(np.array([50, 2.6772, -79.7751]), np.array([50, 0, -82.7485]))), 4)
    2.0425
    """
    parts = de2000_parts(standard, sample)
    x_l, x_c, x_h = parts.lightness / k_l, parts.chroma / k_c, parts.hue / k_h
    return np.asarray(np.sqrt(np.maximum(0.0, x_l**2 + x_c**2 + x_h**2 + parts.turn * x_c * x_h)))


def de2000_parts(standard: Floats, sample: Floats) -> Parts:
    """Lightness, chroma and hue terms of CIEDE2000 in units of what the eye tells, shape (..., 3) each."""
    l_1, a_1, b_1 = _split(standard)
    l_2, a_2, b_2 = _split(sample)
    mean_c7 = ((np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(mean_c7 / (mean_c7 + 25.0**7)))
    a_1, a_2 = (1 + g) * a_1, (1 + g) * a_2
    c_1, c_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    h_1, h_2 = np.degrees(np.arctan2(b_1, a_1)) % 360, np.degrees(np.arctan2(b_2, a_2)) % 360
    is_grey = c_1 * c_2 == 0
    dh = np.where(is_grey, 0.0, (h_2 - h_1 + 180) % 360 - 180)
    dh = np.where(~is_grey & (dh == -180), 180.0, dh)
    mean_l, mean_c, mean_h = (l_1 + l_2) / 2, (c_1 + c_2) / 2, _mean_hue(h_1, h_2, is_grey)
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * _hue_weight(mean_h)
    turn = 30 * np.exp(-(((mean_h - 275) / 25) ** 2))
    r_t = -np.sin(np.radians(2 * turn)) * 2 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    d_h = 2 * np.sqrt(c_1 * c_2) * np.sin(np.radians(dh / 2))
    return Parts((l_2 - l_1) / s_l, (c_2 - c_1) / s_c, d_h / s_h, r_t)


def _split(lab: Floats) -> tuple[Floats, Floats, Floats]:
    given = np.asarray(lab, dtype=np.float64)
    return given[..., 0], given[..., 1], given[..., 2]


def _hue_weight(mean_h: Floats) -> Floats:
    """The factor T of CIEDE2000."""
    return np.asarray(
        1
        - 0.17 * _cos(mean_h - 30)
        + 0.24 * _cos(2 * mean_h)
        + 0.32 * _cos(3 * mean_h + 6)
        - 0.20 * _cos(4 * mean_h - 63)
    )


def _mean_hue(h_1: Floats, h_2: Floats, is_grey: Floats) -> Floats:
    """Mean hue angle [deg] as CIEDE2000 defines it, discontinuity at 180 deg included."""
    total = h_1 + h_2
    near = np.abs(h_1 - h_2) <= 180
    far = np.where(total < 360, (total + 360) / 2, (total - 360) / 2)
    return np.where(is_grey, total, np.where(near, total / 2, far))


def _cos(degrees: Floats) -> Floats:
    return np.cos(np.radians(degrees))


def de_cmc(
    standard: Floats, sample: Floats, *, lightness_factor: float = 2.0, chroma_factor: float = 1.0
) -> Floats:
    """CMC(l:c) from a standard to a sample, shape (..., 3) each; not symmetric, the standard comes first.

    l:c = 2:1 for acceptability, 1:1 for perceptibility (BS 6923, ISO 105-J03; from memory, unverified; equal
    to an independent library to 1e-9 in the tests).
    """
    l_1, a_1, b_1 = _split(standard)
    l_2, a_2, b_2 = _split(sample)
    c_1, c_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    h_1 = np.degrees(np.arctan2(b_1, a_1)) % 360
    d_l, d_c = l_1 - l_2, c_1 - c_2
    d_h2 = np.maximum(0.0, (a_1 - a_2) ** 2 + (b_1 - b_2) ** 2 - d_c**2)
    s_l = np.where(l_1 < 16, 0.511, 0.040975 * l_1 / (1 + 0.01765 * l_1))
    s_c = 0.0638 * c_1 / (1 + 0.0131 * c_1) + 0.638
    f = np.sqrt(c_1**4 / (c_1**4 + 1900))
    t = np.where(
        (h_1 >= 164) & (h_1 <= 345), 0.56 + np.abs(0.2 * _cos(h_1 + 168)), 0.36 + np.abs(0.4 * _cos(h_1 + 35))
    )
    s_h = s_c * (f * t + 1 - f)
    return np.asarray(
        np.sqrt((d_l / (lightness_factor * s_l)) ** 2 + (d_c / (chroma_factor * s_c)) ** 2 + d_h2 / s_h**2)
    )


class Formula(StrEnum):
    """The difference a tolerance is written in."""

    DE2000 = "de2000"
    CMC = "cmc"

    @property
    def name_in_print(self) -> str:
        """As standards write it."""
        return "CMC(2:1)" if self is Formula.CMC else "CIEDE2000"


def apart(standard: Floats, sample: Floats, formula: Formula) -> Floats:
    """The difference that a tolerance of this formula is held against, shape (...), of labs (..., 3).

    Whatever stands beside a tolerance, or decides by it, is reckoned here: CMC with l:c = 2:1 from the
    standard, or CIEDE2000.
    """
    reckon = de_cmc if formula is Formula.CMC else de2000
    return np.asarray(reckon(np.asarray(standard), np.asarray(sample)))


def de_ab(standard: Floats, sample: Floats) -> Floats:
    """CIELAB 1976 difference, the plain distance in L*a*b*, shape (..., 3) each."""
    return np.asarray(np.linalg.norm(np.asarray(sample) - np.asarray(standard), axis=-1))


@dataclass(frozen=True, slots=True)
class GreyScale:
    """Rating for change in colour: the difference behind it, the rating 1 to 5, its half-step grade."""

    de_f: float
    rating: float
    grade: str


def grey_scale(standard: Floats, sample: Floats, tables: Tables) -> GreyScale:
    """Grey scale rating of one pair, shape (3,) each.

    ``GS = 5 - dE_F / 1.7`` up to 3.4, beyond ``5 - log2(dE_F / 0.85)``; grades by table grey_scale (ISO
    105-A05, formula and limits from memory, unverified; they reproduce the steps of EN 20105-A02).

    >>> from doffer.tables.loader import load_tables
    >>> grey_scale(np.array([50.0, 0, 0]), np.array([51.7, 0, 0]), load_tables()).grade
    '4'
    """
    de_f = float(_grey_scale_de(standard, sample))
    rating = 5 - de_f / 1.7 if de_f <= 3.4 else 5 - float(np.log2(de_f / 0.85))
    limits = sorted((row.de, row.grade) for row in tables.grey_scale.values() if row.kind == "limit")
    grade = next((grade for limit, grade in limits if de_f < limit), WEAKEST_GRADE)
    return GreyScale(de_f, max(1.0, rating), grade)


def _grey_scale_de(standard: Floats, sample: Floats) -> Floats:
    """The difference dE_F that the grey scale rates."""
    l_1, a_1, b_1 = _split(standard)
    l_2, a_2, b_2 = _split(sample)
    c_1, c_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    h_1, h_2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a_1, b_1), (a_2, b_2)))
    turn = (h_2 - h_1 + 180) % 360 - 180
    d_c = c_2 - c_1
    d_h = np.sign(turn) * np.sqrt(np.maximum(0.0, (a_2 - a_1) ** 2 + (b_2 - b_1) ** 2 - d_c**2))
    c_m, h_m = (c_1 + c_2) / 2, (h_1 + turn / 2) % 360
    away = np.abs(h_m - 280)
    x = (np.where(away > 180, 360 - away, away) / 30) ** 2
    d = d_c * c_m * np.exp(-x) / 100
    d_cf = (d_c - d) / (1 + (20 * c_m / 1000) ** 2)
    d_hf = (d_h - d) / (1 + (10 * c_m / 1000) ** 2)
    return np.asarray(np.sqrt((l_2 - l_1) ** 2 + d_cf**2 + d_hf**2))
