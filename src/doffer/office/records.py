"""Records: what the mill keeps beside its lots: people, settings, copies, long work."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings as django_settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.timezone import localtime
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from doffer.errors import InputError
from doffer.exchange.numbers import parse_number
from doffer.exchange.quantities import parse_mass_g
from doffer.mill.commands.jobs import ask_for_job, cancel_job
from doffer.mill.commands.settings import add_person, archive_person, change_settings
from doffer.mill.house import SETTINGS
from doffer.mill.queries import house
from doffer.office.asked import acting, fresh_key, key_of, units_of
from doffer.office.readings import MASS_UNIT
from doffer.people.rights import Right, may

COPY_ENDINGS = (".sqlite3", ".dump")
MOST_COPIES = 50
GROUPS = (
    ("The mill", ("name", "units", "country_rules", "address", "currency")),
    ("Promises", ("promise_quantile", "near_days", "least_billed_g")),
    ("Rooms and weighing", ("card_room_rh_frac", "ask_above_yield_frac")),
    # nothing reckons with these yet
    ("Kept for later: not used yet", ("open", "closed_days", "tax_rate_frac", "deposit_frac",
                                      "storage_free_days", "storage_fee_cents", "store_rh_frac",
                                      "altitude_m")),
)  # fmt: skip
HINTS = {
    "name": "As it stands on tags, run cards and labels.",
    "open": "Such as Mon-Fri 08:00-16:00.",
    "closed_days": "Days as 2026-04-03, with a semicolon between.",
    "promise_quantile": "15 % means: a promised weight is met or beaten 85 times in 100.",
    "near_days": "From then on Today speaks of the order each morning.",
    "least_billed_g": "Lighter lots are pointed out at the door and on Today.",
    "ask_above_yield_frac": "A little more dry fibre out than in is the scale; above this it is asked about.",
    "address": "Such as http://192.168.1.20:8766. Square codes printed from now on then open on a phone. "
    "Without it they hold the number alone, and a scanner finds it from any search field.",
}
CHOICES = {"metric": "kg, g and m", "us": "lb, oz and yd"}
ROLES = (
    ("owner", "Owner", "may do everything"),
    ("office", "Office", "everything but who works here"),
    ("floor", "Floor", "weigh, take bags in, record runs, put on hold"),
    ("viewer", "Looks only", "writes nothing"),
)


@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """`/records/`."""
    return render(request, "office/records.html", {"here": "records"})


@require_http_methods(["GET", "POST"])
def settings_page(request: HttpRequest) -> HttpResponse:
    """`/records/settings/`: all of them on one page, all kept or none."""
    units = units_of(request)
    rows = {row.key: row for row in house.settings()}
    errors: dict[str, str] = {}
    if request.method == "POST":
        changed = _typed_settings(request, rows, units, errors)
        if not errors:
            try:
                change_settings(acting(request), changed)
                return redirect("settings")
            except InputError as wrong:
                key = next((k for k, known in SETTINGS.items() if known.title == wrong.field), "__all__")
                errors[key] = str(wrong)
    context = {
        "here": "records",
        "groups": [(title, [_field(rows[key], units, request) for key in keys]) for title, keys in GROUPS],
        "errors": errors,
        "may_write": may(acting(request), Right.SETTINGS),
        "typed": request.POST,
    }
    return render(request, "office/records_settings.html", context, status=422 if errors else 200)


@dataclass(frozen=True, slots=True)
class Field:
    """One setting as a field of the form: the value as people type it, the unit behind it."""

    key: str
    title: str
    value: str
    kind: str
    unit: str
    hint: str
    choices: tuple[tuple[str, str], ...]
    default: str


def _field(row: house.SettingRow, units: str, request: HttpRequest) -> Field:
    unit = _unit(row, units)
    typed = request.POST.get(row.key)
    hint = HINTS.get(row.key, "")
    default = _shown(row, row.default, units)
    said = CHOICES.get(default, default)
    differs = said and _shown(row, row.value, units) != default
    usual = f" Usual: {said} {unit}".rstrip() + "." if differs else ""
    return Field(
        key=row.key,
        title=row.title,
        value=_shown(row, row.value, units) if typed is None else typed,
        kind=row.kind,
        unit=unit,
        hint=f"{hint}{usual}".strip(),
        choices=tuple((choice, CHOICES.get(choice, choice)) for choice in row.choices),
        default=default,
    )


def _unit(row: house.SettingRow, units: str) -> str:
    if row.kind == "share":
        return "%"
    return MASS_UNIT[units] if row.unit == "g" else "" if row.unit == "cents" else row.unit


PERCENT, CENTS = 100, 100
G_PER = {"metric": 1000.0, "us": 453.59237}


def _shown(row: house.SettingRow, value: str, units: str) -> str:
    """A stored value as people type it: shares in percent, grams in kg or lb, cents in money."""
    if row.kind not in ("share", "number") or not value:
        return value
    figure = float(value)
    if row.kind == "share":
        return f"{figure * PERCENT:.4g}"
    if row.unit == "g":
        return f"{figure / G_PER[units]:.4g}"
    return f"{figure / CENTS:.2f}" if row.unit == "cents" else f"{figure:g}"


def _typed_settings(
    request: HttpRequest, rows: dict[str, house.SettingRow], units: str, errors: dict[str, str]
) -> dict[str, str]:
    """What differs from what counts now, as it is stored; sentences go into `errors`."""
    changed = {}
    for key, row in rows.items():
        typed = request.POST.get(key)
        if typed is None or typed.strip() == _shown(row, row.value, units):
            continue
        try:
            changed[key] = _stored(row, typed.strip(), units)
        except InputError as wrong:
            errors[key] = str(wrong)
    return changed


def _stored(row: house.SettingRow, typed: str, units: str) -> str:
    if row.kind not in ("share", "number"):
        return typed
    if row.unit == "g":
        return f"{parse_mass_g(typed, row.title, unit=MASS_UNIT[units]):.3f}"
    if row.key == "altitude_m":
        is_below = typed.startswith(("-", "−"))
        return f"{'-' if is_below else ''}{parse_number(typed.lstrip('-−'), row.title)}"
    figure = parse_number(typed.rstrip("% "), row.title)
    if row.kind == "share":
        return str(figure / PERCENT)
    return str(round(figure * CENTS)) if row.unit == "cents" else str(figure)


@require_http_methods(["GET", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """`/records/people/`: who works here, and somebody new."""
    error = ""
    if request.method == "POST":
        try:
            add_person(
                acting(request),
                name=request.POST.get("name", ""),
                role=request.POST.get("role", ""),
                duties=request.POST.get("duties", "").strip(),
                days=request.POST.get("days", "").strip(),
                key=key_of(request),
            )
            return redirect("people")
        except InputError as wrong:
            field, error = wrong.field, str(wrong)
    context = {
        "here": "records",
        "rows": house.people(),
        "roles": ROLES,
        "errors": {"role" if error and field == "role" else "name": error} if error else {},
        "typed": request.POST,
        "key": request.POST.get("key") or fresh_key(),
        "may_write": may(acting(request), Right.PEOPLE),
        "role_words": {role: (name, what) for role, name, what in ROLES},
    }
    return render(request, "office/records_people.html", context, status=422 if error else 200)


@require_POST
def person_leaves(request: HttpRequest, code: str) -> HttpResponse:
    """Somebody no longer works here; what they did stays under their name."""
    archive_person(acting(request), code)
    return redirect("people")


@dataclass(frozen=True, slots=True)
class Copy:
    """One safety copy in the mill's folder."""

    name: str
    made_at: datetime
    size_mb: float


