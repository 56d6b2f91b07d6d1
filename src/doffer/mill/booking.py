"""What several commands share: one reading of a scale booked, an act done once, a change announced."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from doffer.errors import ConflictError, InputError, NotFoundError, RefusedError
from doffer.mill import bridge, chain, clock
from doffer.mill.models import Change, Container, Customer, Deed, Filling, Lot, Run, Scale, Weighing
from doffer.mill.models.weighings import Branch, Source
from doffer.mill.numbering import next_tag
from doffer.mill.tags import read_tag
from doffer.mill.write import serialise
from doffer.people.models import Device, Person

WHOLE_LOT_FRAC = 0.93  # water comes and goes between two weighings: from here on a lot went in whole
CLOCK_SLACK = timedelta(minutes=10)  # a tablet's clock may run a little ahead of the mill's


class QuestionError(RefusedError):
    """Not refused but asked about: the same act with a confirmation in words goes through."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading of a scale and what was known beside it; grams and fractions.

    `branch` is absorption, desorption (the default: dried from wet), wet, or measured (then
    `measured_regain_frac` gives water over dry fibre). `weighed_at` defaults to now.
    """

    gross_g: float
    tare_g: float = 0.0
    rh_frac: float | None = None
    temp_c: float | None = None
    branch: str = Branch.DESORPTION
    measured_regain_frac: float | None = None
    finish_g: float = 0.0
    scale: str = ""
    weighed_at: datetime | None = None
    source: str = Source.TYPED
    note: str = ""

    def __post_init__(self) -> None:
        if self.gross_g < 0:
            raise InputError("weight with the container", f"{self.gross_g:g} g", "zero or more")
        if not 0 <= self.tare_g <= self.gross_g:
            allowed = f"from 0 to the {self.gross_g:g} g weighed with it"
            raise InputError("weight of the empty container", f"{self.tare_g:g} g", allowed)
        if self.rh_frac is not None and not 0 <= self.rh_frac <= 1:
            raise InputError("room humidity", f"{self.rh_frac * 100:g} %", "from 0 to 100 %")
        if not 0 <= self.finish_g <= self.net_g:
            raise InputError(
                "conditioner on the fibre", f"{self.finish_g:g} g", f"from 0 to {self.net_g:g} g"
            )
        if self.branch not in Branch.values:
            raise InputError("how the water is known", self.branch, f"one of {', '.join(Branch.values)}")

    @property
    def net_g(self) -> float:
        """What lay in the container [g]."""
        return self.gross_g - self.tare_g

    def plain(self) -> dict[str, object]:
        """What was sent, for telling a repetition from another act."""
        return {name: getattr(self, name) for name in self.__slots__}


def announce(by: Person | None, topic: str, subject: str, what: str) -> None:
    """Put a line into the live feed; inside the act it tells of."""
    Change.objects.create(at=clock.now(), topic=topic, subject=subject, what=what, person=by)


def lot_of(code: str) -> Lot:
    """A lot by its number, locked until the act ends."""
    lot = Lot.objects.select_for_update(of=("self",)).select_related("customer").filter(code=code).first()
    if lot is None:
        raise NotFoundError("lot", code, "Scan the tag again or look in the list of lots")
    return lot


def customer_of(code: str) -> Customer:
    """An owner by number."""
    customer = Customer.objects.filter(code=code).first()
    if customer is None:
        raise NotFoundError("owner", code, "Choose an owner from the list or record a new one")
    return customer


def container_of(tag: str) -> Container:
    """A container by its tag, locked until the act ends."""
    container = Container.objects.select_for_update(of=("self",)).filter(tag=read_tag(tag)).first()
    if container is None:
        raise NotFoundError("container", tag, "Scan the tag again")
    return container


def scale_of(code: str) -> Scale | None:
    """A scale by its code; none when nothing was said."""
    if not code:
        return None
    scale = Scale.objects.filter(code=code).first()
    if scale is None:
        raise NotFoundError("scale", code, "Choose a scale from the list")
    return scale


def done_before(key: uuid.UUID | None, act: str, body: dict[str, object]) -> dict[str, object] | None:
    """What this act gave when it came with this key before, or None; called inside `write()`.

    Raises
    ------
    ConflictError
        The key was used for something else.
    """
    if key is None:
        return None
    serialise(f"deed {key}")
    deed = Deed.objects.filter(key=key).first()
    if deed is None:
        return None
    if deed.act != act or deed.body_sha256 != chain.sha256(chain.canonical(body)):
        raise ConflictError(
            "This form was sent before with other words in it", "Open a fresh form and send it again"
        )
    return deed.result


def remember(
    key: uuid.UUID | None, act: str, body: dict[str, object], result: dict[str, object], by: Person
) -> None:
    """Keep what an act gave under its key."""
    if key is not None:
        Deed.objects.create(
            key=key,
            act=act,
            body_sha256=chain.sha256(chain.canonical(body)),
            result=result,
            done_at=clock.now(),
            person=by,
        )


def new_container(by: Person, lot: Lot, *, kind: str, tare_g: float, location: str = "") -> Container:
    """A container with a fresh tag that holds this lot."""
    container = Container.objects.create(
        tag=next_tag(),
        kind=kind,
        tare_mg=bridge.mg(tare_g),
        lot=lot,
        location=location,
        created_at=clock.now(),
        created_by=by,
    )
    Filling.objects.create(container=container, lot=lot, from_at=clock.now(), person=by)
    return container


def put_into(by: Person, container: Container, lot: Lot | None) -> None:
    """From now on the container holds this lot (or nothing)."""
    if container.lot_id == (lot.pk if lot else None):
        return
    Filling.objects.filter(container=container, until_at=None).update(until_at=clock.now())
    container.lot = lot
    container.save(update_fields=["lot"])
    if lot is not None:
        Filling.objects.create(container=container, lot=lot, from_at=clock.now(), person=by)


def book_weighing(
    by: Person,
    lot: Lot,
    reading: Reading,
    *,
    moment: str,
    form: str,
    key: uuid.UUID | None = None,
    body_sha256: str = "",
    container: Container | None = None,
    run: Run | None = None,
    corrects: Weighing | None = None,
    device: Device | None = None,
) -> Weighing:
    """Append one weighing to the chain with its dry mass as computed today; called inside `write()`."""
    recorded_at = clock.now()
    weighed_at = reading.weighed_at or recorded_at
    if weighed_at > recorded_at + CLOCK_SLACK:
        raise InputError("time of weighing", weighed_at.isoformat(timespec="minutes"), "not in the future")
    scale = scale_of(reading.scale)
    serialise("weighings")
    before = Weighing.objects.order_by("-id").values_list("hash", flat=True).first() or chain.FIRST_PREV_HASH
    values: dict[str, object] = {
        # without a key from outside: one that follows from the chain, so that the same history is the same
        "key": key or uuid.uuid5(uuid.NAMESPACE_OID, before),
        "body_sha256": body_sha256,
        "lot_id": lot.pk,
        "container_id": container.pk if container else None,
        "run_id": run.pk if run else None,
        "moment": moment,
        "form": form,
        "scale_id": scale.pk if scale else None,
        "source": reading.source,
        "weighed_at": weighed_at,
        "recorded_at": recorded_at,
        "person_id": by.pk,
        "device_id": device.pk if device else None,
        "corrects_id": corrects.pk if corrects else None,
        "note": reading.note,
        **_read_columns(reading, fibre=lot.fibre, form=form),
    }
    return Weighing.objects.create(**values, prev_hash=before, hash=chain.seal(before, values))


def _read_columns(reading: Reading, *, fibre: str, form: str) -> dict[str, object]:
    """The scale's figures in whole numbers, with the dry mass that today's tables make of them."""
    tables = bridge.current_tables()
    regain_frac = bridge.regain_of(
        fibre,
        form=form,
        branch=reading.branch,
        rh_frac=reading.rh_frac,
        measured_frac=reading.measured_regain_frac,
        tables=tables,
    )
    gross_mg, tare_mg, finish_mg = map(bridge.mg, (reading.gross_g, reading.tare_g, reading.finish_g))
    return {
        "gross_mg": gross_mg,
        "tare_mg": tare_mg,
        "finish_mg": finish_mg,
        "rh_ppm": None if reading.rh_frac is None else bridge.ppm(reading.rh_frac),
        "temp_milli_c": None if reading.temp_c is None else round(reading.temp_c * 1000),
        "branch": reading.branch,
        "actual_regain_ppm": None if regain_frac is None else bridge.ppm(regain_frac),
        "dry_mg": bridge.dry_mg_of(net_mg=gross_mg - tare_mg, finish_mg=finish_mg, regain_frac=regain_frac),
        "tables_sha256": tables.sha256,
    }


def stands_as(lot: Lot, weighing: Weighing, *, place: str | None = None, location: str | None = None) -> None:
    """A lot is now what its latest weighing says; where it stands changes when that is said."""
    lot.now_form = weighing.form
    lot.now_mass_mg = weighing.net_mg
    # wet fibre keeps the dry mass that was known before
    if (
        weighing.dry_mg is not None
        or weighing.form in bridge.RAW_FORMS
        or (lot.now_dry_mg or 0) > weighing.net_mg
    ):
        lot.now_dry_mg = weighing.dry_mg
        lot.now_regain_ppm = weighing.actual_regain_ppm
    lot.now_weighed_at = weighing.weighed_at
    if place is not None:
        lot.place = place
    if location is not None:
        lot.location = location
    lot.save()
