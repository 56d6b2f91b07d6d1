"""What is known at the door before a bag is weighed, and what the scale says once it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Exists, OuterRef, Q

from doffer.errors import NotFoundError
from doffer.fibre.kinds import Kind, find_kind
from doffer.fibre.material import Form
from doffer.fibre.moisture import Branch
from doffer.fibre.weighing import CleanWeighing, weigh_clean
from doffer.mill import bridge, clock
from doffer.mill.models import Container, Lot, Weighing
from doffer.mill.models.lots import Pest, Place
from doffer.mill.models.weighings import Moment
from doffer.mill.queries.lots import LotRow, held_now, rows_of
from doffer.mill.queries.pages import ROWS_A_PAGE
from doffer.planning.start import yield_triangle_frac

TARES_OFFERED = 6


@dataclass(frozen=True, slots=True)
class Air:
    """The room as it was read last; None where nobody ever read it."""

    rh_frac: float | None
    temp_c: float | None
    read_at: datetime | None


@dataclass(frozen=True, slots=True)
class TareRow:
    """An empty container that is often used: its kind and weight."""

    kind: str
    tare_g: float


@dataclass(frozen=True, slots=True)
class BagAtDoor:
    """A bag that stands at the door and what it waits for: check, grade or stage."""

    row: LotRow
    waits_for: str


@dataclass(frozen=True, slots=True)
class DoorDay:
    """What a weighing form starts from."""

    air: Air
    tares: tuple[TareRow, ...]
    kinds: tuple[str, ...]  # names of fibres and breeds, to choose from while typing


@dataclass(frozen=True, slots=True)
class DoorWeighing:
    """What one reading of the scale says.

    Clean fibre has `clean` (oven-dry and agreed masses). Fibre in the grease has the washed weight to be
    expected instead, low to high at agreed regain, as a range from the tables.
    """

    fibre: str
    fibre_name: str
    breed_name: str
    net_mass_g: float
    is_raw: bool
    clean: CleanWeighing | None
    washed_low_g: float | None
    washed_usual_g: float | None
    washed_high_g: float | None


def last_air() -> Air:
    """The newest reading of the room beside a weighing of this day; one query.

    Yesterday's air says nothing about today's: an older reading is not offered, so that it is never taken
    for new.
    """
    morning = clock.now().replace(hour=0, minute=0, second=0, microsecond=0)
    found = (
        Weighing.objects.filter(rh_ppm__isnull=False, weighed_at__gte=morning)
        .order_by("-pk")
        .values_list("rh_ppm", "temp_milli_c", "weighed_at")
        .first()
    )
    if found is None:
        return Air(None, None, None)
    rh_ppm, temp_milli_c, at = found
    return Air(bridge.maybe_frac(rh_ppm), None if temp_milli_c is None else temp_milli_c / 1000, at)


def door_day() -> DoorDay:
    """Air, containers and names for a form at the scale; three queries."""
    tares = (
        Container.objects.filter(archived_at=None, tare_mg__gt=0)
        .order_by("kind", "tare_mg")
        .values("kind", "tare_mg")
        .annotate(n=Count("pk"))
    )
    often = sorted(tares, key=lambda row: -row["n"])[:TARES_OFFERED]
    tables = bridge.current_tables()
    names = [row.name for row in (*tables.fibres.values(), *tables.breeds.values())]
    return DoorDay(
        air=last_air(),
        tares=tuple(TareRow(row["kind"], bridge.grams(row["tare_mg"])) for row in often),
        kinds=tuple(sorted(dict.fromkeys(names), key=str.casefold)),
    )


def bags_at_door(*, owner: str = "") -> tuple[BagAtDoor, ...]:
    """Bags that stand at the door, newest first, each with what it waits for; three queries."""
    skirted = Exists(Weighing.objects.filter(lot=OuterRef("pk"), moment=Moment.SKIRTED))
    lots = Lot.objects.filter(archived_at=None, place=Place.DOOR, now_mass_mg__gt=0).order_by("-pk")
    if owner:
        lots = lots.filter(customer__code=owner)
    lots = lots[:ROWS_A_PAGE]
    graded = set(
        Lot.objects.filter(archived_at=None, place=Place.DOOR).filter(skirted).values_list("code", flat=True)
    )
    return tuple(BagAtDoor(row, _waits_for(row, graded)) for _, row in rows_of(lots, held_now()))


def _waits_for(row: LotRow, graded: set[str]) -> str:
    if row.pest == Pest.UNCHECKED:
        return "check"
    if row.is_held:
        return "hold"
    return "stage" if row.code in graded or row.form != Form.GREASY else "grade"


def owners_lately(limit: int = 8) -> tuple[tuple[str, str, int], ...]:
    """Owners of the bags that came in last: number, name, bags standing at the door; one query."""
    rows = (
        Lot.objects.filter(customer__archived_at=None, customer__is_own=False)
        .values("customer__code", "customer__name")
        .annotate(
            n_door=Count("pk", filter=Q(place=Place.DOOR, archived_at=None, now_mass_mg__gt=0)),
            newest=Count("pk"),
        )
        .order_by("-n_door", "customer__name")[:limit]
    )
    return tuple((row["customer__code"], row["customer__name"], row["n_door"]) for row in rows)


def kind_typed(typed: str) -> Kind:
    """Fibre and breed of what was typed; NotFoundError offers close names."""
    return find_kind(bridge.current_tables(), typed)


def weigh_at_door(
    typed: str,
    *,
    gross_g: float,
    tare_g: float,
    rh_frac: float | None,
    branch: Branch = Branch.DESORPTION,
    form: str = Form.GREASY,
) -> DoorWeighing:
    """What gross, tare and humidity say of a kind of fibre; one query.

    Raises
    ------
    NotFoundError, InputError
        An unknown kind, or figures that cannot be.
    """
    tables = bridge.current_tables()
    kind = find_kind(tables, typed)
    breed = kind.breed
    net_g = gross_g - tare_g
    is_raw = form in bridge.RAW_FORMS
    clean, washed = None, (None, None, None)
    if is_raw:
        bag = Lot(
            code="this bag",
            fibre=kind.fibre.fibre,
            breed=breed.breed if breed else "",
            now_form=form,
            now_mass_mg=bridge.mg(net_g),
        )
        start = bridge.lot_start_of(bag, [bridge.Origin(bag, 1.0)], tables)
        washed = tuple(share * net_g for share in yield_triangle_frac(start, tables))
    elif rh_frac is not None:
        clean = weigh_clean(
            tables,
            fibre=kind.fibre.fibre,
            gross_mass_g=gross_g,
            tare_mass_g=tare_g,
            rh_frac=rh_frac,
            branch=branch,
        )
    return DoorWeighing(
        kind.fibre.fibre, kind.fibre.name, breed.name if breed else "", net_g, is_raw, clean, *washed
    )


def tag_of_lot(code: str) -> str:
    """The tag of the container a lot came in; NotFoundError when there is none."""
    tag = (
        Container.objects.filter(lot__code=code, archived_at=None)
        .order_by("pk")
        .values_list("tag", flat=True)
        .first()
    )
    if tag is None:
        raise NotFoundError("container of lot", code, "Weigh it into one first")
    return tag
