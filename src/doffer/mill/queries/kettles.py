"""The dye kettles with what they take and what their dip sticks say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from doffer.errors import NotFoundError
from doffer.mill import dye_bath
from doffer.mill.dye_bath import THOUSANDTHS
from doffer.mill.models import KettleStick, TubUse
from doffer.planning.dip_stick import KettleShape, StickMark


@dataclass(frozen=True, slots=True)
class KettleRow:
    """A dye kettle: the bath it takes [L], the lot in it now, and its shape where somebody measured it."""

    code: str
    name: str
    usable_l: float | None
    lot: str
    shape: KettleShape | None
    measured_at: datetime | None
    measured_by: str
    note: str


def kettles() -> tuple[KettleRow, ...]:
    """All dye kettles, smallest first; three queries."""
    rows = dye_bath.kettles()
    sticks = KettleStick.objects.select_related("person").order_by("id")
    newest = {stick.kettle_id: stick for stick in sticks.filter(kettle__in=rows)}
    inside = dict(TubUse.objects.filter(out_at=None, machine__in=rows).values_list("machine_id", "lot__code"))
    return tuple(
        KettleRow(
            code=row.code,
            name=row.name,
            usable_l=dye_bath.usable_l(row),
            lot=inside.get(row.pk, ""),
            shape=_shape(stick) if stick else None,
            measured_at=stick.measured_at if stick else None,
            measured_by=stick.person.name if stick else "",
            note=stick.note if stick else "",
        )
        for row in rows
        for stick in (newest.get(row.pk),)
    )


def one_kettle(code: str) -> KettleRow:
    """One dye kettle; NotFoundError when there is none of that name."""
    found = next((row for row in kettles() if row.code == code), None)
    if found is None:
        raise NotFoundError("kettle", code, "Choose one of the dye kettles")
    return found


def _shape(stick: KettleStick) -> KettleShape:
    marks = {
        name: StickMark(ml / THOUSANDTHS, float(mm))
        for name, ml, mm in (("low", stick.low_ml, stick.low_mm), ("high", stick.high_ml, stick.high_mm))
        if ml and mm
    }
    return KettleShape(bore_mm=stick.bore_mm, low=marks.get("low"), high=marks.get("high"))
