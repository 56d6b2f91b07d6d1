"""Machines, scales, people, settings, long calculations and the live feed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from doffer.errors import NotFoundError
from doffer.mill import bridge, house
from doffer.mill.models import Change, Job, Machine, Scale
from doffer.mill.models.lots import Place
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.people.models import Person

MOST_MACHINES = 200
G_PER_KG = 1_000


@dataclass(frozen=True, slots=True)
class MachineRow:
    """One machine; unknown figures are None."""

    code: str
    name: str
    stage: str
    kind: str
    capacity: float | None
    capacity_unit: str
    rate_wool_kg_per_h: float | None
    rate_camelid_kg_per_h: float | None
    rate_angora_kg_per_h: float | None
    setup_min: int
    clean_light_to_dark_min: int
    clean_dark_to_light_min: int
    clean_new_owner_min: int
    holdup_g: float
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class ScaleRow:
    """One scale with its last check."""

    code: str
    name: str
    capacity_g: float
    division_g: float
    check_mass_g: float | None
    last_check_on: date | None
    last_check_reading_g: float | None
    use: str


@dataclass(frozen=True, slots=True)
class PersonRow:
    """Somebody who works here."""

    code: str
    name: str
    role: str
    duties: str
    can_run: tuple[str, ...]
    days: str


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting with its default beside it."""

    key: str
    title: str
    value: str
    default: str
    kind: str
    choices: tuple[str, ...]
    unit: str


@dataclass(frozen=True, slots=True)
class JobRow:
    """A long calculation."""

    id: int
    kind: str
    state: str
    progress_frac: float
    message: str
    created_at: datetime
    ended_at: datetime | None
    result: Any


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One line of the live feed."""

    id: int
    at: datetime
    topic: str
    subject: str
    what: str
    person: str


def machines() -> tuple[MachineRow, ...]:
    """All machines in the order they were added; one query."""

    def kg_per_h(rate: int | None) -> float | None:
        return None if rate is None else rate / G_PER_KG

    return tuple(
        MachineRow(
            code=m.code,
            name=m.name,
            stage=m.stage,
            kind=m.kind,
            capacity=None if m.capacity_milli is None else m.capacity_milli / 1000,
            capacity_unit=m.capacity_unit,
            rate_wool_kg_per_h=kg_per_h(m.rate_wool_g_per_h),
            rate_camelid_kg_per_h=kg_per_h(m.rate_camelid_g_per_h),
            rate_angora_kg_per_h=kg_per_h(m.rate_angora_g_per_h),
            setup_min=m.setup_min,
            clean_light_to_dark_min=m.clean_light_to_dark_min,
            clean_dark_to_light_min=m.clean_dark_to_light_min,
            clean_new_owner_min=m.clean_new_owner_min,
            holdup_g=bridge.grams(m.holdup_mg),
            status=m.status,
            note=m.note,
        )
        for m in Machine.objects.filter(archived_at=None).order_by("pk")[:MOST_MACHINES]
    )


def scales() -> tuple[ScaleRow, ...]:
    """All scales; one query."""
    return tuple(
        ScaleRow(
            code=s.code,
            name=s.name,
            capacity_g=bridge.grams(s.capacity_mg),
            division_g=bridge.grams(s.division_mg),
            check_mass_g=bridge.maybe_grams(s.check_mass_mg),
            last_check_on=s.last_check_on,
            last_check_reading_g=bridge.maybe_grams(s.last_check_reading_mg),
            use=s.use,
        )
        for s in Scale.objects.filter(archived_at=None).order_by("pk")[:ROWS_A_PAGE]
    )


def people() -> tuple[PersonRow, ...]:
    """Everybody who works here; one query."""
    return tuple(
        PersonRow(p.code, p.name, p.role, p.duties, tuple(p.can_run), p.days)
        for p in Person.objects.filter(archived_at=None).order_by("pk")[:ROWS_A_PAGE]
    )


def settings() -> tuple[SettingRow, ...]:
    """All settings; one query."""
    values = house.everything()
    return tuple(
        SettingRow(key, known.title, values[key], known.default, known.kind, known.choices, known.unit)
        for key, known in house.SETTINGS.items()
    )


def mill_places() -> tuple[tuple[str, str], ...]:
    """Key and name of each place of the mill in the order fibre walks through them, the store last."""
    return tuple((place.value, str(place.label)) for place in Place)


def is_started() -> bool:
    """Whether the mill has somebody in it: before that only “Start my own mill” makes sense."""
    return Person.objects.exists()


def one_job(job_id: int) -> JobRow:
    """One long calculation; NotFoundError if there is none."""
    job = Job.objects.filter(pk=job_id).first()
    if job is None:
        raise NotFoundError("calculation", job_id)
    return _job_row(job)


def jobs() -> tuple[JobRow, ...]:
    """The newest fifty long calculations; one query."""
    return tuple(_job_row(job) for job in Job.objects.order_by("-pk")[:ROWS_A_PAGE])


def _job_row(job: Job) -> JobRow:
    return JobRow(
        id=job.pk,
        kind=job.kind,
        state=job.state,
        progress_frac=job.progress_ppm / bridge.PPM,
        message=job.message,
        created_at=job.created_at,
        ended_at=job.ended_at,
        result=job.result,
    )


def latest_change() -> int:
    """The number of the newest line of the live feed; 0 when there is none."""
    return Change.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def changes_after(change_id: int) -> tuple[ChangeRow, ...]:
    """Lines of the live feed after one, oldest first, fifty at most; one query."""
    rows = Change.objects.filter(pk__gt=change_id).order_by("pk")
    return tuple(
        ChangeRow(pk, at, topic, subject, what, person or "")
        for pk, at, topic, subject, what, person in rows.values_list(
            "pk", "at", "topic", "subject", "what", "person__name"
        )[:ROWS_A_PAGE]
    )
