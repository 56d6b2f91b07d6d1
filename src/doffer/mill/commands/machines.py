"""Machines and scales of the mill."""

from __future__ import annotations

import uuid
from dataclasses import asdict, dataclass

from doffer.errors import InputError, NotFoundError
from doffer.mill import bridge, clock
from doffer.mill.booking import announce, done_before, remember, scale_of
from doffer.mill.models import Machine, Scale
from doffer.mill.write import write
from doffer.people.models import Person
from doffer.people.rights import Right, require
from doffer.tables.rows import MachineKind

THOUSANDTHS = 1_000
G_PER_KG = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineFacts:
    """What is known of a machine; a rate or capacity nobody knows is None. `status` is a `working.Status`."""

    name: str
    stage: str
    kind: str = ""
    capacity: float | None = None
    capacity_unit: str = ""
    rate_wool_kg_per_h: float | None = None
    rate_camelid_kg_per_h: float | None = None
    rate_angora_kg_per_h: float | None = None
    setup_min: int = 0
    clean_light_to_dark_min: int = 0
    clean_dark_to_light_min: int = 0
    clean_new_owner_min: int = 0
    holdup_g: float = 0.0
    status: str = "practice"
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise InputError("name of the machine", "", "a name, such as wash tub 1")
        for name, value in asdict(self).items():
            if isinstance(value, int | float) and value < 0:
                raise InputError(name.replace("_", " "), value, "zero or more", self.name)
        if self.capacity == 0:
            raise InputError("capacity", 0, "more than zero, or empty", self.name)


def facts_of_kind(kind: MachineKind, *, name: str = "") -> MachineFacts:
    """A machine as the table of usual machines describes it."""
    return MachineFacts(
        name=name or kind.name,
        stage=kind.stage,
        kind=kind.machine_kind,
        capacity=kind.capacity,
        capacity_unit=kind.capacity_unit,
        rate_wool_kg_per_h=kind.rate_wool_kg_per_h,
        rate_camelid_kg_per_h=kind.rate_camelid_kg_per_h,
        rate_angora_kg_per_h=kind.rate_angora_kg_per_h,
        setup_min=round(kind.setup_min or 0),
        clean_light_to_dark_min=round(kind.clean_light_to_dark_min or 0),
        clean_dark_to_light_min=round(kind.clean_dark_to_light_min or 0),
        clean_new_owner_min=round(kind.clean_new_owner_min or 0),
        holdup_g=kind.hold_up_g or 0.0,
        status=str(kind.status),
        note=kind.note,
    )


def _columns(facts: MachineFacts) -> dict[str, object]:
    def per_h(rate: float | None) -> int | None:
        return None if rate is None else round(rate * G_PER_KG)

    return {
        "name": facts.name.strip(),
        "stage": facts.stage,
        "kind": facts.kind,
        "capacity_milli": None if facts.capacity is None else round(facts.capacity * THOUSANDTHS),
        "capacity_unit": facts.capacity_unit,
        "rate_wool_g_per_h": per_h(facts.rate_wool_kg_per_h),
        "rate_camelid_g_per_h": per_h(facts.rate_camelid_kg_per_h),
        "rate_angora_g_per_h": per_h(facts.rate_angora_kg_per_h),
        "setup_min": facts.setup_min,
        "clean_light_to_dark_min": facts.clean_light_to_dark_min,
        "clean_dark_to_light_min": facts.clean_dark_to_light_min,
        "clean_new_owner_min": facts.clean_new_owner_min,
        "holdup_mg": bridge.mg(facts.holdup_g),
        "status": facts.status,
        "note": facts.note,
    }


def place_machine(person: Person, facts: MachineFacts, code: str = "") -> Machine:
    """Make the row of a machine; called inside a command's `write()`."""
    if code and Machine.objects.filter(code=code).exists():
        raise InputError("short name of the machine", code, "one that no other machine has")
    if not code:
        stem = facts.stage[:3].upper()
        taken = set(Machine.objects.filter(code__startswith=stem).values_list("code", flat=True))
        code = next(c for c in (f"{stem}{n}" for n in range(1, len(taken) + 2)) if c not in taken)
    machine = Machine.objects.create(code=code, **_columns(facts))
    announce(person, "machine", code, f"added {machine.name}")
    return machine


def add_machine(
    by: Person | None, facts: MachineFacts, *, code: str = "", key: uuid.UUID | None = None
) -> str:
    """Add a machine; gives its short name."""
    person = require(by, Right.MACHINES)
    with write():
        body: dict[str, object] = {"machine": asdict(facts), "code": code}
        earlier = done_before(key, "add_machine", body)
        if earlier:
            return str(earlier["code"])
        machine = place_machine(person, facts, code)
        remember(key, "add_machine", body, {"code": machine.code}, person)
        return machine.code


def _machine(code: str) -> Machine:
    machine = Machine.objects.select_for_update().filter(code=code).first()
    if machine is None:
        raise NotFoundError("machine", code, "Choose a machine from the list")
    return machine


def change_machine(by: Person | None, code: str, facts: MachineFacts) -> None:
    """Write down anew what is known of a machine."""
    person = require(by, Right.MACHINES)
    with write():
        machine = _machine(code)
        for name, value in _columns(facts).items():
            setattr(machine, name, value)
        machine.save()
        announce(person, "machine", code, f"changed {machine.name}")


def archive_machine(by: Person | None, code: str) -> None:
    """Take a machine off the lists."""
    person = require(by, Right.MACHINES)
    with write():
        machine = _machine(code)
        machine.archived_at = clock.now()
        machine.save(update_fields=["archived_at"])
        announce(person, "machine", code, f"archived {machine.name}")


def add_scale(
    by: Person | None,
    *,
    code: str,
    name: str,
    capacity_g: float,
    division_g: float,
    check_mass_g: float | None = None,
) -> str:
    """Add a scale."""
    person = require(by, Right.MACHINES)
    if capacity_g <= 0 or division_g <= 0:
        raise InputError(
            "capacity and division", f"{capacity_g:g} g / {division_g:g} g", "more than zero", name
        )
    with write():
        if Scale.objects.filter(code=code).exists():
            raise InputError("short name of the scale", code, "one that no other scale has")
        Scale.objects.create(
            code=code,
            name=name,
            use=name,
            capacity_mg=bridge.mg(capacity_g),
            division_mg=bridge.mg(division_g),
            check_mass_mg=None if check_mass_g is None else bridge.mg(check_mass_g),
        )
        announce(person, "machine", code, f"added scale {name}")
        return code


def check_scale(by: Person | None, code: str, *, reading_g: float) -> None:
    """Record what a scale showed for its check weight today."""
    person = require(by, Right.WEIGH)
    with write():
        scale = scale_of(code)
        if scale is None:
            raise NotFoundError("scale", code, "Choose a scale from the list")
        scale.last_check_on = clock.today()
        scale.last_check_reading_mg = bridge.mg(reading_g)
        scale.save(update_fields=["last_check_on", "last_check_reading_mg"])
        announce(person, "machine", code, f"checked: {reading_g:g} g")
