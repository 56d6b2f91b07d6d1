"""A wrong trial is corrected together with the figure of a machine that came of it: both or neither."""

from __future__ import annotations

import uuid

from doffer.mill.booking import done_before, remember
from doffer.mill.commands.evenness import FigureFacts, TrialFacts, correct_trial, record_figure
from doffer.mill.evenness_facts import MICRO
from doffer.mill.models import EvennessTrial, MachineFigure
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require


def correct_found(
    by: Person | None,
    trial_id: int,
    trial: TrialFacts,
    *,
    reason: str,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Put a new trial in the place of a wrong one; a figure that counts and rests on that one alone is found
    anew from it. Gives the new trial's number.

    Figures that rest on several trials stay, and their pages say that one of them was corrected.

    Raises
    ------
    ConflictError
        The trial was corrected already.
    QuestionError
        A figure ten times more or less than is usual; goes through with a confirmation.
    """
    person = require(by, Right.EVENNESS)
    with write():
        body: dict[str, object] = {
            "corrects": trial_id,
            "trial": repr(trial),
            "said": [reason, confirmation],
        }
        earlier = done_before(key, "correct_found", body)
        if earlier:
            return int(str(earlier["trial"]))
        number = correct_trial(by, trial_id, trial, reason=reason, confirmation=confirmation)
        _find_anew(by, trial_id, number, confirmation)
        remember(key, "correct_found", body, {"trial": number}, person)
        return number


def _find_anew(by: Person | None, old: int, number: int, confirmation: str) -> None:
    row = EvennessTrial.objects.select_related("machine").get(pk=number)
    if row.machine is None:
        return
    rest_on_it = {
        one.key: one
        for one in MachineFigure.objects.filter(machine=row.machine, superseded_by=None)
        if one.trials == [old]
    }
    for key, (value, low, high) in row.result["figures"].items():
        if key not in rest_on_it:
            continue
        facts = FigureFacts(
            key=key,
            value=value / MICRO,
            low=low / MICRO,
            high=high / MICRO,
            found=rest_on_it[key].found,
            n=len(row.facts.get("masses_mg", ())) or None,
            trials=(number,),
        )
        record_figure(by, row.machine.code, facts, confirmation=confirmation)
