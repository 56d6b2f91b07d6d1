"""Lots, the containers that hold them, what stops them, and who allowed owners to be joined."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class Place(models.TextChoices):
    """Where in the mill a lot stands, in the order fibre walks through it; the store is beside the line."""

    DOOR = "door", "Door"
    WASH = "wash", "Wash"
    DRY = "dry", "Dry"
    DYE = "dye", "Dye"
    PICK = "pick", "Pick"
    REST = "rest", "Rest"
    CARD = "card", "Card"
    DRAW = "draw", "Draw"
    SPIN = "spin", "Spin"
    PLY = "ply", "Ply"
    SET = "set", "Set"
    SKEIN = "skein", "Skein"
    BOX = "box", "Box"
    STORE = "store", "Store"


class Soundness(models.TextChoices):
    """What the staple says when it is snapped at the ear."""

    UNKNOWN = "unknown", "not tried"
    SOUND = "sound", "sound"
    TENDER = "tender", "tender"
    FRAGILE = "fragile", "fragile"


class Pest(models.TextChoices):
    """What was seen when the bag was opened."""

    UNCHECKED = "unchecked", "not looked at yet"
    CLEAR = "clear", "nothing seen"
    SUSPECT = "suspect", "not sure"
    FOUND = "found", "moth or larvae seen"


class Lot(models.Model):
    """One owner's fibre under one instruction, kept physically apart.

    The `now_` columns repeat the latest weighing, so that lists need not search half a million rows; they are
    written in the same transaction as the weighing.
    """

    code = models.CharField(max_length=20, unique=True)
    customer = models.ForeignKey("mill.Customer", on_delete=models.PROTECT, related_name="lots")
    name = models.CharField(max_length=120, blank=True)
    received_on = models.DateField()
    fibre = models.CharField(max_length=40)
    breed = models.CharField(max_length=40, blank=True)
    breed_typed = models.CharField(max_length=80, blank=True)
    colour_name = models.CharField(max_length=60, blank=True)
    lab_l_centi = models.IntegerField(null=True, blank=True)
    lab_a_centi = models.IntegerField(null=True, blank=True)
    lab_b_centi = models.IntegerField(null=True, blank=True)
    diameter_nm = models.IntegerField(null=True, blank=True)
    diameter_sd_nm = models.IntegerField(null=True, blank=True)
    diameter_source = models.CharField(max_length=40, blank=True)
    staple_mm = models.IntegerField(null=True, blank=True)
    soundness = models.CharField(max_length=10, choices=Soundness.choices, default=Soundness.UNKNOWN)
    vm_grade = models.SmallIntegerField(null=True, blank=True)
    second_cuts = models.SmallIntegerField(null=True, blank=True)
    pest = models.CharField(max_length=10, choices=Pest.choices, default=Pest.UNCHECKED)
    pest_note = models.CharField(max_length=400, blank=True)
    place = models.CharField(max_length=10, choices=Place.choices, default=Place.DOOR)
    location = models.CharField(max_length=60, blank=True)
    want_waste_back = models.BooleanField(default=False)
    cost_cents_per_kg = models.PositiveIntegerField(null=True, blank=True)  # of own fibre, oven-dry
    note = models.CharField(max_length=400, blank=True)
    now_form = models.CharField(max_length=10)
    now_mass_mg = models.BigIntegerField(default=0)
    now_dry_mg = models.BigIntegerField(null=True, blank=True)
    now_regain_ppm = models.IntegerField(null=True, blank=True)
    now_weighed_at = MomentField(null=True, blank=True)
    created_at = MomentField()
    created_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(now_mass_mg__gte=0), name="lot_mass_is_not_negative"),
            models.CheckConstraint(
                condition=Q(now_dry_mg=None) | Q(now_dry_mg__gte=0, now_dry_mg__lte=models.F("now_mass_mg")),
                name="lot_dry_mass_is_inside_its_mass",
            ),
            models.CheckConstraint(
                condition=Q(vm_grade=None) | Q(vm_grade__gte=0, vm_grade__lte=4),
                name="lot_vm_grade_is_0_to_4",
            ),
            models.CheckConstraint(
                condition=Q(second_cuts=None) | Q(second_cuts__gte=0, second_cuts__lte=3),
                name="lot_second_cuts_are_0_to_3",
            ),
            models.CheckConstraint(
                condition=Q(soundness__in=Soundness.values, pest__in=Pest.values, place__in=Place.values),
                name="lot_words_are_known",
            ),
        )
        indexes = (
            models.Index(
                fields=("place", "-now_mass_mg"),
                name="lot_standing",
                condition=Q(archived_at=None, now_mass_mg__gt=0),
            ),
            models.Index(fields=("customer", "-id"), name="lot_by_owner"),
            models.Index(fields=("fibre", "-id"), name="lot_by_fibre"),
        )

    def __str__(self) -> str:
        return self.code


class LotPart(models.Model):
    """What a joined lot is made of: each lot that came in at the door, by its share of oven-dry fibre.

    Follows from the weighings into its runs, and is reckoned anew when one of them is corrected.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="parts")
    origin = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    share_ppm = models.IntegerField()

    class Meta:
        ordering = ("lot_id", "id")
        constraints = (
            models.UniqueConstraint(fields=("lot", "origin"), name="part_is_named_once"),
            models.CheckConstraint(
                condition=Q(share_ppm__gte=0, share_ppm__lte=1_000_000), name="part_share_is_a_share"
            ),
        )

    def __str__(self) -> str:
        return f"{self.origin_id} in {self.lot_id}"


