"""Moist air in the mill's rooms, by the psychrometric relations of ASHRAE Fundamentals (2017, chapter 1).

PsychroLib does the arithmetic; its unit system is a module global, so it is set here once and nowhere else.
It treats air as an ideal gas: humidity ratios lie about 0.4 % below tables with the enhancement factor.
"""

from __future__ import annotations

from dataclasses import dataclass

import psychrolib

from doffer.errors import InputError

psychrolib.SetUnitSystem(psychrolib.SI)

COLDEST_C, WARMEST_C = -40.0, 60.0  # rooms of a mill and the weather outside


@dataclass(frozen=True, slots=True)
class MoistAir:
    """State of air: water per dry air [kg/kg], dew point and wet bulb [C], volume [m3 per kg dry air]."""

    humidity_ratio: float
    vapour_pressure_pa: float
    dew_point_c: float
    wet_bulb_c: float
    volume_m3_per_kg: float


def moist_air(*, temp_c: float, rh_frac: float, altitude_m: float = 0.0) -> MoistAir:
    """State of air at a temperature, relative humidity and altitude.

    Raises
    ------
    InputError
        Humidity outside 0..1, or a temperature no mill has.
    """
    if not COLDEST_C <= temp_c <= WARMEST_C:
        raise InputError("temperature", temp_c, f"from {COLDEST_C:g} to {WARMEST_C:g} °C")
    if not 0 <= rh_frac <= 1:
        raise InputError("relative humidity", rh_frac, "from 0 to 1 (100 %)")
    pressure = psychrolib.GetStandardAtmPressure(altitude_m)
    ratio = psychrolib.GetHumRatioFromRelHum(temp_c, rh_frac, pressure)
    return MoistAir(
        humidity_ratio=ratio,
        vapour_pressure_pa=psychrolib.GetVapPresFromRelHum(temp_c, rh_frac),
        dew_point_c=psychrolib.GetTDewPointFromRelHum(temp_c, rh_frac),
        wet_bulb_c=psychrolib.GetTWetBulbFromHumRatio(temp_c, ratio, pressure),
        volume_m3_per_kg=psychrolib.GetMoistAirVolume(temp_c, ratio, pressure),
    )


def saturation_pressure_pa(*, temp_c: float) -> float:
    """Vapour pressure of saturated air [Pa] over water, over ice below 0 C."""
    return float(psychrolib.GetSatVapPres(temp_c))
