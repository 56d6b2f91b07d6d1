"""What machines can be set to, and what a run was set to and gave."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field

from doffer.errors import InputError, NotFoundError
from doffer.mill import bridge, clock
from doffer.mill.booking import QuestionError, announce, done_before, remember
from doffer.mill.clean_fibre import counted_g
from doffer.mill.composition import Share, shares_of
from doffer.mill.models import Machine, MachineSetting, Run, RunSettings
from doffer.mill.models.yarn import HIGHEST_RATING, LOWEST_RATING, Known
from doffer.mill.set_values import Set, checked, far_off, kept, machine_row, run_row, say_setting
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.loader import Tables

LONGEST_NOTE = 400
MIN_PER_H = 60
G_PER_KG = 1_000
MILLI = 1_000
MOST_BREAKS = 100_000
FAR_BREAKS_PER_KG = 200  # a frame that breaks every few metres; a slip of the unit rather than a run
FAR_CV_FRAC = 0.5
LOOK_AGAIN = "Look at the unit and the decimal point again, or say that it is right"


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineSettingFacts:
    """One setting of a machine in the unit of its row in table machine_settings.

    Parameters
    ----------
    key : str
        Setting, such as ``spindles`` or ``draft_teeth``.
    values : float, str or sequence of float
        One figure; two ends; named steps in their order; a list; a word of the row's names.
    known : str
        One of `models.yarn.Known`.
    """

    key: str
    values: Set
    known: str = Known.MEASURED
    note: str = ""

    def __post_init__(self) -> None:
        if self.known not in Known.values:
            raise InputError("how the setting is known", self.known, f"one of {', '.join(Known.values)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSettingsFacts:
    """What a run was set to, and what that gave; what is left out stays as it was told before.

    Parameters
    ----------
    settings : mapping
        By keys of table run_settings, in their units; a word for one of the names.
    breaks : int or None
        End breaks that were counted.
    breaks_over_g : float or None
        Fibre in which they were counted [g]; None: all that came out of the run.
    spindle_h : float or None
        Spindle-hours in which they were counted.
    cv_frac : float or None
        Unevenness between lengths that were weighed [frac].
    rating : int or None
        1 (never again) to 5 (just so), the word of the person who tells it.
    """

    settings: Mapping[str, Set] = field(default_factory=dict)
    breaks: int | None = None
    breaks_over_g: float | None = None
    spindle_h: float | None = None
    cv_frac: float | None = None
    rating: int | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.breaks is not None and not 0 <= self.breaks <= MOST_BREAKS:
            raise InputError("end breaks", self.breaks, f"from 0 to {MOST_BREAKS}")
        for name, value in (
            ("fibre in which breaks were counted", self.breaks_over_g),
            ("spindle-hours", self.spindle_h),
        ):
            if value is not None and not 0 < value < math.inf:
                raise InputError(name, value, "above zero")
        if self.cv_frac is not None and not 0 <= self.cv_frac < math.inf:
            raise InputError("unevenness", self.cv_frac, "zero or more")
        if self.rating is not None and not LOWEST_RATING <= self.rating <= HIGHEST_RATING:
            raise InputError("rating", self.rating, f"from {LOWEST_RATING} to {HIGHEST_RATING}")

    @property
    def tells_something(self) -> bool:
        """Anything is said at all."""
        said = (self.breaks, self.breaks_over_g, self.spindle_h, self.cv_frac, self.rating)
        return bool(self.settings or self.note.strip()) or any(one is not None for one in said)


def record_machine_setting(
    by: Person | None,
    machine: str,
    setting: MachineSettingFacts,
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep what a machine can be set to; it counts from now on, the one before stays. Gives its number.

    Raises
    ------
    InputError
        A setting that a machine of this stage does not have, or figures that cannot be.
    QuestionError
        Figures outside of what is possible by the table; goes through with a confirmation.
    """
    person = require(by, Right.YARN)
    with write():
        body: dict[str, object] = {
            "machine": machine,
            "setting": repr(setting),
            "confirmation": confirmation,
        }
        earlier = done_before(key, "record_machine_setting", body)
        if earlier:
            return int(str(earlier["setting"]))
        row = Machine.objects.select_for_update().filter(code=machine, archived_at=None).first()
        if row is None:
            raise NotFoundError("machine", machine, "Choose a machine from the list")
        rule = machine_row(bridge.current_tables(), key=setting.key, stage=row.stage)
        values = checked(rule, setting.values)
        reason = far_off(rule, values)
        if reason and not confirmation.strip():
            raise QuestionError(f"A setting of {row.name} is far from the usual", (reason,), LOOK_AGAIN)
        made = MachineSetting.objects.create(
            machine=row,
            key=setting.key,
            values_micro=kept(values),
            known=setting.known,
            note=note_of(setting.note, confirmation),
            supersedes=MachineSetting.objects.filter(
                machine=row, key=setting.key, superseded_by=None
            ).first(),
            made_at=clock.now(),
            person=person,
        )
        announce(person, "machine", row.code, f"{say_setting(setting.key)} of {row.name} written down")
        remember(key, "record_machine_setting", body, {"setting": made.pk}, person)
        return made.pk


