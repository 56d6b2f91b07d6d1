"""At the door: a bag becomes a lot with a tag, is looked at for moth, skirted and graded."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date

from doffer.errors import InputError
from doffer.fibre.material import Form
from doffer.mill import bridge, clock
from doffer.mill.booking import (
    QuestionError,
    Reading,
    announce,
    book_weighing,
    customer_of,
    done_before,
    lot_of,
    new_container,
    remember,
    stands_as,
)
from doffer.mill.commands.join import refuse_held
from doffer.mill.models import Hold, Lot, Run, RunInput, RunOutput, RunWaste
from doffer.mill.models.lots import HoldKind, Pest, Place, Soundness
from doffer.mill.models.weighings import Moment
from doffer.mill.numbering import LOT, RUN, next_code, note_code
from doffer.mill.usual import ask_about_bag
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require

QUARANTINE_SHELF = "quarantine shelf"
MOST_DIAMETER_UM = 80.0
MOST_STAPLE_MM = 500
MOST_LAB = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FibreFacts:
    """What is known of the fibre in a bag; unknown figures are None, `lab` is (L*, a*, b*), approximate."""

    fibre: str
    breed: str = ""
    breed_typed: str = ""
    name: str = ""
    colour_name: str = ""
    lab: tuple[float, float, float] | None = None
    diameter_um: float | None = None
    diameter_sd_um: float | None = None
    diameter_source: str = ""
    staple_mm: float | None = None
    soundness: str = Soundness.UNKNOWN
    vm_grade: int | None = None
    second_cuts: int | None = None

    def __post_init__(self) -> None:
        ranges = (
            ("fibre diameter", self.diameter_um, 5.0, MOST_DIAMETER_UM, "micron"),
            ("spread of the fibre diameter", self.diameter_sd_um, 0.0, MOST_DIAMETER_UM / 2, "micron"),
            ("staple", self.staple_mm, 5.0, MOST_STAPLE_MM, "mm"),
            ("vegetable matter", self.vm_grade, 0, 4, ""),
            ("second cuts", self.second_cuts, 0, 3, ""),
        )
        for name, value, low, high, unit in ranges:
            if value is not None and not low <= value <= high:
                raise InputError(
                    name, f"{value:g} {unit}".strip(), f"from {low:g} to {high:g} {unit}".strip()
                )
        if self.soundness not in Soundness.values:
            raise InputError("soundness", self.soundness, f"one of {', '.join(Soundness.values)}")
        if self.lab is not None and not (0 <= self.lab[0] <= 100 and max(map(abs, self.lab)) <= MOST_LAB):
            raise InputError("colour", self.lab, "L from 0 to 100, a and b from -150 to 150")

    def columns(self) -> dict[str, object]:
        """The lot's columns, in whole numbers."""
        lab = (None, None, None) if self.lab is None else tuple(round(v * bridge.CENTI) for v in self.lab)
        sd_um = self.diameter_sd_um
        return {
            "fibre": self.fibre,
            "breed": self.breed,
            "breed_typed": self.breed_typed,
            "name": self.name,
            "colour_name": self.colour_name,
            "lab_l_centi": lab[0],
            "lab_a_centi": lab[1],
            "lab_b_centi": lab[2],
            "diameter_nm": None if self.diameter_um is None else round(self.diameter_um * bridge.NM_PER_UM),
            "diameter_sd_nm": None if sd_um is None else round(sd_um * bridge.NM_PER_UM),
            "diameter_source": self.diameter_source,
            "staple_mm": None if self.staple_mm is None else round(self.staple_mm),
            "soundness": self.soundness,
            "vm_grade": self.vm_grade,
            "second_cuts": self.second_cuts,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Bag:
    """One closed bag on the door scale and what its owner says is in it."""

    customer: str
    facts: FibreFacts
    reading: Reading
    form: str = Form.GREASY
    kind: str = "bag"
    place: str = Place.DOOR
    location: str = ""
    want_waste_back: bool = False
    note: str = ""
    lot: str = ""  # a number from outside, or empty for the next one
    received_on: date | None = None  # None: today


@dataclass(frozen=True, slots=True)
class BagIn:
    """The new lot, the tag to print before the bag is opened, and the weighing."""

    lot: str
    tag: str
    weighing_id: int
    net_g: float


def place_bag(person: Person, bag: Bag) -> BagIn:
    """Make lot, container and weighing of one bag; called inside a command's `write()`."""
    bridge.known_fibre(bag.facts.fibre, bridge.current_tables())
    if bag.form not in list(Form):
        raise InputError("form", bag.form, f"one of {', '.join(Form)}")
    if bag.reading.net_g <= 0:
        raise InputError("weight of the bag", f"{bag.reading.net_g:g} g", "more than its empty container")
    if bag.lot and Lot.objects.filter(code=bag.lot).exists():
        raise InputError("lot number", bag.lot, "one that is not taken yet")
    note_code(bag.lot)
    customer = customer_of(bag.customer)
    lot = Lot.objects.create(
        code=bag.lot or next_code(LOT),
        customer=customer,
        received_on=bag.received_on or clock.today(),
        place=bag.place,
        location=bag.location,
        want_waste_back=bag.want_waste_back,
        note=bag.note,
        now_form=bag.form,
        created_at=clock.now(),
        created_by=person,
        **bag.facts.columns(),
    )
    container = new_container(person, lot, kind=bag.kind, tare_g=bag.reading.tare_g, location=bag.location)
    weighing = book_weighing(
        person, lot, bag.reading, moment=Moment.INTAKE, form=bag.form, container=container
    )
    stands_as(lot, weighing)
    announce(person, "lot", lot.code, f"came in from {customer.name}")
    return BagIn(lot.code, container.tag, weighing.pk, bridge.grams(weighing.net_mg))


def weigh_in_bag(
    by: Person | None, bag: Bag, *, confirmation: str = "", key: uuid.UUID | None = None
) -> BagIn:
    """A closed bag at the door becomes a lot; its tag comes back and is printed before the bag is opened.

    A weight far from the usual is asked about (QuestionError) until `confirmation` says that it is right.
    """
    person = require(by, Right.INTAKE)
    with write():
        body: dict[str, object] = {"bag": repr(bag)}
        earlier = done_before(key, "weigh_in_bag", body)
        if earlier:
            return BagIn(**earlier)
        ask_about_bag(bag.reading.net_g, confirmation, units=customer_of(bag.customer).units)
        done = place_bag(person, bag)
        remember(
            key,
            "weigh_in_bag",
            body,
            {"lot": done.lot, "tag": done.tag, "weighing_id": done.weighing_id, "net_g": done.net_g},
            person,
        )
        return done


def check_for_pests(by: Person | None, lot: str, *, seen: str, note: str = "") -> int | None:
    """Write down what was seen on opening; anything but clear goes to the quarantine shelf, held.

    Gives the number of the hold that was opened, or None.
    """
    person = require(by, Right.INTAKE)
    if seen not in Pest.values:
        raise InputError("what was seen", seen, f"one of {', '.join(Pest.values)}")
    with write():
        row = lot_of(lot)
        row.pest, row.pest_note = seen, note
        announce(person, "lot", lot, f"looked at for moth: {row.get_pest_display()}")
        if seen not in (Pest.SUSPECT, Pest.FOUND):
            row.save(update_fields=["pest", "pest_note"])
            return None
        row.location = QUARANTINE_SHELF
        row.save(update_fields=["pest", "pest_note", "location"])
        open_one = Hold.objects.filter(
            lot=row, cleared_at=None, kind__in=[HoldKind.MOTH, HoldKind.QUARANTINE]
        ).first()
        if open_one is not None:
            return open_one.pk
        kind = HoldKind.MOTH if seen == Pest.FOUND else HoldKind.QUARANTINE
        reason = note or row.get_pest_display()
        hold = Hold.objects.create(kind=kind, lot=row, reason=reason, opened_at=clock.now(), opened_by=person)
        announce(person, "lot", lot, f"on hold, {hold.get_kind_display()}: {reason}")
        return hold.pk


@dataclass(frozen=True, slots=True, kw_only=True)
class Skirting:
    """What the skirting table gave: the kept fibre on the scale, the reject, and the grade."""

    reading: Reading
    reject_g: float
    minutes: int
    staple_mm: float | None = None
    soundness: str = Soundness.UNKNOWN
    vm_grade: int | None = None
    second_cuts: int | None = None
    want_waste_back: bool = False
    note: str = ""
    confirmation: str = ""


def skirt_and_grade(by: Person | None, lot: str, skirting: Skirting, *, key: uuid.UUID | None = None) -> str:
    """Record skirting as a run of the lot and write its grade; gives the run's number.

    More fibre than came in is asked about (QuestionError) until `confirmation` says why.
    """
    person = require(by, Right.INTAKE)
    if skirting.reject_g < 0 or skirting.minutes < 0:
        raise InputError("reject and minutes", min(skirting.reject_g, skirting.minutes), "zero or more")
    with write():
        body: dict[str, object] = {"lot": lot, "skirting": repr(skirting)}
        earlier = done_before(key, "skirt_and_grade", body)
        if earlier:
            return str(earlier["run"])
        row = lot_of(lot)
        refuse_held([row], f"{lot} does not go on the skirting table")
        before_mg = row.now_mass_mg
        if (
            bridge.mg(skirting.reading.net_g + skirting.reject_g) > before_mg
            and not skirting.confirmation.strip()
        ):
            raise QuestionError(
                f"{lot} gained weight on the skirting table",
                (
                    f"{bridge.grams(before_mg):g} g went on,"
                    f" {skirting.reading.net_g:g} g kept and {skirting.reject_g:g} g reject came off",
                ),
                "Weigh again, or say why it is right",
            )
        facts = FibreFacts(
            fibre=row.fibre,
            staple_mm=skirting.staple_mm,
            soundness=skirting.soundness,
            vm_grade=skirting.vm_grade,
            second_cuts=skirting.second_cuts,
        ).columns()
        for name in ("staple_mm", "soundness", "vm_grade", "second_cuts"):
            if facts[name] not in (None, Soundness.UNKNOWN):
                setattr(row, name, facts[name])
        row.want_waste_back = skirting.want_waste_back
        run = _skirting_run(person, row, skirting)
        announce(person, "lot", lot, f"skirted and graded, {skirting.reject_g:g} g out")
        remember(key, "skirt_and_grade", body, {"run": run.code}, person)
        return run.code


def _skirting_run(person: Person, lot: Lot, skirting: Skirting) -> Run:
    before_mg = lot.now_mass_mg
    run = Run.objects.create(
        code=next_code(RUN),
        stage="skirt",
        started_at=clock.now(),
        ended_at=clock.now(),
        recorded_at=clock.now(),
        person=person,
        settings={"minutes": skirting.minutes},
        confirmation=skirting.confirmation,
        note=skirting.note,
    )
    weighing = book_weighing(person, lot, skirting.reading, moment=Moment.SKIRTED, form=Form.SKIRTED, run=run)
    RunInput.objects.create(run=run, lot=lot, mass_mg=before_mg)
    RunOutput.objects.create(run=run, lot=lot, weighing=weighing, mass_mg=weighing.net_mg)
    if skirting.reject_g:
        RunWaste.objects.create(run=run, kind="skirtings", mass_mg=bridge.mg(skirting.reject_g))
    stands_as(lot, weighing)
    return run
