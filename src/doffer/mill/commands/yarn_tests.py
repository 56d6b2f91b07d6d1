"""Tests of yarn and of the fibre it is spun from."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from doffer.errors import ConflictError, InputError, NotFoundError
from doffer.mill import clock
from doffer.mill.booking import CLOCK_SLACK, QuestionError, announce, done_before, lot_of, remember
from doffer.mill.commands.yarn_settings import LOOK_AGAIN, note_of
from doffer.mill.fibre_facts import LotFibreFacts, columns_over, fibre_doubts
from doffer.mill.models import Lot, LotFibre, Order, Run, YarnTest
from doffer.mill.write import write
from doffer.mill.yarn_facts import YarnTestFacts, far_off, kept_columns
from doffer.people.models import Person
from doffer.people.rights import Right, require

Row = TypeVar("Row", Lot, Order, Run)


@dataclass(frozen=True, slots=True)
class _About:
    """What a test tells of."""

    lot: Lot | None
    order: Order | None
    run: Run | None

    @classmethod
    def of(cls, *, lot: str, order: str, run: str) -> _About:
        return cls(_found(Lot, lot, "lot"), _found(Order, order, "order"), _found(Run, run, "run"))

    @property
    def subject(self) -> tuple[str, str]:
        """Where the live feed tells of it: topic and number."""
        for topic in ("lot", "order", "run"):
            row = getattr(self, topic)
            if row is not None:
                return topic, row.code
        return "lot", ""


def _found(model: type[Row], code: str, kind: str) -> Row | None:
    if not code:
        return None
    row = model.objects.filter(code=code).first()
    if row is None:
        raise NotFoundError(kind, code, "Look at the number again")
    return row


def record_yarn_test(
    by: Person | None,
    facts: YarnTestFacts,
    *,
    lot: str = "",
    order: str = "",
    run: str = "",
    taken_at: datetime | None = None,
    note: str = "",
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep a test of yarn; gives its number.

    Raises
    ------
    InputError
        Nothing named that it tells of, or a time to come.
    QuestionError
        A count, a twist or a change of length that can hardly be; goes through with a confirmation.
    """
    person = require(by, Right.YARN)
    if not (lot or order or run):
        raise InputError("what the test tells of", "", "a lot, an order or a run")
    with write():
        body: dict[str, object] = {
            "facts": repr(facts),
            "of": [lot, order, run],
            "taken_at": taken_at,
            "said": [note, confirmation],
        }
        earlier = done_before(key, "record_yarn_test", body)
        if earlier:
            return int(str(earlier["test"]))
        about = _About.of(lot=lot, order=order, run=run)
        row = _keep_test(person, facts, about, taken_at, note, confirmation)
        remember(key, "record_yarn_test", body, {"test": row.pk}, person)
        return row.pk


def correct_yarn_test(
    by: Person | None,
    test_id: int,
    facts: YarnTestFacts,
    *,
    reason: str,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Put a new test in the place of a wrong one, of the same yarn; both stay, and the new names the old."""
    person = require(by, Right.YARN)
    if not reason.strip():
        raise InputError("reason for the correction", "", "a few words, such as “5 m and not 10 m”")
    with write():
        body: dict[str, object] = {
            "corrects": test_id,
            "facts": repr(facts),
            "said": [reason, confirmation],
        }
        earlier = done_before(key, "correct_yarn_test", body)
        if earlier:
            return int(str(earlier["test"]))
        old = YarnTest.objects.select_related("lot", "order", "run").filter(pk=test_id).first()
        if old is None:
            raise NotFoundError("test of yarn", test_id, "Open the lot or the order and choose it there")
        if YarnTest.objects.filter(corrects=old).exists():
            raise ConflictError("This test was corrected already", "Correct the newer one")
        about = _About(old.lot, old.order, old.run)
        row = _keep_test(person, facts, about, old.taken_at, reason, confirmation, corrects=old)
        remember(key, "correct_yarn_test", body, {"test": row.pk}, person)
        return row.pk


def _keep_test(
    person: Person,
    facts: YarnTestFacts,
    about: _About,
    taken_at: datetime | None,
    note: str,
    confirmation: str,
    *,
    corrects: YarnTest | None = None,
) -> YarnTest:
    recorded_at = clock.now()
    if taken_at is not None and taken_at > recorded_at + CLOCK_SLACK:
        raise InputError("time of the test", taken_at.isoformat(timespec="minutes"), "not in the future")
    topic, subject = about.subject
    reasons = far_off(facts)
    if reasons and not confirmation.strip():
        raise QuestionError(f"The test of {subject} is far from what yarn is", reasons, LOOK_AGAIN)
    row = YarnTest.objects.create(
        lot=about.lot,
        order=about.order,
        run=about.run,
        note=note_of(note, confirmation),
        corrects=corrects,
        taken_at=taken_at or recorded_at,
        recorded_at=recorded_at,
        person=person,
        **kept_columns(facts),
    )
    announce(person, topic, subject, "yarn tested" if corrects is None else "a test of yarn corrected")
    return row


def record_lot_fibre(
    by: Person | None,
    lot: str,
    facts: LotFibreFacts,
    *,
    confirmation: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """Keep what was found of a lot's fibre; it counts from now on, with what was found before. Its number.

    Raises
    ------
    QuestionError
        Stronger than single fibres are, or crimp that no wool has; goes through with a confirmation.
    """
    person = require(by, Right.YARN)
    with write():
        body: dict[str, object] = {"lot": lot, "facts": repr(facts), "confirmation": confirmation}
        earlier = done_before(key, "record_lot_fibre", body)
        if earlier:
            return int(str(earlier["fibre"]))
        row = lot_of(lot)
        reasons = fibre_doubts(facts)
        if reasons and not confirmation.strip():
            raise QuestionError(f"What was found of {lot} is far from the usual", reasons, LOOK_AGAIN)
        before = LotFibre.objects.filter(lot=row, superseded_by=None).first()
        made = LotFibre.objects.create(
            lot=row,
            found_by=facts.found_by,
            note=note_of(facts.note, confirmation),
            supersedes=before,
            made_at=clock.now(),
            person=person,
            **columns_over(facts, before),
        )
        announce(person, "lot", row.code, "fibre tested")
        remember(key, "record_lot_fibre", body, {"fibre": made.pk}, person)
        return made.pk
