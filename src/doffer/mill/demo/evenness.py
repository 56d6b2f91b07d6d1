"""How the invented mill's machines mix: what it weighed in its last two weeks; the rest is still guessed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from doffer.mill.commands.evenness import FigureFacts, TrialFacts, record_figure, record_trial
from doffer.mill.demo.work import Act, Row, at_time, told
from doffer.mill.evenness_facts import CleanDownFacts, Facts, SampleFacts, TuftFacts
from doffer.mill.queries.evenness import one_trial
from doffer.people.models import Person

PERCENT = 100


def evenness_acts(person: Person) -> Iterator[Act]:
    """Trials of the picker and the card, and the figures that were written down from them."""
    for row in told("evenness_trials"):
        at = at_time(date.fromisoformat(row["date"]), int(row["hour"]))
        yield Act(at, lambda row=row: _trial(person, row))


def _trial(person: Person, row: Row) -> None:
    facts = TrialFacts(
        facts=_facts(row),
        stage=row["stage"],
        passes=int(row["passes"]),
        machine=row["machine"],
        lot=row["lot"],
        note=row["note"],
    )
    number = record_trial(person, facts)
    for found in one_trial(number).result.figures:
        figure = FigureFacts(
            key=found.key,
            value=found.value,
            low=found.low,
            high=found.high,
            found=row["kind"],
            n=len(row["masses_g"].split()),
            trials=(number,),
            note=row["note"],
        )
        record_figure(person, row["machine"], figure)


def _facts(row: Row) -> Facts:
    masses_g = tuple(float(mass) for mass in row["masses_g"].split())
    regain_frac = float(row["regain_frac"])
    if row["kind"] == "clean-down":
        return CleanDownFacts(masses_g=masses_g, actual_regain_frac=regain_frac)
    if row["kind"] == "tufts":
        return TuftFacts(masses_g=masses_g, actual_regain_frac=regain_frac)
    return SampleFacts(
        masses_g=masses_g,
        actual_regain_frac=regain_frac,
        shares_frac=tuple(float(share) / PERCENT for share in row["shares_pct"].split()),
        component=row["component"],
    )
