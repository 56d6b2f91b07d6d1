"""How the mill's machines mix: figures found for a machine, and the trials they come from."""

from __future__ import annotations

import math
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import bridge, clock
from doffer.mill.booking import CLOCK_SLACK, QuestionError, announce, done_before, remember
from doffer.mill.commands.run_facts import STAGES
from doffer.mill.evenness_facts import (
    CleanDownFacts,
    Facts,
    TrialResult,
    kept_facts,
    kept_result,
    kind_of_facts,
    micro,
)
from doffer.mill.evenness_figures import (
    HOLD_UP_OF_STAGE,
    SHARES,
    STAGE_WORDS,
    STAGES_OF,
    Usual,
    say_figure,
    usual_figure,
)
from doffer.mill.evenness_results import result_of
from doffer.mill.models import EvennessTrial, Lot, Machine, MachineFigure, Order, Photo, Run
from doffer.mill.models.evenness import Found, TrialKind
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

TIMES_USUAL = 10  # a slipped decimal point; machines of one kind differ by less
MOST_PASSES = 12
PERCENT = 100
LONGEST_NOTE = 400
Row = TypeVar("Row", Lot, Order, Run)
LOOK_AGAIN = "Look at the scale, the unit and the decimal point again, or say that it is right"


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureFacts:
    """One figure of a machine in the unit of its row in the tables, and how it was found.

    Parameters
    ----------
    key : str
        Row of table evenness_figures.
    low, high : float or None
        Ends of about 95 % of where it may lie; None: as far from it, in proportion, as those of the usual.
    found : str
        One of `models.evenness.Found`.
    n : int or None
        How many pieces, tufts or weighings it rests on.
    trials : tuple of int
        Numbers of the trials it was found from.
    """

    key: str
    value: float
    found: str
    low: float | None = None
    high: float | None = None
    n: int | None = None
    trials: tuple[int, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if self.found not in Found.values:
            raise InputError("how the figure was found", self.found, f"one of {', '.join(Found.values)}")
        ends = [end for end in (self.low, self.value, self.high) if end is not None]
        if not all(math.isfinite(end) for end in ends) or ends[0] < 0 or ends != sorted(ends):
            said = " to ".join(f"{end:g}" for end in ends)
            raise InputError("figure with its ends", said, "three rising numbers from zero")
        if self.n is not None and self.n < 1:
            raise InputError("number of pieces", self.n, "one or more, or empty")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialFacts:
    """One trial: what was measured, of what, and what came of it.

    Parameters
    ----------
    stage, passes : str, int
        The stage the fibre came from, and how many passes of it were behind it; 0: as fed.
    lot, order, run, machine : str
        What it tells of, at least one of them.
    facts : Facts
        What was measured; see `doffer.mill.evenness_facts`.
    result : TrialResult or None
        What came of it; None: what `result_of` makes of the facts, which is nothing for a photo.
    photo : int or None
        Number of a photo of the lot; needed where the strip was photographed.
    """

    facts: Facts
    stage: str
    passes: int = 1
    result: TrialResult | None = None
    lot: str = ""
    order: str = ""
    run: str = ""
    machine: str = ""
    photo: int | None = None
    taken_at: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.stage not in STAGES:
            raise InputError("stage", self.stage, f"one of {', '.join(STAGES)}")
        if not 0 <= self.passes <= MOST_PASSES:
            raise InputError("passes", self.passes, f"from 0 to {MOST_PASSES}")
        if kind_of_facts(self.facts) is TrialKind.PHOTO and self.photo is None:
            raise InputError("photo of the strip", "", "kept with its lot, so that it can be looked at again")


def record_figure(
    by: Person | None,
    machine: str,
    figure: FigureFacts,
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep a figure of a machine; it counts from now on, the one before stays. Gives its number.

    Raises
    ------
    InputError
        A figure that the tables do not know, or a share above 1.
    RefusedError
        A figure of another kind of machine.
    QuestionError
        Ten times more or less than is usual; goes through with a confirmation.
    """
    person = require(by, Right.EVENNESS)
    with write():
        body: dict[str, object] = {"machine": machine, "figure": repr(figure), "confirmation": confirmation}
        earlier = done_before(key, "record_figure", body)
        if earlier:
            return int(str(earlier["figure"]))
        kept = _written(person, machine, figure, confirmation)
        remember(key, "record_figure", body, {"figure": kept.pk}, person)
        return kept.pk


def record_found(
    by: Person | None,
    trial: TrialFacts,
    figure: FigureFacts,
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> tuple[int, int]:
    """Keep a trial of a machine and the figure found by it, both or neither; gives their numbers.

    The figure names the trial; whatever is asked about is asked before anything is kept.

    Raises
    ------
    InputError, RefusedError, QuestionError
        As `record_trial` and `record_figure`.
    """
    person = require(by, Right.EVENNESS)
    if not trial.machine:
        raise InputError("machine of the trial", "", "the machine whose figure it gives")
    with write():
        body: dict[str, object] = {
            "trial": repr(trial),
            "figure": repr(figure),
            "confirmation": confirmation,
        }
        earlier = done_before(key, "record_found", body)
        if earlier:
            return int(str(earlier["trial"])), int(str(earlier["figure"]))
        row = _keep_trial(person, trial, _About.of(trial), confirmation)
        kept = _written(person, trial.machine, replace(figure, trials=(*figure.trials, row.pk)), confirmation)
        remember(key, "record_found", body, {"trial": row.pk, "figure": kept.pk}, person)
        return row.pk, kept.pk


def _written(person: Person, machine: str, figure: FigureFacts, confirmation: str) -> MachineFigure:
    """Check the figure, ask about it where it is far from the usual, and keep it; inside the act."""
    row = _machine(machine)
    usual = usual_figure(figure.key, bridge.current_tables())
    if row.stage not in STAGES_OF[figure.key]:
        stages = " or the ".join(STAGE_WORDS[stage] for stage in STAGES_OF[figure.key])
        reason = f"“{say_figure(figure.key)}” is a figure of the {stages}"
        act = f"{row.name} keeps no such figure"
        raise RefusedError(act, (reason,), "Open that machine and write it there")
    _ask_about(usual, figure.value, row.name, confirmation)
    _known_trials(figure.trials)
    kept = _keep_figure(person, row, figure, usual, confirmation)
    announce(person, "machine", row.code, f"{row.name}: {say_figure(figure.key)} written down")
    return kept


def _keep_figure(
    person: Person, machine: Machine, figure: FigureFacts, usual: Usual, confirmation: str
) -> MachineFigure:
    below, above = (usual.low / usual.value, usual.high / usual.value) if usual.value > 0 else (1.0, 1.0)
    low = figure.value * below if figure.low is None else figure.low
    high = figure.value * above if figure.high is None else figure.high
    most = 1.0 if usual.key in SHARES else high
    before = MachineFigure.objects.filter(machine=machine, key=figure.key).order_by("-pk").first()
    return MachineFigure.objects.create(
        machine=machine,
        key=figure.key,
        value_micro=micro(figure.value),
        low_micro=micro(low),
        high_micro=micro(min(high, most)),
        found=figure.found,
        n=figure.n,
        trials=list(figure.trials),
        note=_note(figure.note, confirmation),
        supersedes=before,
        made_at=clock.now(),
        person=person,
    )


def _note(*said: str) -> str:
    note = "; ".join(part.strip() for part in said if part.strip())
    if len(note) > LONGEST_NOTE:
        raise InputError("note", f"{len(note)} letters long", f"at most {LONGEST_NOTE} letters")
    return note


def _ask_about(usual: Usual, value: float, whose: str, confirmation: str) -> None:
    """A figure far from the usual is asked about until somebody says that it is right."""
    if usual.key in SHARES and value > 1:
        raise InputError(say_figure(usual.key), f"{value:g}", "from 0 to 1", whose)
    if usual.value <= 0 or confirmation.strip():
        return
    if usual.value / TIMES_USUAL < value < usual.value * TIMES_USUAL:
        return
    reason = f"it is {_say(value, usual)}, and {_say(usual.value, usual)} is usual"
    raise QuestionError(f"{whose}: “{say_figure(usual.key)}” is far from the usual", (reason,), LOOK_AGAIN)


def _say(value: float, usual: Usual) -> str:
    """A figure for a sentence: shares in percent, the others in their unit."""
    return f"{value * PERCENT:.3g} %" if usual.key in SHARES else f"{value:.3g} {usual.unit}"


def _known_trials(numbers: Sequence[int]) -> None:
    there = set(EvennessTrial.objects.filter(pk__in=numbers).values_list("pk", flat=True))
    for number in numbers:
        if number not in there:
            raise NotFoundError("trial", number, "Open the machine and choose the trial there")


def record_trial(
    by: Person | None, trial: TrialFacts, *, confirmation: str = "", key: uuid.UUID | None = None
) -> int:
    """Keep a trial of evenness; gives its number.

    Raises
    ------
    InputError
        Nothing named that it tells of, or a time to come.
    RefusedError
        A machine that does not do that stage.
    QuestionError
        A clean-down ten times more or less than is usual; goes through with a confirmation.
    """
    person = require(by, Right.EVENNESS)
    if not (trial.lot or trial.order or trial.run or trial.machine):
        raise InputError("what the trial tells of", "", "a lot, an order, a run or a machine")
    with write():
        body: dict[str, object] = {"trial": repr(trial), "confirmation": confirmation}
        earlier = done_before(key, "record_trial", body)
        if earlier:
            return int(str(earlier["trial"]))
        row = _keep_trial(person, trial, _About.of(trial), confirmation)
        remember(key, "record_trial", body, {"trial": row.pk}, person)
        return row.pk


def correct_trial(
    by: Person | None,
    trial_id: int,
    trial: TrialFacts,
    *,
    reason: str,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Put a new trial in the place of a wrong one; both stay, and the new one names the old.

    What it tells of is that of the old one, where the new one names nothing.
    """
    person = require(by, Right.EVENNESS)
    if not reason.strip():
        raise InputError("reason for the correction", "", "a few words, such as “scale stood on grams”")
    with write():
        body: dict[str, object] = {
            "corrects": trial_id,
            "trial": repr(trial),
            "said": [reason, confirmation],
        }
        earlier = done_before(key, "correct_trial", body)
        if earlier:
            return int(str(earlier["trial"]))
        old = (
            EvennessTrial.objects.select_related("lot", "order", "run", "machine").filter(pk=trial_id).first()
        )
        if old is None:
            raise NotFoundError("trial", trial_id, "Open the machine or the lot and choose it there")
        if EvennessTrial.objects.filter(corrects=old).exists():
            raise ConflictError("This trial was corrected already", "Correct the newer one")
        about = (
            _About.of(trial) if _names_something(trial) else _About(old.lot, old.order, old.run, old.machine)
        )
        said = replace(
            trial,
            note=_note(trial.note, reason),
            taken_at=trial.taken_at or old.taken_at,
        )
        row = _keep_trial(person, said, about, confirmation, corrects=old)
        remember(key, "correct_trial", body, {"trial": row.pk}, person)
        return row.pk


def _names_something(trial: TrialFacts) -> bool:
    return bool(trial.lot or trial.order or trial.run or trial.machine)


@dataclass(frozen=True, slots=True)
class _About:
    """What a trial tells of."""

    lot: Lot | None
    order: Order | None
    run: Run | None
    machine: Machine | None

    @classmethod
    def of(cls, trial: TrialFacts) -> _About:
        return cls(
            lot=_found(Lot, trial.lot, "lot"),
            order=_found(Order, trial.order, "order"),
            run=_found(Run, trial.run, "run"),
            machine=_machine(trial.machine) if trial.machine else None,
        )

    @property
    def subject(self) -> tuple[str, str]:
        """Where the live feed tells of it: topic and number."""
        for topic in ("lot", "order", "run", "machine"):
            row = getattr(self, topic)
            if row is not None:
                return topic, row.code
        return "machine", ""

    def photo_lots(self) -> list[int]:
        """Lots (by id) that a photo of this trial may be of."""
        lots = {self.lot.pk} if self.lot else set()
        if self.order:
            lots |= set(self.order.order_lots.values_list("lot_id", flat=True))
        if self.run:
            lots |= set(self.run.inputs.values_list("lot_id", flat=True))
            lots |= set(self.run.outputs.values_list("lot_id", flat=True))
        return sorted(lots)


def _found(model: type[Row], code: str, kind: str) -> Row | None:
    if not code:
        return None
    row = model.objects.filter(code=code).first()
    if row is None:
        raise NotFoundError(kind, code, "Look at the number again")
    return row


def _machine(code: str) -> Machine:
    machine = Machine.objects.select_for_update().filter(code=code, archived_at=None).first()
    if machine is None:
        raise NotFoundError("machine", code, "Choose a machine from the list")
    return machine


def _keep_trial(
    person: Person,
    trial: TrialFacts,
    about: _About,
    confirmation: str,
    *,
    corrects: EvennessTrial | None = None,
) -> EvennessTrial:
    recorded_at = clock.now()
    taken_at = trial.taken_at or recorded_at
    if taken_at > recorded_at + CLOCK_SLACK:
        raise InputError("time of the trial", taken_at.isoformat(timespec="minutes"), "not in the future")
    machine = about.machine
    if machine is not None and machine.stage != trial.stage:
        reason = f"it is a machine of the {machine.stage}, and the trial is of the {trial.stage}"
        raise RefusedError(
            f"The trial is not of {machine.name}", (reason,), "Choose the machine or the stage"
        )
    if isinstance(trial.facts, CleanDownFacts) and trial.stage in HOLD_UP_OF_STAGE:
        whose = machine.name if machine else f"the {trial.stage}"
        usual = usual_figure(HOLD_UP_OF_STAGE[trial.stage], bridge.current_tables())
        _ask_about(usual, trial.facts.mean_dry_g, whose, confirmation)
    kind = kind_of_facts(trial.facts)
    result = trial.result
    if result is None:
        result = result_of(trial.facts, stage=trial.stage, passes=trial.passes)
    row = EvennessTrial.objects.create(
        kind=kind,
        lot=about.lot,
        order=about.order,
        run=about.run,
        machine=machine,
        stage=trial.stage,
        passes=trial.passes,
        facts=kept_facts(trial.facts),
        result=kept_result(result),
        photo=_photo(trial.photo, about),
        note=_note(trial.note, confirmation),
        corrects=corrects,
        taken_at=taken_at,
        recorded_at=recorded_at,
        person=person,
    )
    topic, subject = about.subject
    announce(person, topic, subject, f"trial of evenness: {kind.label}")
    return row


def _photo(number: int | None, about: _About) -> Photo | None:
    if number is None:
        return None
    photo = Photo.objects.filter(pk=number, lot__in=about.photo_lots(), archived_at=None).first()
    if photo is None:
        raise NotFoundError("photo of this lot", number, "Add the photo to the lot first")
    return photo
