"""What was typed of a test of yarn: lengths weighed, turns counted, a length washed, a ply-back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from doffer.errors import InputError
from doffer.exchange.numbers import is_blank, parse_number
from doffer.mill.yarn_facts import Turns, YarnTestFacts
from doffer.office.readings import Typed
from doffer.pictures.wording import M_PER_YD, MM_PER_IN

STATES: Final = (
    ("bobbin", "Single on the bobbin", "straight off the frame"),
    ("plied", "Plied, before the wash", "straight off the plying frame"),
    ("finished", "Washed, set and dry", "as it will be sold"),
    ("roller", "Roving or strand without twist", "at the front rolls"),
)
MM_PER_M: Final = 1000.0
# What stands in a field of lengths first, its unit, and that unit in mm.
TEST_LENGTHS: Final = {"metric": ("10", "m", MM_PER_M), "us": ("10", "yd", M_PER_YD * MM_PER_M)}
TURN_LENGTHS: Final = {"metric": ("250", "mm", 1.0), "us": ("10", "in", MM_PER_IN)}


def read_test(typed: Typed, *, plies: int) -> YarnTestFacts | None:
    """The test as typed; None with sentences beside the fields that are wrong.

    `plies` are those of the yarn that is planned; a strand before plying is one single.
    """
    state = typed.text("state")
    if state not in [key for key, *_ in STATES]:
        typed.wrong("state", "Choose which yarn was tested.")
    masses_g = _numbers(typed, "weights", "weight")
    length_mm = _length(typed, "length", TEST_LENGTHS)
    a_metre = TEST_LENGTHS[typed.system][2]
    before_mm = _numbers(typed, "before", "length", per_unit=a_metre)
    after_mm = _numbers(typed, "after", "length", per_unit=a_metre)
    single = _turns(typed, "single")
    ply = _turns(typed, "ply") if state not in ("bobbin", "roller") else None
    back = _turns(typed, "back")
    if typed.errors:
        return None
    try:
        return YarnTestFacts(
            state=state,
            plies=1 if state in ("bobbin", "roller") else plies,
            masses_g=masses_g,
            length_m=(length_mm or 0.0) / MM_PER_M,
            rh_frac=typed.share("rh", "room humidity"),
            single=single,
            ply=ply,
            before_mm=before_mm,
            after_mm=after_mm,
            back=back,
        )
    except InputError as wrong:
        typed.wrong(FIELDS.get(wrong.field, "weights"), str(wrong))
        return None


def typed_again(facts: YarnTestFacts, system: str) -> dict[str, str]:
    """A kept test as it would be typed, to be corrected."""
    a_metre, a_piece = TEST_LENGTHS[system][2], TURN_LENGTHS[system][2]
    pieces = facts.single or facts.ply
    return {
        "state": facts.state,
        "weights": _lines(facts.masses_g),
        "length": _said(facts.length_m * MM_PER_M / a_metre),
        "rh": "" if facts.rh_frac is None else _said(facts.rh_frac * PERCENT),
        "single": _lines(facts.single.turns if facts.single else ()),
        "ply": _lines(facts.ply.turns if facts.ply else ()),
        "turns_length": _said(pieces.length_mm / a_piece) if pieces else "",
        "before": _lines(facts.before_mm, per_unit=a_metre),
        "after": _lines(facts.after_mm, per_unit=a_metre),
        "back": _lines(facts.back.turns if facts.back else ()),
    }


PERCENT: Final = 100


def _lines(values: Sequence[float], *, per_unit: float = 1.0) -> str:
    return "\n".join(_said(value / per_unit) for value in values)


def _said(value: float) -> str:
    return f"{value:.5g}"


FIELDS: Final = {
    "plies": "state",
    "turns of the ply": "ply",
    "length that was untwisted": "turns_length",
    "length that was weighed": "length",
    "room humidity": "rh",
    "lengths after the wash": "after",
}


def _length(typed: Typed, name: str, usual: Mapping[str, tuple[str, str, float]]) -> float | None:
    """A length [mm]; the usual one where the field is empty."""
    text, unit, per_unit_mm = usual[typed.system]
    try:
        said = parse_number(typed.text(name) or text, "length", allowed=f"a length in {unit}, such as {text}")
    except InputError as wrong:
        typed.wrong(name, str(wrong))
        return None
    return float(said) * per_unit_mm


def _numbers(typed: Typed, name: str, what: str, *, per_unit: float = 1.0) -> tuple[float, ...]:
    """Figures in a field, one in a line or with spaces between, times what one of them is."""
    found = []
    for each in typed.text(name).replace(";", " ").split():
        if is_blank(each):
            continue
        try:
            number = float(parse_number(each, what, allowed="plain numbers, such as 2.05"))
        except InputError as wrong:
            typed.wrong(name, str(wrong))
            return ()
        found.append(number * per_unit)
    return tuple(found)


def _turns(typed: Typed, name: str) -> Turns | None:
    """Turns counted in pieces of one length; None where none were."""
    counted = _numbers(typed, name, "turns")
    if not counted:
        return None
    length_mm = MM_PER_M if name == "back" else _length(typed, "turns_length", TURN_LENGTHS)
    if length_mm is None:
        return None
    try:
        return Turns(length_mm=length_mm, turns=counted)
    except InputError as wrong:
        typed.wrong(name, str(wrong))
        return None
