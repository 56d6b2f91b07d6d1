"""The mill's own best settings of past runs: they come before any table."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from doffer.process.settings.suggestion import Suggestion
from doffer.working import Status, percent


@dataclass(frozen=True, slots=True)
class OwnSetting:
    """What one own run of like fibre was set to, and what it gave.

    Parameters
    ----------
    stage, setting, unit : str
        Key and unit as in table run_settings.
    value : float or None
        None: `words` say it.
    run : str
        Number of the run.
    because : str
        What makes it the best: "alpaca of 23.8 micron, 0.6 breaks a kg, rated 5".
    words : str
    """

    stage: str
    setting: str
    value: float | None
    unit: str
    run: str
    because: str
    words: str = ""


def own_first(
    stage: str,
    usual: Mapping[str, Suggestion],
    own: Sequence[OwnSetting],
    *,
    held: Collection[str] = (),
    planned: Collection[str] = (),
) -> dict[str, Suggestion]:
    """Suggestions with the mill's own settings in front; the usual ones stay in the reason.

    Parameters
    ----------
    stage : str
    usual : mapping
        Suggestions of the tables, by setting.
    own : sequence of OwnSetting
        The best first; the first of a setting counts.
    held : collection of str
        Settings whose range this fibre decides (gentle for fragile fibre, the ratch): an own one outside
        of it is told, not suggested.
    planned : collection of str
        Settings that the wanted yarn decides (count, twist, draft): an own one is told, not suggested, and
        left out where there is nothing to tell it beside.
    """
    found = dict(usual)
    seen: set[str] = set()
    for one in own:
        if one.stage != stage or one.setting in seen:
            continue
        seen.add(one.setting)
        now = found.get(one.setting)
        is_bound = one.setting in planned or (one.setting in held and _is_outside(one, now))
        if not is_bound:
            found[one.setting] = _set(one, now)
        elif now is not None:
            found[one.setting] = _told(one, now)
    own_keys = [key for key in found if found[key].run]
    return {key: found[key] for key in (*own_keys, *(key for key in found if key not in own_keys))}


def _is_outside(one: OwnSetting, now: Suggestion | None) -> bool:
    if now is None or one.value is None or one.unit != now.unit:
        return now is not None and (now.value is None or one.value is not None)
    return (now.low is not None and one.value < now.low) or (now.high is not None and one.value > now.high)


def _told(one: OwnSetting, now: Suggestion) -> Suggestion:
    said = f"run {one.run} had {_said(one)} ({one.because})"
    return dataclasses.replace(now, reason=f"{now.reason}; {said}")


def _set(one: OwnSetting, now: Suggestion | None) -> Suggestion:
    is_same_unit = now is not None and now.unit == one.unit
    return Suggestion(
        setting=one.setting,
        low=now.low if now is not None and is_same_unit else None,
        value=one.value,
        high=now.high if now is not None and is_same_unit else None,
        unit=one.unit,
        reason=f"your run {one.run}: {one.because}{_usual_words(now)}",
        source=f"run {one.run}",
        status=Status.OWN,
        words=one.words or ("on each belt mark" if one.setting == "feed" and one.unit == "g" else ""),
        run=one.run,
    )


def _usual_words(now: Suggestion | None) -> str:
    """The usual figure beside the own one, with its unit."""
    if now is None or now.value is None:
        return ""
    return f"; usual would be {figure_words(now.value, setting=now.setting, unit=now.unit)}"


def _said(one: OwnSetting) -> str:
    if one.value is None:
        return one.words.upper() if one.setting == "twist_way" else one.words
    return figure_words(one.value, setting=one.setting, unit=one.unit)


def figure_words(value: float, *, setting: str, unit: str) -> str:
    """A figure as the mill says it in a sentence: "71 %", "3.90 g/m", "164 turns/m".

    >>> figure_words(3900, setting="roving", unit="tex"), figure_words(212, setting="count", unit="tex")
    ('3.90 g/m', '212 tex')
    """
    if unit == "frac":
        return percent(value)
    if unit == "tex" and setting != "count":
        return f"{value / TEX_PER_G_PER_M:.2f} g/m"
    said = UNIT_WORDS.get(unit, unit)
    return f"{value:.4g} {said}" if said else f"{value:.4g}"


TEX_PER_G_PER_M = 1000  # by definition: tex is g in 1000 m
UNIT_WORDS = {
    "rpm": "turns/min",
    "tpm": "turns/m",
    "m_per_min": "m/min",
    "g_per_m2": "g/m²",
    "c": "°C",
    "ratio": "",
    "direction": "",
    "step": "",
}
