"""The dip stick: how high a bath stands in a kettle, so that water is run in to a mark and not by litres."""

from __future__ import annotations

import math
from dataclasses import dataclass

from doffer.errors import InputError
from doffer.working import Status, Term, Working

MM3_PER_L = 1e6
MM_PER_CM = 10.0
NARROWEST_MM, WIDEST_MM = 100.0, 2000.0
LEAST_L, MOST_L = 0.1, 2000.0
LEAST_MM, MOST_MM = 5.0, 2000.0
LEAST_APART_MM = 20.0  # nearer marks would carry a reading off by a millimetre too far along their line


@dataclass(frozen=True, slots=True)
class StickMark:
    """A known bath: so many litres stand so high on the stick, from the floor of the kettle [mm]."""

    volume_l: float
    height_mm: float

    def __post_init__(self) -> None:
        if not LEAST_L <= self.volume_l <= MOST_L:
            allowed = f"from {LEAST_L:g} to {MOST_L:g} L"
            raise InputError("litres of the mark", f"{self.volume_l:g} L", allowed)
        if not LEAST_MM <= self.height_mm <= MOST_MM:
            allowed = f"from {LEAST_MM / MM_PER_CM:g} to {MOST_MM / MM_PER_CM:g} cm"
            raise InputError("height of the mark", f"{self.height_mm / MM_PER_CM:g} cm", allowed)


@dataclass(frozen=True, slots=True, kw_only=True)
class KettleShape:
    """What is known of a kettle's inside: its inner diameter [mm], or two baths that were measured in.

    Walls are taken as upright between floor and brim. Two marks also take in a floor that is not flat, as
    long as the lower mark stands above it.

    Raises
    ------
    InputError
        Neither, a diameter no kettle has, or two marks that do not both rise.
    """

    bore_mm: float | None = None
    low: StickMark | None = None
    high: StickMark | None = None

    def __post_init__(self) -> None:
        if self.low and self.high:
            rises = self.high.height_mm >= self.low.height_mm + LEAST_APART_MM
            if not (self.high.volume_l >= self.low.volume_l + LEAST_L and rises):
                raise InputError(
                    "second mark",
                    f"{self.high.volume_l:g} L at {self.high.height_mm / MM_PER_CM:g} cm",
                    f"more litres and higher than {self.low.volume_l:g} L at "
                    f"{self.low.height_mm / MM_PER_CM:g} cm, by {LEAST_APART_MM / MM_PER_CM:g} cm at least",
                )
        elif self.bore_mm is None or self.low or self.high:
            raise InputError("shape of the kettle", "", "its inner diameter, or two marks with their litres")
        elif not NARROWEST_MM <= self.bore_mm <= WIDEST_MM:
            allowed = f"from {NARROWEST_MM / MM_PER_CM:g} to {WIDEST_MM / MM_PER_CM:g} cm"
            raise InputError("inner diameter", f"{self.bore_mm / MM_PER_CM:g} cm", allowed)


@dataclass(frozen=True, slots=True)
class DipMark:
    """Where the bath stands on the stick [mm]; `is_measured` when it lies between two measured marks."""

    height_mm: float
    is_measured: bool
    working: Working


def dip_mark(shape: KettleShape, *, volume_l: float) -> DipMark:
    """How high these litres stand, from the floor of the kettle.

    By diameter ``h = V / (pi d^2 / 4)``: 1 L is 10^6 mm3. By two marks ``h = h1 + (V - V1) (h2 - h1) / (V2 -
    V1)``, carried on along the same line outside them. Upright walls, nothing but water in the kettle: fibre
    lifts the level. Arithmetic of a cylinder.

    Parameters
    ----------
    volume_l : float
        Bath [L], above 0.

    Raises
    ------
    InputError
        No bath, or less than what lies below the floor of the line through both marks.
    """
    if not 0 < volume_l <= MOST_L:
        raise InputError("bath", f"{volume_l:g} L", f"above 0 and at most {MOST_L:g} L")
    if shape.low and shape.high:
        return _between(shape.low, shape.high, volume_l)
    bore_mm = shape.bore_mm or 0.0
    height_mm = volume_l * MM3_PER_L / (math.pi * bore_mm**2 / 4)
    return DipMark(
        height_mm,
        is_measured=False,
        working=Working(
            title="Dip mark",
            formula="height = litres ÷ (π × inner diameter² ÷ 4)",
            inputs=(Term("bath", volume_l, "l"), Term("inner diameter", bore_mm, "mm")),
            result=Term("on the stick", height_mm, "mm", "from the floor of the kettle"),
            source="a kettle with upright walls and a flat floor",
            status=Status.COMPUTED,
        ),
    )


def _between(low: StickMark, high: StickMark, volume_l: float) -> DipMark:
    rise_mm = (high.height_mm - low.height_mm) / (high.volume_l - low.volume_l)
    height_mm = low.height_mm + (volume_l - low.volume_l) * rise_mm
    if height_mm <= 0:
        raise InputError("bath", f"{volume_l:g} L", "enough to stand above the floor of this kettle")
    return DipMark(
        height_mm,
        is_measured=low.volume_l <= volume_l <= high.volume_l,
        working=Working(
            title="Dip mark",
            formula="height = lower mark + (litres − its litres) × rise of the stick for each litre",
            inputs=(
                Term("bath", volume_l, "l"),
                Term("lower mark", low.height_mm, "mm", f"at {low.volume_l:g} L"),
                Term("upper mark", high.height_mm, "mm", f"at {high.volume_l:g} L"),
            ),
            result=Term("on the stick", height_mm, "mm", "from the floor of the kettle"),
            source="two baths measured into this kettle",
            status=Status.OWN,
        ),
    )
