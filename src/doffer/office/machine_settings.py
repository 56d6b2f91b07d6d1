"""What a machine can be set to: its own figures or the usual guesses, and writing its own ones down."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from doffer.errors import DofferError, InputError
from doffer.exchange.numbers import parse_number
from doffer.mill.booking import QuestionError
from doffer.mill.commands.yarn_settings import MachineSettingFacts, record_machine_setting
from doffer.mill.machine_values import MachineSettings, MachineValue
from doffer.mill.queries.yarn import machine_settings
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.readings import Typed
from doffer.people.rights import Right, may
from doffer.pictures.wording import say
from doffer.pictures.words import say_list

MOST_TEETH: Final = 400
KNOWN: Final = (
    ("measured", "I counted or measured it", "on this machine"),
    ("maker", "From its plate or book", "as the maker says"),
    ("guess", "I guess", "better than the usual figure, still a guess"),
)
# How a figure of a unit is typed and shown: the word beside the field, and one of it in the table's unit.
TYPED: Final = {
    "frac": ("%", 0.01),
    "tex": ("g/m", 1000.0),
    "m_per_min": ("m/min", 1.0),
    "rpm": ("turns/min", 1.0),
    "ratio": ("", 1.0),
    "turns per m x teeth": ("turns/m × teeth", 1.0),
    "draft x teeth": ("draft × teeth", 1.0),
}
HINTS: Final = {
    "list": "One after the other, such as 24 26 28; a dash for all between, such as 24-60",
    "range": "The lowest and the highest, such as 6 25",
    "word": "",
    "one": "",
}
UP_TO: Final = re.compile(r"(\d+)\s*(?:-|–|to)\s*(\d+)")
NAMES: Final = {
    "system": "way of spinning",
    "most_spindle_rpm": "fastest spindles",
    "spindle_rpm": "usual spindle speed",
    "roll_speed_cap": "fastest delivery",
    "efficiency": "time it really runs",
    "draft_window": "drafts that run well",
    "draft_constant": "draft constant",
    "draft_teeth": "draft pinions",
    "twist_constant": "twist constant",
    "twist_teeth": "twist pinions",
    "roving_weights": "rovings",
    "ratch": "nip to nip",
    "bobbin_holds": "a full bobbin holds",
    "beater_steps": "speeds of the beater",
    "card_roving": "roving off the card",
    "width": "working width",
    "reel_circumference": "round the reel",
    "spindles": "spindles",
    "ends": "ends together",
}


@dataclass(frozen=True, slots=True)
class SettingView:
    """A setting of the machine in words."""

    row: MachineValue
    name: str
    value: str
    usual: str

    @property
    def key(self) -> str:
        """Of the table."""
        return self.row.key


def name_of(key: str) -> str:
    """A setting in words of the mill."""
    return NAMES.get(key, key.replace("_", " "))


def unit_of(row: MachineValue) -> str:
    """The unit beside a field."""
    return "" if row.shape == "word" else TYPED.get(row.unit, (row.unit, 1.0))[0]


def shown_values(row: MachineValue, values: tuple[float, ...]) -> str:
    """Figures as they are said: "24 to 60 teeth", "slow 450, middle 700, fast 900 turns/min"."""
    if not values:
        return "not known"
    if row.shape == "word":
        place = int(values[0])
        return row.names[place - 1].replace("_", "-") if 1 <= place <= len(row.names) else ""
    unit, one = TYPED.get(row.unit, (row.unit, 1.0))
    said = [f"{value / one:.6g}" for value in values]
    if row.shape == "range":
        words = " to ".join(said)
    elif row.shape == "steps":
        words = ", ".join(f"{name} {each}" for name, each in zip(row.names, said, strict=False))
    elif len(values) > 2 and list(values) == [values[0] + k for k in range(len(values))]:
        words = f"every one from {said[0]} to {said[-1]}"
    else:
        words = say_list(said)
    return f"{words} {unit}".strip()


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, code: str) -> HttpResponse:
    """`/records/machines/SPN/settings/`."""
    machine = machine_settings(code)
    typed = Typed(request.POST or request.GET, units_of(request))
    if request.method == "GET":
        return _shown(request, machine, typed)
    question = ""
    try:
        row = machine.of(typed.text("setting"))
        values = _values(typed, row)
        if values is not None and not typed.errors:
            facts = MachineSettingFacts(
                key=row.key, values=values, known=typed.text("known") or "measured", note=typed.text("note")
            )
            why = typed.text("confirmation")
            record_machine_setting(acting(request), code, facts, confirmation=why, key=key_of(request))
    except QuestionError as asked:
        question = str(asked)
    except InputError as wrong:
        typed.wrong("value", str(wrong))
    except DofferError as refused:
        typed.wrong("__all__", str(refused))
    if question or typed.errors:
        return _shown(request, machine, typed, question=question, status=422)
    return redirect("machine_settings", code=code)


def _values(typed: Typed, row: MachineValue) -> str | tuple[float, ...] | None:
    """The setting as typed, in the table's unit; None with a sentence beside the field."""
    if not typed.needed("value", "Type what it can be set to."):
        return None
    if row.shape == "word":
        return typed.text("value")
    _, one = TYPED.get(row.unit, (row.unit, 1.0))
    try:
        return tuple(value * one for value in _figures(typed.text("value"), name_of(row.key)))
    except InputError as wrong:
        typed.wrong("value", str(wrong))
        return None


def _figures(text: str, name: str) -> tuple[float, ...]:
    """Figures with spaces between; "24-60" is every whole number from 24 to 60."""
    found: list[float] = []
    spread = UP_TO.sub(lambda match: f"{match[1]}..{match[2]}", text)
    for each in spread.replace(";", " ").split():
        first, dots, last = each.partition("..")
        if not dots:
            found.append(float(parse_number(each, name, allowed="plain numbers, such as 24")))
            continue
        low, high = int(first), int(last)
        if not low < high <= MOST_TEETH:
            raise InputError(name, text, "the lower first, such as 24-60")
        found += [float(k) for k in range(low, high + 1)]
    return tuple(found)


def _shown(
    request: HttpRequest, machine: MachineSettings, typed: Typed, *, question: str = "", status: int = 200
) -> HttpResponse:
    keys = [row.key for row in machine.values]
    chosen = typed.text("setting") if typed.text("setting") in keys else next(iter(keys), "")
    row = machine.of(chosen) if chosen else None
    context: dict[str, Any] = {
        "here": "records",
        "machine": machine,
        "settings": [
            SettingView(
                each, name_of(each.key), shown_values(each, each.values), shown_values(each, each.usual)
            )
            for each in machine.values
        ],
        "row": row,
        "name": name_of(chosen),
        "unit": unit_of(row) if row else "",
        "hint": _hint(row),
        "words": [(word, word.replace("_", "-")) for word in row.names] if row else [],
        "known": KNOWN,
        "typed": typed,
        "errors": typed.errors,
        "question": question,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.YARN),
        "name_of": name_of,
        "shown_values": shown_values,
    }
    return render(request, "office/machine_settings.html", context, status=status)


def _hint(row: MachineValue | None) -> str:
    if row is None:
        return ""
    if row.shape == "steps":
        return f"{len(row.names)} figures: {say_list(row.names)}"
    if row.shape == "one" and row.low is not None and row.high is not None:
        _, one = TYPED.get(row.unit, (row.unit, 1.0))
        return f"Usual is {say(row.low / one)} to {say(row.high / one)}."
    return HINTS.get(row.shape, "")


urlpatterns = [path("records/machines/<str:code>/settings/", page, name="machine_settings")]