class ContainerKind(models.TextChoices):
    """What can carry a tag."""

    BAG = "bag", "bag"
    BIN = "bin", "bin"
    RACK = "rack", "rack"
    CAN = "can", "can"
    BOBBIN = "bobbin", "bobbin"
    CONE = "cone", "cone"
    TRAY = "tray", "tray"
    BOX = "box", "box"


class Container(models.Model):
    """The thing with the tag; it holds one lot at a time."""

    tag = models.CharField(max_length=12, unique=True)
    kind = models.CharField(max_length=10, choices=ContainerKind.choices, default=ContainerKind.BAG)
    tare_mg = models.BigIntegerField(default=0)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="containers")
    location = models.CharField(max_length=60, blank=True)
    created_at = MomentField()
    created_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(tare_mg__gte=0), name="container_tare_is_not_negative"),
            models.CheckConstraint(
                condition=Q(kind__in=ContainerKind.values), name="container_kind_is_known"
            ),
        )

    def __str__(self) -> str:
        return self.tag


class Filling(models.Model):
    """What a container held, from when to when."""

    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="fillings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    from_at = MomentField()
    until_at = MomentField(null=True, blank=True)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("container",), condition=Q(until_at=None), name="container_holds_one_lot_at_a_time"
            ),
        )

    def __str__(self) -> str:
        return f"{self.container_id}: {self.lot_id}"


class HoldKind(models.TextChoices):
    """Why something may not go on."""

    MOTH = "moth", "moth"
    QUARANTINE = "quarantine", "quarantine"
    UNPAID = "unpaid", "unpaid"
    WAITING = "waiting", "waiting for the owner's word"


class Hold(models.Model):
    """A stop on a lot, an order or everything of one owner, until a named person clears it."""

    kind = models.CharField(max_length=12, choices=HoldKind.choices)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="holds")
    order = models.ForeignKey(
        "mill.Order", on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )
    customer = models.ForeignKey(
        "mill.Customer", on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )
    reason = models.CharField(max_length=400)
    opened_at = MomentField()
    opened_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    cleared_at = MomentField(null=True, blank=True)
    cleared_by = models.ForeignKey(
        "people.Person", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    clearance = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(lot__isnull=False, order=None, customer=None)
                | Q(lot=None, order__isnull=False, customer=None)
                | Q(lot=None, order=None, customer__isnull=False),
                name="hold_stops_exactly_one_thing",
            ),
            models.CheckConstraint(condition=Q(kind__in=HoldKind.values), name="hold_kind_is_known"),
            models.CheckConstraint(
                condition=Q(cleared_at=None, cleared_by=None)
                | Q(cleared_at__isnull=False, cleared_by__isnull=False),
                name="hold_is_cleared_by_somebody",
            ),
        )
        indexes = (models.Index(fields=("kind", "id"), name="hold_open", condition=Q(cleared_at=None)),)

    def __str__(self) -> str:
        return f"{self.kind}: {self.reason}"


class JoinDecision(models.Model):
    """The named decision that fibre of two owners may be joined; written once, never edited."""

    lots = models.JSONField()  # lot codes
    owners = models.JSONField()  # customer codes
    consent = models.CharField(max_length=600)
    decided_at = MomentField()
    decided_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = (models.CheckConstraint(condition=~Q(consent=""), name="join_has_the_owners_consent"),)

    def __str__(self) -> str:
        return f"join {self.lots}"


class Photo(models.Model):
    """A picture of a lot, kept under a random name outside the served files."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="photos")
    name = models.CharField(max_length=60, unique=True)
    sha256 = models.CharField(max_length=64)
    mime = models.CharField(max_length=20)
    width = models.IntegerField()
    height = models.IntegerField()
    taken_at = MomentField()
    taken_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.name
