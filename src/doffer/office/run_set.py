"""What a run was set to, its end breaks and how good it was: the form on the run's page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from doffer.errors import InputError
from doffer.exchange.numbers import parse_number
from doffer.mill import bridge
from doffer.mill.commands.yarn_settings import MOST_BREAKS, RunSettingsFacts
from doffer.mill.queries.yarn import PastRun, SetTo, run_settings
from doffer.mill.set_values import Set, names_of
from doffer.office.readings import Typed
from doffer.pictures.settings_words import TEX_PER_G_PER_M, TEX_PER_GRAIN_YD, name_of
from doffer.pictures.wording import M_PER_YD, MM_PER_IN
from doffer.pictures.words import say_list
from doffer.tables.rows import RunSetting

SET: Final = "set_"  # the beginning of the names of the fields of settings
BROKEN_ENDS: Final = ("draw", "spin", "ply")  # stages at which ends break
MM_PER_M: Final = 1000.0
RATINGS: Final = (
    ("5", "5, just so", "do it again like this"),
    ("4", "4, good", ""),
    ("3", "3, as usual", ""),
    ("2", "2, poor", ""),
    ("1", "1, never again", ""),
)
# How a figure of a unit of the table is typed: the word beside the field, and one of it in that unit.
TYPED: Final[Mapping[str, tuple[str, float]]] = {
    "frac": ("%", 0.01),
    "tex": ("g/m", TEX_PER_G_PER_M),
    "tpm": ("turns/m", 1.0),
    "m_per_min": ("m/min", 1.0),
    "g_per_m2": ("g/m²", 1.0),
    "rpm": ("turns/min", 1.0),
    "c": ("°C", 1.0),
    "ratio": ("", 1.0),
    "passes": ("", 1.0),
    "ends": ("", 1.0),
    "plies": ("", 1.0),
}
TYPED_US: Final[Mapping[str, tuple[str, float]]] = {
    "tex": ("gr/yd", TEX_PER_GRAIN_YD),
    "tpm": ("turns/in", MM_PER_M / MM_PER_IN),
    "m_per_min": ("yd/min", M_PER_YD),
    "mm": ("in", MM_PER_IN),
}
OWN_NAMES: Final = {"roll_speed": "Front rolls", "count": "Single off the bobbin", "web": "Web"}
HINTS: Final = {"feed": "On each mark of the feed belt", "traveller": "Weight of the traveller"}


@dataclass(frozen=True, slots=True)
class Field:
    """One setting as a field: `words` are the choices of one that is a word, `now` what was told before."""

    rule: RunSetting
    name: str
    label: str
    unit: str
    one: float
    words: tuple[tuple[str, str], ...]
    now: str

    @property
    def hint(self) -> str:
        """What was told before, else what it is about."""
        if self.now:
            return f"Told: {self.now}"
        if self.rule.shape == "list":
            return "One after the other, such as 0.5 0.4"
        return HINTS.get(self.rule.setting, "")


def fields_of(stage: str, told: PastRun | None, system: str) -> tuple[Field, ...]:
    """What a run of this stage can be set to, in the order of the table; empty for a stage without any."""
    rules = [row for row in bridge.current_tables().run_settings.values() if row.stage == stage]
    return tuple(_field(rule, told.of(rule.setting) if told else None, system) for rule in rules)


def _field(rule: RunSetting, now: SetTo | None, system: str) -> Field:
    unit, one = unit_of(rule, system)
    return Field(
        rule=rule,
        name=f"{SET}{rule.setting}",
        label=OWN_NAMES.get(rule.setting) or name_of(rule.setting, rule.stage),
        unit=unit,
        one=one,
        words=tuple((word, word.upper() if len(word) == 1 else word) for word in names_of(rule)),
        now="" if now is None else _said(now.values, now.word, unit, one),
    )


def unit_of(rule: RunSetting, system: str) -> tuple[str, float]:
    """The word beside a field and one of it in the table's unit; a count of yarn stays in tex."""
    if rule.shape == "word":
        return "", 1.0
    if rule.setting == "count":
        return "tex", 1.0
    found = TYPED_US.get(rule.unit) if system == "us" else None
    return found or TYPED.get(rule.unit, (rule.unit, 1.0))


def _said(values: tuple[float, ...], word: str, unit: str, one: float) -> str:
    if word:
        return word.upper()
    return f"{say_list([f'{value / one:.5g}' for value in values])} {unit}".strip()


