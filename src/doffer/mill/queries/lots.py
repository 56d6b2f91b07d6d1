"""Lots: the list, and everything about one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, QuerySet

from doffer.errors import NotFoundError
from doffer.mill import bridge
from doffer.mill.models import Container, Hold, Lot, LotPart, OrderLot, Photo, Weighing
from doffer.mill.queries.pages import ROWS_A_PAGE, Page, page_of
from doffer.mill.tags import read_tag

Lab = tuple[float, float, float]
MOST_WEIGHINGS_SHOWN = ROWS_A_PAGE
SHORT_NAME_SIGNS = 14


@dataclass(frozen=True, slots=True)
class LotRow:
    """One line in a list of lots; `lab` is approximate, `mass_g` as weighed last."""

    code: str
    owner: str
    owner_name: str
    fibre: str
    breed: str
    colour_name: str
    lab: Lab | None
    form: str
    place: str
    location: str
    mass_g: float
    dry_mass_g: float | None
    received_on: date
    soundness: str
    pest: str
    note: str
    is_held: bool
    weighed_at: datetime | None


@dataclass(frozen=True, slots=True)
class WeighingRow:
    """One weighing as recorded; `corrects` and `corrected_by` are numbers of other weighings."""

    id: int
    weighed_at: datetime
    recorded_at: datetime
    moment: str
    form: str
    gross_g: float
    tare_g: float
    net_g: float
    dry_mass_g: float | None
    actual_regain_frac: float | None
    rh_frac: float | None
    branch: str
    finish_g: float
    scale: str
    tag: str
    run: str
    person: str
    source: str
    note: str
    corrects: int | None
    corrected_by: int | None


@dataclass(frozen=True, slots=True)
class ContainerRow:
    """A container that holds the lot now."""

    tag: str
    kind: str
    tare_g: float
    location: str


@dataclass(frozen=True, slots=True)
class HoldRow:
    """A hold, open while `cleared_at` is None; exactly one of lot, order, owner is named."""

    id: int
    kind: str
    lot: str
    order: str
    owner: str
    reason: str
    opened_at: datetime
    opened_by: str
    cleared_at: datetime | None
    cleared_by: str | None
    clearance: str


@dataclass(frozen=True, slots=True)
class PartRow:
    """A door lot inside a joined lot."""

    lot: str
    owner: str
    fibre: str
    share_frac: float


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo; `name` is its file below the media folder's photos."""

    id: int
    name: str
    mime: str
    width: int
    height: int
    taken_at: datetime


@dataclass(frozen=True, slots=True)
class OneLot:
    """Everything about one lot."""

    row: LotRow
    name: str
    fibre_name: str
    breed_typed: str
    diameter_um: float | None
    diameter_sd_um: float | None
    diameter_source: str
    staple_mm: int | None
    vm_grade: int | None
    second_cuts: int | None
    pest_note: str
    want_waste_back: bool
    actual_regain_frac: float | None
    weighed_at: datetime | None
    created_by: str
    is_archived: bool
    owner_units: str
    is_own: bool
    weighings: tuple[WeighingRow, ...]  # newest first, fifty at most
    containers: tuple[ContainerRow, ...]
    holds: tuple[HoldRow, ...]
    parts: tuple[PartRow, ...]  # empty for a lot that came in at the door
    orders: tuple[str, ...]
    photos: tuple[PhotoRow, ...]


def lab_of(lightness: int | None, a: int | None, b: int | None) -> Lab | None:
    """Lab from hundredths; unknown when one is."""
    if lightness is None or a is None or b is None:
        return None
    return lightness / bridge.CENTI, a / bridge.CENTI, b / bridge.CENTI


_LOT_COLUMNS = (
    "pk",
    "code",
    "customer_id",
    "customer__code",
    "customer__name",
    "fibre",
    "breed",
    "colour_name",
    "lab_l_centi",
    "lab_a_centi",
    "lab_b_centi",
    "now_form",
    "place",
    "location",
    "now_mass_mg",
    "now_dry_mg",
    "received_on",
    "soundness",
    "pest",
    "note",
    "now_weighed_at",
)


@dataclass(frozen=True, slots=True)
class Held:
    """Who and what is on hold now."""

    lots: frozenset[int]
    customers: frozenset[int]


def held_now() -> Held:
    """Lots and owners under an open hold; one query."""
    open_holds = list(Hold.objects.filter(cleared_at=None).values_list("lot_id", "customer_id"))
    return Held(
        frozenset(lot for lot, _ in open_holds if lot), frozenset(owner for _, owner in open_holds if owner)
    )


