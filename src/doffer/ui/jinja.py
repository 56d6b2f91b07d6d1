"""The template environment: filters that say numbers, the few globals that every page needs.

Filters that depend on the mill's units or country read `units` (a page may set it, for an owner with other
habits) or `mill` from the context. Macros must therefore be imported `with context`; without it the filter
refuses instead of silently speaking metric to a mill that weighs in pounds.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.templatetags.static import static
from django.urls import reverse
from jinja2 import Environment, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from doffer.exchange.spectra import MOST_BYTES
from doffer.pictures import bench, calendar_words, doses, wording, words
from doffer.ui.icons import icon
from doffer.ui.places import PLACES
from doffer.working import Status


def environment(**options: Any) -> Environment:
    """Jinja environment for Django's backend: everything escaped, an unknown name is an error."""
    ours = {"autoescape": True, "undefined": StrictUndefined, "trim_blocks": True, "lstrip_blocks": True}
    env = Environment(**{**options, **ours}, extensions=["jinja2.ext.do"])  # noqa: S701 - it is in `ours`
    env.globals.update(static=static, url=_url, icon=icon, PLACES=PLACES, Status=Status, picture=picture)
    env.globals.update(most_spectra_bytes=MOST_BYTES)
    env.filters.update(FILTERS)
    return env


def picture(svg: str) -> Markup:
    """Mark the text of one of our own pictures as SVG; the picture functions escape what they are given."""
    return Markup(svg)  # noqa: S704


def _url(name: str, **parts: object) -> str:
    """Address of a named page: url("lot", code="L001")."""
    return reverse(name, kwargs=parts)


def _system(context: Context) -> str:
    """The units this page speaks; loud when a macro was imported without its context."""
    units = context.get("units")
    if units:
        return str(units)
    mill = context.get("mill")
    if mill is None:
        raise RuntimeError("import this macro `with context`: the units of the mill are not known here")
    return str(_part(mill, "units"))


def _part(thing: Any, name: str) -> Any:
    return thing[name] if isinstance(thing, dict) else getattr(thing, name)


@pass_context
def _say(
    context: Context, value: wording.Value, unit: str = "", system: str = "", digits: int | None = None
) -> str:
    return wording.say(value, unit, system or _system(context), digits)


@pass_context
def _say_range(
    context: Context, low: float, high: float, unit: str = "", system: str = "", digits: int | None = None
) -> str:
    return wording.say_range(low, high, unit, system or _system(context), digits)


@pass_context
def _say_spread(context: Context, spread: Any, unit: str = "", system: str = "") -> str:
    """Say an object with mean, low and high."""
    return wording.say_spread(spread.mean, spread.low, spread.high, unit, system or _system(context))


@pass_context
def _say_count(context: Context, count_tex: float, system: str = "") -> str:
    return wording.say_count(count_tex, system or _system(context))


@pass_context
def _say_loads(context: Context, loads: Any, machine: str) -> str:
    return doses.say_loads(loads, machine or "machine", _system(context))


@pass_context
def _say_grams(context: Context, mass_g: float) -> str:
    return bench.say_grams(mass_g, _system(context))


@pass_context
def _say_litres(context: Context, volume_l: float) -> str:
    return bench.say_litres(volume_l, _system(context))


@pass_context
def _say_dose(context: Context, dose: Any) -> str:
    return doses.say_dose(dose, _system(context))


@pass_context
def _word(context: Context, name: str, country: str = "") -> str:
    if country:
        return words.word(name, country)
    mill = context.get("mill")
    return words.word(name, str(_part(mill, "country")) if mill is not None else "")


def _with_today(function: Callable[[Any, date], str]) -> Callable[..., str]:
    """Turn a wording function of (day, today) into a filter that takes `today` from the page."""

    @pass_context
    def filter_(context: Context, day: date | datetime | None, today: date | None = None) -> str:
        return wording.NOTHING if day is None else function(day, today or context["today"])

    return filter_


FILTERS: dict[str, Callable[..., Any]] = {
    "say": _say,
    "say_range": _say_range,
    "say_spread": _say_spread,
    "say_count": _say_count,
    "say_dose": _say_dose,
    "say_grams": _say_grams,
    "say_litres": _say_litres,
    "say_loads": _say_loads,
    "say_money": wording.say_money,
    "say_duration": wording.say_duration,
    "say_day": _with_today(calendar_words.say_day),
    "say_near_day": _with_today(calendar_words.say_near_day),
    "say_since": _with_today(calendar_words.say_since),
    "say_due": _with_today(calendar_words.say_due),
    "say_moment": _with_today(calendar_words.say_moment),
    "say_time": calendar_words.say_time,
    "say_status": words.say_status,
    "say_many": words.say_many,
    "say_list": words.say_list,
    "sentence": words.sentence,
    "word": _word,
}
