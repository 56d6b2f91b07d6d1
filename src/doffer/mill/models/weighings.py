"""Weighings: written once, chained by hash, corrected only by a new row that names the old."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from doffer.fibre.material import Form
from doffer.mill.moment import MomentField


class Moment(models.TextChoices):
    """When in a lot's life it was weighed."""

    INTAKE = "intake", "in at the door"
    SKIRTED = "skirted", "after skirting"
    IN = "in", "into a machine"
    OUT = "out", "out of a machine"
    WASTE = "waste", "waste"
    STOCK = "stock", "standing"


class Branch(models.TextChoices):
    """Where the fibre's water comes from, or how it is known."""

    ABSORPTION = "absorption", "stored dry, then dampened"
    DESORPTION = "desorption", "dried from wet"
    WET = "wet", "still wet, the air says nothing about it"
    MEASURED = "measured", "water measured by oven or meter"


class Source(models.TextChoices):
    """How the number came in."""

    TYPED = "typed", "typed"
    IMPORT = "import", "from a file"
    SCALE = "scale", "from the scale"


class Weighing(models.Model):
    """One reading of a scale and all that is needed to understand it later."""

    key = models.UUIDField(unique=True)
    body_sha256 = models.CharField(max_length=64)
    lot = models.ForeignKey("mill.Lot", on_delete=models.PROTECT, related_name="weighings", db_index=False)
    container = models.ForeignKey(
        "mill.Container", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    run = models.ForeignKey(
        "mill.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="weighings"
    )
    moment = models.CharField(max_length=10, choices=Moment.choices)
    form = models.CharField(max_length=10)
    gross_mg = models.BigIntegerField()
    tare_mg = models.BigIntegerField(default=0)
    rh_ppm = models.IntegerField(null=True, blank=True)
    temp_milli_c = models.IntegerField(null=True, blank=True)
    branch = models.CharField(max_length=12, choices=Branch.choices, blank=True)
    finish_mg = models.BigIntegerField(default=0)
    actual_regain_ppm = models.IntegerField(null=True, blank=True)
    dry_mg = models.BigIntegerField(null=True, blank=True)
    tables_sha256 = models.CharField(max_length=64, blank=True)
    scale = models.ForeignKey(
        "mill.Scale", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.TYPED)
    weighed_at = MomentField()
    recorded_at = MomentField()
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+", db_index=False)
    device = models.ForeignKey(
        "people.Device", on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    note = models.CharField(max_length=400, blank=True)
    prev_hash = models.CharField(max_length=64, unique=True)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(tare_mg__gte=0, gross_mg__gte=F("tare_mg")), name="weighing_net_is_not_negative"
            ),
            models.CheckConstraint(condition=Q(finish_mg__gte=0), name="weighing_finish_is_not_negative"),
            models.CheckConstraint(
                condition=Q(rh_ppm=None) | Q(rh_ppm__gte=0, rh_ppm__lte=1_000_000),
                name="weighing_rh_is_0_to_100",
            ),
            models.CheckConstraint(
                condition=Q(dry_mg=None) | Q(dry_mg__gte=0, dry_mg__lte=F("gross_mg") - F("tare_mg")),
                name="weighing_dry_is_inside_net",
            ),
            models.CheckConstraint(
                condition=Q(
                    moment__in=Moment.values, source__in=Source.values, form__in=[form.value for form in Form]
                )
                & Q(branch__in=["", *Branch.values]),
                name="weighing_words_are_known",
            ),
        )
        indexes = (models.Index(fields=("lot", "-id"), name="weighing_of_lot"),)

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.net_mg} mg"

    @property
    def net_mg(self) -> int:
        """What lay in the container [mg]."""
        return self.gross_mg - self.tare_mg
