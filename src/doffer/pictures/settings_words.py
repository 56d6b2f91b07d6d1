"""What a machine is set to, in words and figures of the mill: one wording for pages and papers."""

from __future__ import annotations

from typing import Final

from doffer.pictures.wording import G_PER_LB, M_PER_YD, MASS_G, METRIC, THIN, TIME_MIN, say, say_range
from doffer.process.settings.suggestion import Suggestion

TEX_PER_G_PER_M: Final = 1000.0
TEX_PER_GRAIN_YD: Final = G_PER_LB / 7000 / M_PER_YD * TEX_PER_G_PER_M  # 7000 grains are a pound
TEX_M: Final = 1000.0  # tex is grams in so many metres
TEST_LENGTH: Final = 10.0  # metres or yards that are reeled and weighed
TWO_PLACES: Final = 2
HALF_METRE: Final = "g per 0.5 m"
NAMES: Final = {
    "feed": "Feed",
    "passes": "Passes",
    "room_rh": "Room",
    "ratch": "Nip to nip",
    "spindle_rpm": "Spindles",
    "roll_speed": "Yarn comes",
    "twist_way": "Way",
    "count": "Count",
    "plies": "Singles together",
    "skein_length": "A skein",
    "ends": "Ends in",
    "workers": "Workers",
    "shrinks": "Shorter by the wash",
    "drying": "Drying",
}
ROVINGS: Final = {"card": "Roving out", "draw": "Roving out", "spin": "Roving in"}
# What is set first at a machine; a run card has room for these alone.
FIRST: Final = {
    "pick": ("beater", "passes"),
    "card": ("roving", "feed"),
    "draw": ("ends", "draft", "roving"),
    "spin": ("roving", "draft", "twist"),
    "ply": ("plies", "twist"),
    "set": ("drying",),
    "skein": ("turns", "skein_length"),
}
MACHINE_WORDS: Final = ("teeth", "slow", "middle", "fast")  # beside a figure, of a pinion or a step


def name_of(setting: str, stage: str = "") -> str:
    """A setting in words of the mill."""
    if setting == "roving":
        return ROVINGS.get(stage, "Roving")
    return NAMES.get(setting, setting.replace("_", " ").capitalize())


def say_setting(one: Suggestion, system: str) -> str:
    """The figure with its unit; "Z" or "S" for the way of twist, empty where words say it."""
    return one.words if one.setting == "twist_way" else _value(one.value, one, system)


def say_between(one: Suggestion, system: str) -> str:
    """The usual range of a figure; empty where it has none."""
    if one.low is None or one.high is None or one.low == one.high:
        return ""
    if one.unit in METRIC and one.unit not in ("tex", "ratio"):
        return say_range(one.low, one.high, one.unit, system)
    first, last = (_value(end, one, system) for end in (one.low, one.high))
    head, _, word = first.rpartition(THIN)
    return f"{head} to {last}" if head and last.endswith(THIN + word) else f"{first} to {last}"


def say_roving(count_tex: float, system: str) -> str:
    """A roving by its weight along: g/m, or grains to the yard."""
    if system == "us":
        return f"{count_tex / TEX_PER_GRAIN_YD:.0f}{THIN}gr/yd"
    return say(count_tex / TEX_PER_G_PER_M, "g_per_m", system, TWO_PLACES)


def say_test_length(count_tex: float, system: str) -> tuple[str, str]:
    """What a reeled length should weigh: which length, and grams, on US scales with ounces beside."""
    if system == "us":
        mass_g = count_tex * TEST_LENGTH * M_PER_YD / TEX_M
        return "ten yards weigh", f"{mass_g:.2f}{THIN}g ({say(mass_g, 'g', 'us', TWO_PLACES)})"
    return "ten metres weigh", say(count_tex * TEST_LENGTH / TEX_M, "g", "metric", TWO_PLACES)


def first_settings(suggestions: tuple[Suggestion, ...], stage: str, system: str) -> list[tuple[str, str]]:
    """The few that a run card shows, as name and figure: "Draft", "20.43, 24 teeth"."""
    found = {one.setting: one for one in suggestions}
    way = found["twist_way"].words if "twist_way" in found else ""
    shown = []
    for key in FIRST.get(stage, ()):
        one = found.get(key)
        said = "" if one is None else say_setting(one, system)
        if one is None or not said:
            continue
        if key == "twist" and way:
            said = f"{said} {way}"
        if any(word in one.words for word in MACHINE_WORDS) and key in ("draft", "twist", "beater"):
            said = f"{said}, {one.words}"
        shown.append((name_of(key, stage), said))
    return shown


def _value(value: float | None, one: Suggestion, system: str) -> str:
    """A figure with its unit; empty where words say it."""
    if value is None or one.unit == "step":
        return ""
    if one.unit == "tex" and one.setting != "count":
        return say_roving(value, system)
    if one.unit == HALF_METRE and system == "us":
        return f"{say(value * M_PER_YD, 'g', system)} per half yard"
    if one.unit in ("ratio", "times"):
        return say(value, "", system, TWO_PLACES)
    if one.unit == "tex":
        return say(value, "tex", "metric", 1)
    if one.unit in METRIC or one.unit in MASS_G or one.unit in TIME_MIN:
        return say(value, one.unit, system)
    return f"{value:g}{THIN}{one.unit}" if one.unit not in (one.setting, "plies", "ends") else f"{value:g}"
