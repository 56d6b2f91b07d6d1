"""The way of a dye bath through time: its steps as a line of temperature over minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doffer.errors import InputError

TAP_C = 20.0
SLACK_MIN = 0.5  # a ramp typed in whole minutes may end that much late


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveStep:
    """A step as it was written down: minutes in all, temperature at its end [C], how fast it gets there."""

    what: str
    minutes: float
    temperature_c: float | None = None
    ramp_c_per_min: float | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """A step on the line: from minute to minute, from degree to degree.

    `there_min` is when its temperature is reached, before `end_min` where the step then holds.
    `is_too_short` says that the heating does not get there in its minutes.
    """

    what: str
    start_min: float
    there_min: float
    end_min: float
    start_c: float
    end_c: float
    is_too_short: bool = False

    @property
    def heating_min(self) -> float:
        """Minutes of rising temperature."""
        return self.there_min - self.start_min if self.end_c > self.start_c else 0.0


def dye_curve(steps: Sequence[CurveStep]) -> tuple[Stretch, ...]:
    """Steps one after another.

    A step with a rate moves at that rate to its temperature and holds there until its minutes are over; one
    without a rate moves evenly over all its minutes; one without temperature holds. The first step stands at
    its temperature from the start, or begins where its rate and minutes lead from, never below tap water
    (20 C, common practice).

    Raises
    ------
    InputError
        A step without minutes.
    """
    line: list[Stretch] = []
    at_min, at_c = 0.0, _first_c(steps)
    for step in steps:
        if step.minutes <= 0:
            raise InputError("minutes of the step", f"{step.minutes:g}", "above zero", step.what)
        end_c = at_c if step.temperature_c is None else step.temperature_c
        needs_min = abs(end_c - at_c) / step.ramp_c_per_min if step.ramp_c_per_min else step.minutes
        reaches = needs_min <= step.minutes + SLACK_MIN
        if not reaches and step.ramp_c_per_min:
            way = 1.0 if end_c > at_c else -1.0
            end_c = at_c + way * step.ramp_c_per_min * step.minutes
        line.append(
            Stretch(
                step.what,
                at_min,
                at_min + (min(needs_min, step.minutes) if end_c != at_c else 0.0),
                at_min + step.minutes,
                at_c,
                end_c,
                is_too_short=not reaches,
            )
        )
        at_min, at_c = at_min + step.minutes, end_c
    return tuple(line)


def _first_c(steps: Sequence[CurveStep]) -> float:
    if not steps or steps[0].temperature_c is None:
        return TAP_C
    first = steps[0]
    if not first.ramp_c_per_min or first.temperature_c is None:
        return first.temperature_c or TAP_C
    return max(TAP_C, first.temperature_c - first.ramp_c_per_min * first.minutes)


def temperature_at(line: Sequence[Stretch], at_min: float) -> float | None:
    """Where the bath should be at a minute [C]; None before and after."""
    for part in line:
        if part.start_min <= at_min <= part.end_min:
            if at_min >= part.there_min:
                return part.end_c
            share = (at_min - part.start_min) / (part.there_min - part.start_min)
            return part.start_c + share * (part.end_c - part.start_c)
    return None
