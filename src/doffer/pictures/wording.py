"""The one formatter: how a number is said to a mill person, in metric or in US units.

Every screen, paper and terminal says numbers through `say`, so 1770 g is "1.77 kg" everywhere. Values come
in as base units (g, tex, um, mm, m, C, min, ml, fractions 0..1); US units are made here and nowhere else.
Number and unit are tied by a narrow no-break space, which also groups thousands: it can never be read as a
decimal point. Conversion factors are exact by definition (lb = 453.59237 g, yd = 0.9144 m, in = 25.4 mm).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from doffer.errors import InputError

THIN: Final = "\u202f"  # narrow no-break space
MINUS: Final = "\u2212"
NOTHING: Final = "–"
UNKNOWN: Final = "not known"
LARGEST: Final = 1e15  # no figure of a mill comes near; beyond it something has gone wrong
SYSTEMS: Final = ("metric", "us")

G_PER_LB: Final = 453.59237
OZ_PER_LB: Final = 16
G_PER_OZ: Final = G_PER_LB / OZ_PER_LB
M_PER_YD: Final = 0.9144
MM_PER_IN: Final = 25.4
L_PER_GAL: Final = 3.785411784
YD_PER_LB_TEX: Final = 1000 * G_PER_LB / M_PER_YD  # yd/lb = this / tex
TURNS_M_PER_IN: Final = 1000 / MM_PER_IN
G_PER_KG: Final = 1000
MIN_PER_H: Final = 60
SIGNIFICANT: Final = 3

Value = float | int | str | None


@dataclass(frozen=True, slots=True)
class Shown:
    """How a unit is shown: value x factor + offset, the word behind it, fixed decimals or None."""

    word: str
    factor: float = 1.0
    offset: float = 0.0
    decimals: int | None = None


METRIC: Final = {
    "frac": Shown("%", 100),
    "tex": Shown("tex"),
    "um": Shown("micron", decimals=1),
    "mm": Shown("mm", decimals=0),
    "cm": Shown("cm", decimals=0),
    "m": Shown("m"),
    "tpm": Shown("turns/m", decimals=0),
    "c": Shown("°C", decimals=0),
    "ml": Shown("mL"),
    "l": Shown("L"),
    "count": Shown("", decimals=0),
    "": Shown(""),
    "g_per_m": Shown("g/m"),
    "g_per_l": Shown("g/L"),
    "g_per_kg": Shown("g/kg"),
    "ml_per_kg": Shown("mL/kg"),
    "kg_per_h": Shown("kg/h"),
    "m_per_min": Shown("m/min"),
    "m_per_100g": Shown("m/100 g"),
    "g_cm3": Shown("g/cm³"),
    "l_per_kg": Shown("L/kg"),
    "dtex": Shown("dtex"),
    "rpm": Shown("turns/min", decimals=0),
    "points": Shown("points"),
}
US: Final = {
    "mm": Shown("in", 1 / MM_PER_IN, decimals=1),
    "cm": Shown("in", 10 / MM_PER_IN, decimals=1),
    "m": Shown("yd", 1 / M_PER_YD),
    "tpm": Shown("turns/in", 1 / TURNS_M_PER_IN, decimals=1),
    "c": Shown("°F", 9 / 5, 32, decimals=0),
    "l": Shown("gal", 1 / L_PER_GAL),
    "kg_per_h": Shown("lb/h", G_PER_KG / G_PER_LB),
    "m_per_min": Shown("yd/min", 1 / M_PER_YD),
    "m_per_100g": Shown("yd/lb", G_PER_LB / 100 / M_PER_YD),
}
MASS_G: Final = {"g": 1.0, "kg": 1000.0, "mg": 0.001}
TIME_MIN: Final = {"min": 1.0, "h": 60.0, "s": 1 / 60}


def say(value: Value, unit: str = "", system: str = "metric", digits: int | None = None) -> str:
    """Say a number with its unit as a mill person writes it.

    Parameters
    ----------
    value : float, int, str or None
        In base units of `unit`; a text is passed through, None is said as an en dash.
    unit : str
        g, kg, mg, frac (0..1, said as %), tex, um, mm, cm, m, tpm, c, s, min, h, ml, l, count, "" and the
        rates of `METRIC`.
    system : str
        "metric" or "us" (lb and oz, yd, in, degrees F, yd/lb).
    digits : int, optional
        Decimals in the shown unit; without it three significant figures or the habit of the unit.

    Raises
    ------
    InputError
        The unit or the system is not known here.

    Examples
    --------
    >>> say(1770, "g").replace(THIN, " "), say(1984.5, "g", "us").replace(THIN, " ")
    ('1.77 kg', '4 lb 6 oz')

    """
    if isinstance(value, str):
        return value
    if value is None:
        return NOTHING
    if math.isnan(value) or abs(value) >= LARGEST:
        return UNKNOWN
    _check(unit, system)
    if unit in MASS_G:
        return _say_mass(value * MASS_G[unit], system, digits)
    if unit in TIME_MIN:
        return say_duration(value * TIME_MIN[unit])
    if unit == "tex" and system == "us" and value > 0:
        return _plain(YD_PER_LB_TEX / value, digits, "yd/lb")
    shown = _shown(unit, system)
    decimals = shown.decimals if digits is None else digits
    is_share = unit == "frac" and digits is None
    return _plain(value * shown.factor + shown.offset, decimals, shown.word, trim=is_share)


def say_range(
    low: float, high: float, unit: str = "", system: str = "metric", digits: int | None = None
) -> str:
    """Say a range with its unit once: "1.61 to 1.95 kg"; one value where both are said alike."""
    _check(unit, system)
    first, second = say(low, unit, system, digits), say(high, unit, system, digits)
    if unit in MASS_G and system == "metric":
        word, divisor, decimals = _metric_mass(high * MASS_G[unit], digits)
        first, second = (
            _join(_number(each * MASS_G[unit] / divisor, decimals), word) for each in (low, high)
        )
    if first == second:
        return second
    head, _, first_word = first.rpartition(THIN)
    alike = first_word == second.rpartition(THIN)[2] and unit not in TIME_MIN and head.count(THIN) == 0
    return f"{head if alike and head else first} to {second}"


def say_spread(
    mean: float, low: float, high: float, unit: str = "", system: str = "metric", digits: int | None = None
) -> str:
    """Say a figure with its 90 % range: "1.77 kg, 90 %: 1.61 to 1.95 kg"."""
    return f"{say(mean, unit, system, digits)}, 90{THIN}%: {say_range(low, high, unit, system, digits)}"


def say_count(count_tex: float, system: str = "metric") -> str:
    """Say a yarn count by length per weight first, tex beside it: "250 m/100 g (400 tex)"."""
    if count_tex <= 0:
        return NOTHING
    plain = say(count_tex, "tex")
    if system == "us":
        return f"{say(count_tex, 'tex', 'us')} ({plain})"
    return f"{say(100_000 / count_tex, 'm_per_100g')} ({plain})"


def say_money(cents: int, currency: str) -> str:
    """Say money with two decimals and its currency: "12.50 EUR"."""
    return _join(_number(cents / 100, 2), currency)


def say_duration(minutes: float) -> str:
    """Say a time span: "45 s", "20 min", "2 h 20 min", "3 days"."""
    sign = MINUS if minutes < 0 else ""
    minutes = abs(minutes)
    if minutes < 1:
        return f"{sign}{round(minutes * 60)}{THIN}s"
    whole = round(minutes)
    hours, rest = divmod(whole, MIN_PER_H)
    days, left = divmod(hours, 24)
    if days >= 2:  # up to two days people count hours
        return f"{sign}{days} days" + (f" {left}{THIN}h" if left else "")
    parts = [f"{hours}{THIN}h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest}{THIN}min")
    return sign + " ".join(parts)


def say_short_mass(mass_g: float, system: str = "metric") -> str:
    """Say a weight in little room: "58.2 kg", "128.3 lb"; below one kilogram or pound as usual."""
    heavy_g, word = (G_PER_LB, "lb") if system == "us" else (float(G_PER_KG), "kg")
    if abs(mass_g) < heavy_g:
        return say(mass_g, "g", system)
    return _join(_number(mass_g / heavy_g, 1), word)


def mass_unit(system: str) -> str:
    """The heading over a column of weights: "kg" or "lb"."""
    return "lb" if system == "us" else "kg"


def _check(unit: str, system: str) -> None:
    if system not in SYSTEMS:
        raise InputError("units", system, "metric or us")
    if unit not in METRIC and unit not in MASS_G and unit not in TIME_MIN:
        raise InputError("unit", unit, "one of " + ", ".join(sorted({*METRIC, *MASS_G, *TIME_MIN} - {""})))


def _plain(value: float, decimals: int | None, word: str, *, trim: bool = False) -> str:
    """Number and word; a value that has grown past every measure is not known."""
    return _join(_number(value, decimals, trim=trim), word) if abs(value) < LARGEST else UNKNOWN


def _shown(unit: str, system: str) -> Shown:
    return US[unit] if system == "us" and unit in US else METRIC[unit]


def _metric_mass(mass_g: float, digits: int | None) -> tuple[str, float, int]:
    """Unit word, divisor and decimals of a mass: grams below 1 kg, then kilograms, one decimal at 100 kg."""
    size = abs(mass_g)
    decimals = _decimals(size) if digits is None else digits
    if round(size, decimals) < G_PER_KG:
        return "g", 1.0, decimals
    habit = 1 if size >= 100 * G_PER_KG else 2
    return "kg", float(G_PER_KG), habit if digits is None else digits


def _say_mass(mass_g: float, system: str, digits: int | None) -> str:
    if system == "metric":
        word, divisor, decimals = _metric_mass(mass_g, digits)
        number = _number(mass_g / divisor, decimals)
        is_whole = word == "g" and digits is None and not number.partition(".")[2].strip("0")
        return _join(number.partition(".")[0] if is_whole else number, word)
    sign = MINUS if mass_g < 0 else ""
    ounces = abs(mass_g) / G_PER_OZ
    under_pound = round(ounces, 1) < OZ_PER_LB
    decimals = digits if digits is not None else (0 if not under_pound else 1 if ounces >= 1 else 2)
    rounded = round(ounces, decimals)
    pounds = int(rounded // OZ_PER_LB)
    rest = rounded - pounds * OZ_PER_LB
    if pounds == 0:
        return _join(sign + _number(rest, decimals), "oz")
    return f"{sign}{_grouped(str(pounds))}{THIN}lb {_number(rest, decimals)}{THIN}oz"


def _number(value: float, decimals: int | None, *, trim: bool = False) -> str:
    """A number with its decimals, a true minus and grouped thousands."""
    if decimals is None:
        decimals = _decimals(value)
        trim = trim or float(value).is_integer()
    text = _rounded(abs(value), decimals)
    if trim and "." in text:
        text = text.rstrip("0").rstrip(".")
    whole, dot, rest = text.partition(".")
    is_negative = value < 0 and any(digit not in "0." for digit in text)
    return (MINUS if is_negative else "") + _grouped(whole) + dot + rest


def _rounded(size: float, decimals: int) -> str:
    """Halves are rounded up, as people do: 3.55 is said 3.6."""
    step = Decimal(1).scaleb(-decimals)
    return f"{Decimal(repr(float(size))).quantize(step, rounding=ROUND_HALF_UP):f}"


def _decimals(value: float) -> int:
    """Three significant figures, at most two decimals; more only to show that a small value is not zero."""
    size = abs(value)
    if size == 0:
        return 0
    magnitude = math.floor(math.log10(size))
    if magnitude < -2:  # below 0.01
        return min(9, -magnitude)
    return min(2, max(0, SIGNIFICANT - 1 - magnitude))


def _grouped(whole: str) -> str:
    """Thousands apart by a narrow space, from five digits on (1240 stays one word)."""
    if len(whole) < 5:
        return whole
    return f"{int(whole):,}".replace(",", THIN)


def _join(number: str, word: str) -> str:
    return f"{number}{THIN}{word}" if word else number