def panel(run: str, stage: str, typed: Typed, *, question: str = "") -> dict[str, Any]:
    """What the form on the run's page needs: its fields, and what was told before."""
    told = run_settings(run)
    return {
        "fields": fields_of(stage, told, typed.system),
        "told": told,
        "ratings": RATINGS,
        "asks_breaks": stage in BROKEN_ENDS,
        "typed": typed,
        "errors": typed.errors,
        "question": question,
    }


def read_run_set(typed: Typed, stage: str) -> RunSettingsFacts | None:
    """The form as typed; None with sentences beside the fields that are wrong."""
    settings = {
        field.rule.setting: value
        for field in fields_of(stage, None, typed.system)
        if (value := _value(typed, field)) is not None
    }
    breaks = typed.count("breaks", "end breaks", low=0, high=MOST_BREAKS)
    over_g = typed.mass_g("breaks_over", "fibre in which they were counted")
    spindle_h = typed.read("spindle_h", parse_number, "spindle-hours", allowed="hours, such as 12")
    rating = typed.count("rating", "rating", low=1, high=len(RATINGS))
    if over_g is not None and breaks is None:
        typed.wrong("breaks", "Type how many ends broke in it; 0 where none did.")
    if typed.errors:
        return None
    try:
        facts = RunSettingsFacts(
            settings=settings,
            breaks=breaks,
            breaks_over_g=over_g,
            spindle_h=None if spindle_h is None else float(spindle_h),
            rating=rating,
            note=typed.text("note"),
        )
    except InputError as wrong:
        typed.wrong(ERRORS.get(wrong.field, "__all__"), str(wrong))
        return None
    if not facts.tells_something:
        typed.wrong("__all__", "Type one setting, the end breaks, a rating or a word about it.")
        return None
    return facts


ERRORS: Final = {
    "end breaks": "breaks",
    "fibre in which breaks were counted": "breaks_over",
    "spindle-hours": "spindle_h",
    "rating": "rating",
}


def _value(typed: Typed, field: Field) -> Set | None:
    """One setting in the table's unit; None where nothing was typed, or with its sentence."""
    if not typed.is_said(field.name):
        return None
    text = typed.text(field.name)
    if field.words:
        return text
    try:
        figures = [
            float(parse_number(each, field.label.lower(), allowed="plain numbers, such as 24"))
            for each in (text.replace(";", " ").split() if field.rule.shape == "list" else [text])
        ]
    except InputError as wrong:
        typed.wrong(field.name, str(wrong))
        return None
    values = tuple(figure * field.one for figure in figures)
    sentence = _cannot_be(field, values)
    if sentence:
        typed.wrong(field.name, sentence)
        return None
    return values if field.rule.shape == "list" else values[0]


def _cannot_be(field: Field, values: tuple[float, ...]) -> str:
    """Why a figure cannot be, in words of the field; "" where it can."""
    for value in values:
        said = f"{field.label} is “{value / field.one:.6g} {field.unit}".strip() + "”; it must be"
        if not value > 0:
            return f"{said} above zero."
        if field.rule.whole and abs(value - round(value)) > WHOLE_DUST:
            return f"{said} a whole number."
        if field.rule.unit == "frac" and value > 1:
            return f"{said} at most 100 %."
    return ""


WHOLE_DUST: Final = 1e-9


def doubts(facts: RunSettingsFacts, stage: str, system: str) -> str:
    """What is far from the usual, in a sentence in the units of the form; "" where nothing is."""
    asked = []
    for field in fields_of(stage, None, system):
        given = facts.settings.get(field.rule.setting)
        values = () if given is None or isinstance(given, str) else _all_of(given)
        if any(not field.rule.least <= value <= field.rule.most for value in values):
            usual = f"{field.rule.least / field.one:.3g} to {field.rule.most / field.one:.3g}"
            asked.append(
                f"{field.label} is {_said(values, '', field.unit, field.one)}, where {usual} is possible"
            )
    if not asked:
        return ""
    return f"{'; '.join(asked)}. Look at the unit and the decimal point again, or say that it is right."


def _all_of(given: Set) -> tuple[float, ...]:
    if isinstance(given, str):
        return ()
    return (float(given),) if isinstance(given, int | float) else tuple(float(one) for one in given)
