"""Weighings: recorded once, corrected by a new one."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from datetime import datetime

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import bridge, chain
from doffer.mill.booking import (
    WHOLE_LOT_FRAC,
    Reading,
    announce,
    book_weighing,
    container_of,
    lot_of,
    put_into,
    stands_as,
)
from doffer.mill.composition import share_again
from doffer.mill.models import Lot, RunInput, RunOutput, Weighing
from doffer.mill.models.weighings import Moment
from doffer.mill.write import serialise, write
from doffer.people.models import Device, Person
from doffer.people.rights import Right, may, require

MOST_NOTE = 400


@dataclass(frozen=True, slots=True)
class Weighed:
    """A weighing as it is kept; `was_known` says that the same key had come before."""

    id: int
    key: uuid.UUID
    lot: str
    net_g: float
    dry_g: float | None
    actual_regain_frac: float | None
    weighed_at: datetime
    was_known: bool = False


def _weighed(weighing: Weighing, *, was_known: bool = False) -> Weighed:
    return Weighed(
        id=weighing.pk,
        key=weighing.key,
        lot=weighing.lot.code,
        net_g=bridge.grams(weighing.net_mg),
        dry_g=bridge.maybe_grams(weighing.dry_mg),
        actual_regain_frac=bridge.maybe_frac(weighing.actual_regain_ppm),
        weighed_at=weighing.weighed_at,
        was_known=was_known,
    )


def _known(key: uuid.UUID, body_sha256: str) -> Weighing | None:
    """The weighing that came with this key before."""
    serialise("weighings")
    stored = Weighing.objects.select_related("lot").filter(key=key).first()
    if stored is not None and stored.body_sha256 != body_sha256:
        raise ConflictError(
            f"This weighing was sent before as {bridge.grams(stored.net_mg):g} g of {stored.lot.code}",
            "If that is wrong, correct it; for another weighing open a fresh form",
        )
    return stored


def record_weighing(
    by: Person | None,
    *,
    lot: str,
    reading: Reading,
    moment: str = Moment.STOCK,
    form: str = "",
    tag: str = "",
    place: str | None = None,
    location: str | None = None,
    key: uuid.UUID | None = None,
    device: Device | None = None,
) -> Weighed:
    """Keep one weighing of a lot; the lot then stands at this weight (waste does not change it).

    The same key with the same facts gives the stored weighing; with other facts it is a ConflictError.
    """
    person = require(by, Right.WEIGH)
    if moment not in Moment.values:
        raise InputError("moment", moment, f"one of {', '.join(Moment.values)}")
    key = key or uuid.uuid4()
    body = {"lot": lot, "moment": moment, "form": form, "tag": tag, "place": place, "location": location}
    body_sha256 = chain.sha256(chain.canonical({**body, **reading.plain()}))
    with write():
        stored = _known(key, body_sha256)
        if stored is not None:
            return _weighed(stored, was_known=True)
        row = lot_of(lot)
        container = container_of(tag) if tag else None
        weighing = book_weighing(
            person,
            row,
            reading,
            moment=moment,
            form=form or row.now_form,
            key=key,
            body_sha256=body_sha256,
            container=container,
            device=device,
        )
        if container is not None:
            put_into(person, container, row)
        if moment != Moment.WASTE:
            stands_as(row, weighing, place=place, location=location)
        announce(person, "lot", lot, f"weighed {bridge.grams(weighing.net_mg):g} g")
        return _weighed(weighing)


def correct_weighing(
    by: Person | None, weighing_id: int, *, reading: Reading, reason: str, key: uuid.UUID | None = None
) -> Weighed:
    """Put a new weighing in the place of a wrong one; both stay, and the new one names the old.

    On the floor people correct their own weighings; those of others are corrected in the office.
    """
    person = require(by, Right.CORRECT)
    if not reason.strip():
        raise InputError("reason for the correction", "", "a few words, such as “tare forgotten”")
    key = key or uuid.uuid4()
    body_sha256 = chain.sha256(
        chain.canonical({"corrects": weighing_id, "reason": reason, **reading.plain()})
    )
    with write():
        stored = _known(key, body_sha256)
        if stored is not None:
            return _weighed(stored, was_known=True)
        old = Weighing.objects.select_related("lot", "container", "person").filter(pk=weighing_id).first()
        if old is None:
            raise NotFoundError("weighing", weighing_id, "Open the lot and choose the weighing there")
        if old.person_id != person.pk and not may(person, Right.CLEAR_HOLD):
            act = "The weighing stays as it is"
            raise RefusedError(act, (f"{old.person.name} made it",), "Ask the office to correct it")
        if Weighing.objects.filter(corrects=old).exists():
            raise ConflictError("This weighing was corrected already", "Correct the newer one")
        lot = lot_of(old.lot.code)
        new = book_weighing(
            person,
            lot,
            replace(reading, note=reading.note or reason.strip()[:MOST_NOTE]),
            moment=old.moment,
            form=old.form,
            key=key,
            body_sha256=body_sha256,
            container=old.container,
            run=old.run,
            corrects=old,
        )
        _follow(person, lot, old, new)
        announce(person, "lot", lot.code, f"corrected a weighing: {reason}")
        return _weighed(new)


def _follow(person: Person, lot: Lot, old: Weighing, new: Weighing) -> None:
    """What rested on the old weighing rests on the new: its run's side, and how the lot stands now."""
    # a wet weighing says nothing about dry fibre: what was known of it before stays
    dry = {} if new.dry_mg is None else {"dry_mg": new.dry_mg}
    for side in (RunInput, RunOutput):
        side.objects.filter(weighing=old).update(weighing=new, mass_mg=new.net_mg, **dry)
    if new.run is not None and old.moment == Moment.IN:
        share_again(new.run)
    later = Weighing.objects.filter(lot=lot, pk__gt=old.pk).exclude(pk=new.pk).exclude(moment=Moment.WASTE)
    if old.moment == Moment.WASTE or later.exists():
        return
    if old.moment != Moment.IN:
        stands_as(lot, new)
    elif lot.now_mass_mg:  # part of the lot stayed behind: as much more or less as went in less or more
        rest_mg = max(0, lot.now_mass_mg + old.net_mg - new.net_mg)
        if lot.now_dry_mg is not None:
            lot.now_dry_mg = min(rest_mg, round(lot.now_dry_mg * rest_mg / lot.now_mass_mg))
        lot.now_mass_mg = rest_mg
        lot.save(update_fields=["now_mass_mg", "now_dry_mg"])
    else:
        _leave_rest(person, lot, old, new)


def _leave_rest(person: Person, lot: Lot, old: Weighing, new: Weighing) -> None:
    """A lot was taken to go in whole by a weighing that was wrong: what did not go in still stands there.

    Only where the weighing itself said that it went in whole; "nothing stays" said in words stays said.
    """
    before = (
        Weighing.objects.filter(lot=lot, pk__lt=old.pk, corrected_by=None)
        .exclude(moment=Moment.WASTE)
        .select_related("container")
        .order_by("-pk")
        .first()
    )
    if before is None or before.moment == Moment.IN or not before.net_mg:
        return
    whole_mg = WHOLE_LOT_FRAC * before.net_mg
    if old.net_mg < whole_mg or new.net_mg >= whole_mg:
        return
    lot.now_mass_mg = before.net_mg - new.net_mg
    if before.dry_mg is not None:
        lot.now_dry_mg = round(before.dry_mg * lot.now_mass_mg / before.net_mg)
    lot.save(update_fields=["now_mass_mg", "now_dry_mg"])
    if before.container is not None and before.container.lot_id is None:
        put_into(person, before.container, lot)