def lot_row(values: tuple, held: Held) -> LotRow:
    """A row from `_LOT_COLUMNS`."""
    (pk, code, owner_id, owner, owner_name, fibre, breed, colour, lab_l, lab_a, lab_b, *rest) = values
    (form, place, location, mass_mg, dry_mg, received_on, soundness, pest, note, weighed_at) = rest
    return LotRow(
        code=code,
        owner=owner,
        owner_name=owner_name,
        fibre=fibre,
        breed=breed,
        colour_name=colour,
        lab=lab_of(lab_l, lab_a, lab_b),
        form=form,
        place=place,
        location=location,
        mass_g=bridge.grams(mass_mg),
        dry_mass_g=bridge.maybe_grams(dry_mg),
        received_on=received_on,
        soundness=soundness,
        pest=pest,
        note=note,
        is_held=pk in held.lots or owner_id in held.customers,
        weighed_at=weighed_at,
    )


def rows_of(lots: QuerySet[Lot], held: Held) -> list[tuple[int, LotRow]]:
    """(id, row) pairs of a set of lots; one query."""
    return [(values[0], lot_row(values, held)) for values in lots.values_list(*_LOT_COLUMNS)]


def list_lots(
    *,
    search: str = "",
    place: str = "",
    owner: str = "",
    fibre: str = "",
    standing: str = "standing",
    after: int | None = None,
) -> Page[LotRow]:
    """Lots, newest first; two queries.

    `search` looks into number, tag, owner's name, fibre, breed, colour and location; `standing` is standing
    (something is there), held (on hold by itself or its owner), all, or archived; `after` is the `next_after`
    of the page before.
    """
    held = held_now()
    lots = Lot.objects.order_by("-pk")
    if standing == "archived":
        lots = lots.exclude(archived_at=None)
    else:
        lots = lots.filter(archived_at=None)
        if standing == "standing":
            lots = lots.filter(now_mass_mg__gt=0)
        if standing == "held":
            lots = lots.filter(Q(pk__in=held.lots) | Q(customer_id__in=held.customers))
    if place:
        lots = lots.filter(place=place)
    if owner:
        lots = lots.filter(customer__code=owner)
    if fibre:
        lots = lots.filter(fibre=fibre)
    for word in search.split():
        lots = lots.filter(
            Q(code__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(fibre__icontains=word)
            | Q(breed__icontains=word)
            | Q(breed_typed__icontains=word)
            | Q(colour_name__icontains=word)
            | Q(location__icontains=word)
            | Q(pk__in=Container.objects.filter(tag=word.upper()).values("lot_id"))
        )
    if after is not None:
        lots = lots.filter(pk__lt=after)
    return page_of(rows_of(lots[: ROWS_A_PAGE + 1], held))


def lot_by_tag(tag: str) -> str:
    """The number of the lot in a tagged container; InputError for a misread tag, NotFoundError when empty."""
    code = Container.objects.filter(tag=read_tag(tag)).values_list("lot__code", flat=True).first()
    if code is None:
        raise NotFoundError("lot in a container with the tag", tag, "It may be empty: look at the shelf")
    return code


def list_weighings(code: str, *, before: int | None = None) -> Page[WeighingRow]:
    """Weighings of a lot, newest first; `before` is the `next_after` of the page before; one query."""
    weighings = Weighing.objects.filter(lot__code=code).order_by("-pk")
    if before is not None:
        weighings = weighings.filter(pk__lt=before)
    rows = weighings.values_list(
        "pk",
        "weighed_at",
        "recorded_at",
        "moment",
        "form",
        "gross_mg",
        "tare_mg",
        "dry_mg",
        "actual_regain_ppm",
        "rh_ppm",
        "branch",
        "finish_mg",
        "scale__code",
        "container__tag",
        "run__code",
        "person__name",
        "source",
        "note",
        "corrects_id",
        "corrected_by__id",
    )
    return page_of([(row[0], _weighing_row(row)) for row in rows[: ROWS_A_PAGE + 1]])


def _weighing_row(values: tuple) -> WeighingRow:
    (pk, weighed_at, recorded_at, moment, form, gross, tare, dry, regain, rh, branch, finish, *rest) = values
    scale, tag, run, person, source, note, corrects, corrected_by = rest
    return WeighingRow(
        id=pk,
        weighed_at=weighed_at,
        recorded_at=recorded_at,
        moment=moment,
        form=form,
        gross_g=bridge.grams(gross),
        tare_g=bridge.grams(tare),
        net_g=bridge.grams(gross - tare),
        dry_mass_g=bridge.maybe_grams(dry),
        actual_regain_frac=bridge.maybe_frac(regain),
        rh_frac=bridge.maybe_frac(rh),
        branch=branch,
        finish_g=bridge.grams(finish),
        scale=scale or "",
        tag=tag or "",
        run=run or "",
        person=person,
        source=source,
        note=note,
        corrects=corrects,
        corrected_by=corrected_by,
    )


def hold_rows(holds: QuerySet[Hold]) -> tuple[HoldRow, ...]:
    """Rows of a set of holds; one query."""
    rows = holds.values_list(
        "pk",
        "kind",
        "lot__code",
        "order__code",
        "customer__code",
        "reason",
        "opened_at",
        "opened_by__name",
        "cleared_at",
        "cleared_by__name",
        "clearance",
    )
    return tuple(
        HoldRow(pk, kind, lot or "", order or "", owner or "", reason, opened_at, opener, *cleared)
        for pk, kind, lot, order, owner, reason, opened_at, opener, *cleared in rows
    )


def one_lot(code: str) -> OneLot:
    """Everything about one lot; nine queries whatever its age.

    Raises
    ------
    NotFoundError
        No lot has this number.
    """
    lot = Lot.objects.select_related("customer", "created_by").filter(code=code).first()
    if lot is None:
        raise NotFoundError("lot", code, "Search the list of lots or scan the tag")
    row = lot_row(tuple(_column(lot, name) for name in _LOT_COLUMNS), held_now())
    fibre = bridge.load_tables().fibres.get(lot.fibre)
    return OneLot(
        row=row,
        name=lot.name,
        fibre_name=fibre.name if fibre else lot.fibre,
        breed_typed=lot.breed_typed,
        diameter_um=None if lot.diameter_nm is None else lot.diameter_nm / bridge.NM_PER_UM,
        diameter_sd_um=None if lot.diameter_sd_nm is None else lot.diameter_sd_nm / bridge.NM_PER_UM,
        diameter_source=lot.diameter_source,
        staple_mm=lot.staple_mm,
        vm_grade=lot.vm_grade,
        second_cuts=lot.second_cuts,
        pest_note=lot.pest_note,
        want_waste_back=lot.want_waste_back,
        actual_regain_frac=bridge.maybe_frac(lot.now_regain_ppm),
        weighed_at=lot.now_weighed_at,
        created_by=lot.created_by.name,
        is_archived=lot.archived_at is not None,
        owner_units=lot.customer.units,
        is_own=lot.customer.is_own,
        weighings=list_weighings(code).rows,
        containers=_containers(lot),
        holds=hold_rows(
            Hold.objects.filter(Q(lot=lot) | Q(customer=lot.customer_id)).order_by("-pk")[:ROWS_A_PAGE]
        ),
        parts=_parts(lot),
        orders=tuple(
            OrderLot.objects.filter(lot=lot)
            .order_by("-order_id")
            .values_list("order__code", flat=True)[:ROWS_A_PAGE]
        ),
        photos=_photos(lot),
    )


def _parts(lot: Lot) -> tuple[PartRow, ...]:
    """Door lots inside a joined lot with their owners; none for a lot that came in at the door."""
    parts = LotPart.objects.filter(lot=lot).order_by("pk")
    return tuple(
        PartRow(code, owner, fibre, share_ppm / bridge.PPM)
        for code, owner, fibre, share_ppm in parts.values_list(
            "origin__code", "origin__customer__code", "origin__fibre", "share_ppm"
        )
    )


def _containers(lot: Lot) -> tuple[ContainerRow, ...]:
    containers = Container.objects.filter(lot=lot, archived_at=None)
    return tuple(
        ContainerRow(tag, kind, bridge.grams(tare), location)
        for tag, kind, tare, location in containers.values_list("tag", "kind", "tare_mg", "location")[
            :ROWS_A_PAGE
        ]
    )


def _photos(lot: Lot) -> tuple[PhotoRow, ...]:
    photos = Photo.objects.filter(lot=lot, archived_at=None)
    columns = ("pk", "name", "mime", "width", "height", "taken_at")
    return tuple(PhotoRow(*values) for values in photos.values_list(*columns)[:ROWS_A_PAGE])


def _column(lot: Lot, name: str) -> object:
    head, _, tail = name.partition("__")
    return getattr(getattr(lot, head), tail) if tail else getattr(lot, head)


def is_raw(form: str) -> bool:
    """Whether fibre in this form still carries its grease and dirt."""
    return form in bridge.RAW_FORMS
