"""What the dip stick of a kettle says: measured once with water, kept beside the kettle."""

from __future__ import annotations

import uuid

from doffer.errors import InputError
from doffer.mill import clock
from doffer.mill.booking import announce, done_before, remember
from doffer.mill.dye_bath import THOUSANDTHS
from doffer.mill.models import KettleStick, Machine
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.planning.dip_stick import KettleShape, StickMark


def measure_kettle(
    by: Person | None, kettle: str, shape: KettleShape, *, note: str = "", key: uuid.UUID | None = None
) -> int:
    """Keep the shape of a dye kettle; the newest one counts. Gives the number of the record.

    Raises
    ------
    InputError
        No such dye kettle.
    """
    person = require(by, Right.KITCHEN)
    with write():
        body: dict[str, object] = {"stick": [kettle, repr(shape), note]}
        earlier = done_before(key, "measure_kettle", body)
        if earlier:
            return int(str(earlier["stick"]))
        machine = Machine.objects.filter(code=kettle, stage="dye", archived_at=None).first()
        if machine is None:
            raise InputError("kettle", kettle, "a dye kettle of this mill")
        row = KettleStick.objects.create(
            kettle=machine,
            bore_mm=None if shape.bore_mm is None else round(shape.bore_mm),
            **_mark("low", shape.low),
            **_mark("high", shape.high),
            note=note.strip(),
            measured_at=clock.now(),
            person=person,
        )
        announce(person, "machine", kettle, f"dip stick of {machine.name} measured")
        remember(key, "measure_kettle", body, {"stick": row.pk}, person)
        return row.pk


def _mark(name: str, mark: StickMark | None) -> dict[str, int | None]:
    return {
        f"{name}_ml": None if mark is None else round(mark.volume_l * THOUSANDTHS),
        f"{name}_mm": None if mark is None else round(mark.height_mm),
    }