@require_http_methods(["GET", "POST"])
def backups(request: HttpRequest) -> HttpResponse:
    """`/records/backups/`: safety copies, make one now; what long work is under way."""
    if request.method == "POST":
        kind = request.POST.get("kind", "")
        if kind not in ("backup", "verify"):
            raise InputError("work", kind, "a safety copy or a check of the weighings")
        ask_for_job(acting(request), kind, {})
        return redirect("backups")
    folder = Path(django_settings.DATA) / "backups"
    context = {
        "here": "records",
        "copies": _copies(folder),
        "folder": str(folder),
        "jobs": house.jobs(),
        "may_write": may(acting(request), Right.JOBS),
    }
    return render(request, "office/records_backups.html", context)


def _copies(folder: Path) -> list[Copy]:
    """The newest copies, by the stamp in their names; their moment is the computer's, not the mill's."""
    files = (p for p in folder.glob("[0-9]*") if p.suffix in COPY_ENDINGS)
    newest = sorted(files, key=lambda p: p.stem, reverse=True)[:MOST_COPIES]
    return [
        Copy(p.name, localtime(datetime.fromtimestamp(p.stat().st_mtime, UTC)), p.stat().st_size / 1e6)
        for p in newest
    ]


@require_POST
def stop_job(request: HttpRequest, job_id: int) -> HttpResponse:
    """Stop a long piece of work."""
    cancel_job(acting(request), job_id)
    return redirect("backups")


urlpatterns = [
    path("records/", index, name="records"),
    path("records/settings/", settings_page, name="settings"),
    path("records/people/", people, name="people"),
    path("records/people/<str:code>/leaves/", person_leaves, name="person_leaves"),
    path("records/backups/", backups, name="backups"),
    path("records/jobs/<int:job_id>/stop/", stop_job, name="stop_job"),
]
