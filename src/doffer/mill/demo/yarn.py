"""What the invented mill knows of its frames, what its last runs were set to, and its tests of yarn."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

from doffer.mill.commands.yarn_settings import (
    MachineSettingFacts,
    RunSettingsFacts,
    record_machine_setting,
    record_run_settings,
)
from doffer.mill.commands.yarn_tests import correct_yarn_test, record_lot_fibre, record_yarn_test
from doffer.mill.demo.work import Act, Row, at_time, told
from doffer.mill.fibre_facts import LotFibreFacts
from doffer.mill.models import RunOutput
from doffer.mill.yarn_facts import Turns, YarnTestFacts
from doffer.people.models import Person

PERCENT = 100


def yarn_acts(person: Person, beginning: datetime) -> Iterator[Act]:
    """Machines described at the beginning, fibre at the door, runs and yarn of the last two weeks."""
    for row in told("machine_settings"):
        yield Act(beginning, lambda row=row: _machine(person, row))
    for row in told("fibre_tests"):
        at = at_time(date.fromisoformat(row["date"]), 13)
        yield Act(at, lambda row=row: _fibre(person, row))
    for row in told("run_settings"):
        at = at_time(date.fromisoformat(row["date"]), 16, 30)
        yield Act(at, lambda row=row: _run(person, row))
    kept: dict[str, int] = {}
    for row in told("yarn_tests"):
        at = at_time(date.fromisoformat(row["date"]), int(row["hour"]))
        yield Act(at, lambda row=row: _test(person, row, kept))


def _machine(person: Person, row: Row) -> None:
    record_machine_setting(
        person,
        row["machine"],
        MachineSettingFacts(
            key=row["setting"], values=_values(row["values"]), known=row["known"], note=row["note"]
        ),
    )


def _values(typed: str) -> float | str | tuple[float, ...]:
    """A word, one figure or several."""
    if typed[0].isalpha():
        return typed
    return _numbers(typed) if " " in typed else float(typed)


def _numbers(typed: str) -> tuple[float, ...]:
    return tuple(float(one) for one in typed.split())


def _maybe(typed: str, per: float = 1.0) -> float | None:
    return float(typed) / per if typed else None


def _run(person: Person, row: Row) -> None:
    made = RunOutput.objects.select_related("run").get(lot__code=row["lot"], run__stage=row["stage"])
    pairs = (pair.split("=") for pair in row["settings"].split())
    facts = RunSettingsFacts(
        settings={key: _values(value) for key, value in pairs},
        breaks=int(row["breaks"]) if row["breaks"] else None,
        spindle_h=_maybe(row["spindle_h"]),
        cv_frac=_maybe(row["cv_pct"], PERCENT),
        rating=int(row["rating"]),
        note=row["note"],
    )
    record_run_settings(person, made.run.code, facts)


def _test(person: Person, row: Row, kept: dict[str, int]) -> None:
    """A test, or a correction of an earlier one of the table."""
    facts = YarnTestFacts(
        state=row["state"],
        plies=int(row["plies"]),
        masses_g=_numbers(row["masses_g"]),
        length_m=float(row["length_m"]),
        rh_frac=float(row["rh_pct"]) / PERCENT,
        single=_turns(row, "single"),
        ply=_turns(row, "ply"),
        before_mm=_numbers(row["before_mm"]),
        after_mm=_numbers(row["after_mm"]),
        back=_turns(row, "back"),
    )
    if row["corrects"]:
        kept[row["test"]] = correct_yarn_test(person, kept[row["corrects"]], facts, reason=row["note"])
    else:
        kept[row["test"]] = record_yarn_test(person, facts, lot=row["lot"], note=row["note"])


def _turns(row: Row, name: str) -> Turns | None:
    turns = _numbers(row[f"{name}_turns"])
    return Turns(length_mm=float(row[f"{name}_mm"]), turns=turns) if turns else None


def _fibre(person: Person, row: Row) -> None:
    facts = LotFibreFacts(
        found_by=row["found_by"],
        staple_cv_frac=_maybe(row["staple_cv_pct"], PERCENT),
        strength_n_per_ktex=_maybe(row["strength_n_per_ktex"]),
        breaks_at=row["breaks_at"],
        break_frac=_maybe(row["break_pct"], PERCENT),
        short_fibre_frac=_maybe(row["short_fibre_pct"], PERCENT),
        crimps_per_cm=_maybe(row["crimps_per_cm"]),
        curvature_deg_per_mm=_maybe(row["curvature_deg_per_mm"]),
        medullated_frac=_maybe(row["medullated_pct"], PERCENT),
        note=row["note"],
    )
    record_lot_fibre(person, row["lot"], facts)