def record_run_settings(
    by: Person | None,
    run: str,
    facts: RunSettingsFacts,
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep what a run was set to and what it gave, over what was told of it before. Gives its number.

    Raises
    ------
    InputError
        Nothing told, a setting that a run of this stage does not have, or figures that cannot be.
    QuestionError
        Figures far outside of the usual; goes through with a confirmation.
    """
    person = require(by, Right.YARN)
    if not facts.tells_something:
        raise InputError("settings of the run", "", "a setting, or what it gave")
    with write():
        body: dict[str, object] = {"run": run, "facts": repr(facts), "confirmation": confirmation}
        earlier = done_before(key, "record_run_settings", body)
        if earlier:
            return int(str(earlier["settings"]))
        row = Run.objects.select_for_update(of=("self",)).filter(code=run).first()
        if row is None:
            raise NotFoundError("run", run, "Look in the list of runs")
        tables = bridge.current_tables()
        settings = _settings_of(row, facts, tables, confirmation)
        made = _keep_run_settings(person, row, facts, settings, tables, note_of(facts.note, confirmation))
        announce(person, "run", row.code, f"{row.stage}: what it was set to, and what it gave")
        remember(key, "record_run_settings", body, {"settings": made.pk}, person)
        return made.pk


def _settings_of(
    run: Run, facts: RunSettingsFacts, tables: Tables, confirmation: str
) -> dict[str, list[int]]:
    settings, reasons = {}, []
    for name, given in facts.settings.items():
        rule = run_row(tables, key=name, stage=run.stage)
        values = checked(rule, given)
        settings[name] = kept(values)
        reasons.append(far_off(rule, values))
    if facts.cv_frac is not None and facts.cv_frac > FAR_CV_FRAC:
        reasons.append(
            f"unevenness is {facts.cv_frac * 100:g} %, and up to {FAR_CV_FRAC * 100:g} % is possible"
        )
    asked = tuple(reason for reason in reasons if reason)
    if asked and not confirmation.strip():
        raise QuestionError(f"What is told of {run.code} is far from the usual", asked, LOOK_AGAIN)
    return settings


def _keep_run_settings(
    person: Person,
    run: Run,
    facts: RunSettingsFacts,
    settings: dict[str, list[int]],
    tables: Tables,
    note: str,
) -> RunSettings:
    before = RunSettings.objects.filter(run=run, superseded_by=None).first()
    old = before or RunSettings()
    told = {
        "breaks": facts.breaks,
        "breaks_over_mg": None if facts.breaks_over_g is None else bridge.mg(facts.breaks_over_g),
        "spindle_min": None if facts.spindle_h is None else max(1, round(facts.spindle_h * MIN_PER_H)),
        "cv_ppm": None if facts.cv_frac is None else bridge.ppm(facts.cv_frac),
    }
    columns = {name: getattr(old, name) if value is None else value for name, value in told.items()}
    return RunSettings.objects.create(
        run=run,
        stage=run.stage,
        machine=run.machine,
        settings_micro=old.settings_micro | settings,
        breaks_milli_per_kg=_breaks_milli_per_kg(run, columns["breaks"], columns["breaks_over_mg"]),
        rating=old.rating if facts.rating is None else facts.rating,
        rated_by=old.rated_by if facts.rating is None else person,
        note=note or old.note,
        supersedes=before,
        made_at=clock.now(),
        person=person,
        **columns,
        **_fibre_columns(run, tables),
    )


def _breaks_milli_per_kg(run: Run, breaks: int | None, over_mg: int | None) -> int | None:
    """End breaks in a kilogram as weighed: of what they were counted in, else of all that came out."""
    mass_mg = over_mg or sum(run.outputs.values_list("mass_mg", flat=True))
    if breaks is None or not mass_mg:
        return None
    return round(breaks * MILLI * G_PER_KG / bridge.grams(mass_mg))


def _fibre_columns(run: Run, tables: Tables) -> dict[str, object]:
    """Fibre of the largest share, mean diameter and staple of what went in by mass."""
    ins = list(run.inputs.select_related("lot").order_by("pk"))
    shares = shares_of([(row.lot, mass) for row, mass in zip(ins, counted_g(run, ins), strict=True)])
    by_fibre: dict[str, float] = {}
    for share in shares:
        by_fibre[share.lot.fibre] = by_fibre.get(share.lot.fibre, 0.0) + share.share_frac
    parts = [(share, bridge.constituent_of(share.lot, tables)) for share in shares]
    diameter_um = _mean([(share, part.diameter_um) for share, part in parts])
    return {
        "fibre": max(by_fibre, key=lambda name: by_fibre[name]),
        "diameter_nm": round(diameter_um * bridge.NM_PER_UM),
        "staple_mm": round(_mean([(share, part.staple_mm) for share, part in parts])),
    }


def _mean(values: list[tuple[Share, float]]) -> float:
    total = math.fsum(share.share_frac for share, _ in values)
    return math.fsum(share.share_frac * value for share, value in values) / total


def note_of(*said: str) -> str:
    """A note with what was confirmed; InputError when it is longer than a note may be."""
    note = "; ".join(part.strip() for part in said if part.strip())
    if len(note) > LONGEST_NOTE:
        raise InputError("note", f"{len(note)} letters long", f"at most {LONGEST_NOTE} letters")
    return note
