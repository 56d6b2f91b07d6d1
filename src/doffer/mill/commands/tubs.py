"""Tubs, kettles and racks: what is in which, which bath of how many, what comes next."""

from __future__ import annotations

import uuid
from datetime import datetime

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import clock
from doffer.mill.booking import announce, done_before, lot_of, remember
from doffer.mill.commands.join import refuse_held
from doffer.mill.models import Lot, Machine, TubBath, TubUse
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

ONE_LOT_STAGES = ("wash", "dye", "set", "extract")  # water carries one lot's fibre and dye to the other
SHARED_STAGES = ("dry", "rest")  # racks and rest bins hold several lots side by side


def put_in(
    by: Person | None,
    *,
    machine: str,
    lot: str,
    what: str,
    n_baths: int = 1,
    next_step: str = "",
    due_at: datetime | None = None,
    note: str = "",
    key: uuid.UUID | None = None,
) -> int:
    """A lot goes into a tub or kettle or onto a rack; gives the number of the use.

    Raises
    ------
    RefusedError
        Another lot is in the tub, or this one is on hold.
    ConflictError
        The lot is in there already.
    """
    person = require(by, Right.KITCHEN)
    if not what.strip():
        raise InputError("what happens to it", "", "a few words, such as first bath")
    if not 1 <= n_baths <= MOST_BATHS:
        raise InputError("number of baths", n_baths, f"from 1 to {MOST_BATHS}")
    _check_due(due_at)
    with write():
        body: dict[str, object] = {"put": [machine, lot, what, n_baths, next_step, str(due_at), note]}
        earlier = done_before(key, "put_in", body)
        if earlier:
            return int(str(earlier["use"]))
        row, tub = lot_of(lot), _tub(machine)
        refuse_held([row], f"{lot} does not go into {tub.name}")
        _check_room(tub, row)
        use = TubUse.objects.create(
            machine=tub, lot=row, n_baths=n_baths, in_at=clock.now(), in_by=person, note=note
        )
        _bath(person, use, 1, what, next_step, due_at)
        announce(person, "tub", machine, f"{lot}: {what}"[:300])
        remember(key, "put_in", body, {"use": use.pk}, person)
        return use.pk


MOST_BATHS = 20


def occupy(
    person: Person,
    machine: Machine,
    lot: Lot,
    *,
    what: str,
    n_baths: int,
    due_at: datetime | None,
    at: datetime,
) -> None:
    """A lot stands in a kettle from `at` on; for commands that write already. Nothing where it is in there.

    Raises
    ------
    RefusedError
        Another lot is in it.
    """
    tub = _tub(machine.code)
    if TubUse.objects.filter(machine=tub, lot=lot, out_at=None).exists():
        return
    _check_room(tub, lot)
    use = TubUse.objects.create(
        machine=tub, lot=lot, n_baths=min(n_baths, MOST_BATHS), in_at=at, in_by=person
    )
    _bath(person, use, 1, what, "", due_at)
    announce(person, "tub", tub.code, f"{lot.code}: {what}"[:300])


def _check_due(due_at: datetime | None) -> None:
    if due_at is not None and due_at.tzinfo is None:
        raise InputError("when the next step is due", due_at.isoformat(), "an instant with its time zone")


def _tub(code: str) -> Machine:
    """A tub, kettle or rack, locked until the act ends."""
    machine = Machine.objects.select_for_update().filter(code=code, archived_at=None).first()
    if machine is None:
        raise NotFoundError("tub, kettle or rack", code, "Choose one from the list of machines")
    if machine.stage not in ONE_LOT_STAGES + SHARED_STAGES:
        raise InputError("tub, kettle or rack", machine.name, "something that fibre lies in: wash, dye, dry")
    return machine


def _check_room(tub: Machine, lot: Lot) -> None:
    inside = list(TubUse.objects.filter(machine=tub, out_at=None).select_related("lot__customer"))
    if any(use.lot_id == lot.pk for use in inside):
        raise ConflictError(f"{lot.code} is in {tub.name} already", "Go on to its next bath, or take it out")
    if inside and tub.stage in ONE_LOT_STAGES:
        other = inside[0].lot
        reason = f"{other.code} of {other.customer.name} is in it"
        raise RefusedError(
            f"{lot.code} does not go into {tub.name}", (reason,), "Take that out first, or choose another tub"
        )


def _bath(
    person: Person, use: TubUse, number: int, what: str, next_step: str, due_at: datetime | None
) -> None:
    TubBath.objects.create(
        use=use,
        number=number,
        what=what.strip(),
        began_at=clock.now(),
        next_step=next_step.strip(),
        due_at=due_at,
        person=person,
    )


def next_bath(
    by: Person | None,
    use_id: int,
    *,
    what: str,
    next_step: str = "",
    due_at: datetime | None = None,
    n_baths: int | None = None,
    key: uuid.UUID | None = None,
) -> int:
    """The lot goes on to its next bath; gives the bath's number. `n_baths` says that there are more now.

    Raises
    ------
    RefusedError
        All baths were had.
    """
    person = require(by, Right.KITCHEN)
    if not what.strip():
        raise InputError("what happens to it", "", "a few words, such as rinse")
    _check_due(due_at)
    with write():
        body: dict[str, object] = {"next": [use_id, what, next_step, str(due_at), n_baths]}
        earlier = done_before(key, "next_bath", body)
        if earlier:
            return int(str(earlier["bath"]))
        use = _open_use(use_id)
        number = use.baths.count() + 1
        if n_baths is not None:
            if not number <= n_baths <= MOST_BATHS:
                raise InputError("number of baths", n_baths, f"from {number} to {MOST_BATHS}")
            use.n_baths = n_baths
            use.save(update_fields=["n_baths"])
        if number > use.n_baths:
            reason = f"{use.lot.code} had all its {use.n_baths} baths"
            mend = "Take it out, or say that there are more baths"
            raise RefusedError("There is no further bath", (reason,), mend)
        _bath(person, use, number, what, next_step, due_at)
        announce(person, "tub", use.machine.code, f"{use.lot.code}: {what}"[:300])
        remember(key, "next_bath", body, {"bath": number}, person)
        return number


def take_out(by: Person | None, use_id: int, *, note: str = "", key: uuid.UUID | None = None) -> None:
    """The lot comes out; the tub is free. ConflictError when it was out already."""
    person = require(by, Right.KITCHEN)
    with write():
        body: dict[str, object] = {"out": [use_id, note]}
        if done_before(key, "take_out", body):
            return
        use = _open_use(use_id)
        use.out_at, use.out_by = clock.now(), person
        use.note = "; ".join(filter(None, (use.note, note.strip())))
        use.save(update_fields=["out_at", "out_by", "note"])
        announce(person, "tub", use.machine.code, f"{use.lot.code} taken out")
        remember(key, "take_out", body, {"use": use_id}, person)


def _open_use(use_id: int) -> TubUse:
    rows = TubUse.objects.select_for_update(of=("self",)).select_related("machine", "lot")
    use = rows.filter(pk=use_id).first()
    if use is None:
        raise NotFoundError("lot in a tub", use_id, "Look at the tubs again")
    if use.out_at is not None:
        raise ConflictError(f"{use.lot.code} was taken out of {use.machine.name} already", "Put it in again")
    return use
