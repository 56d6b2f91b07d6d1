"""The owners of fibre."""

from __future__ import annotations

from django.db import models

from doffer.mill.moment import MomentField


class Units(models.TextChoices):
    """How somebody likes to read weights and lengths."""

    METRIC = "metric", "kg, g and m"
    US = "us", "lb, oz and yd"


class Customer(models.Model):
    """Somebody who owns fibre here: a farm, a guild, or the mill itself (`is_own`)."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    contact = models.CharField(max_length=80, blank=True)
    email = models.CharField(max_length=200, blank=True)
    phone = models.CharField(max_length=60, blank=True)
    address = models.CharField(max_length=400, blank=True)
    kind = models.CharField(max_length=80, blank=True)
    units = models.CharField(max_length=10, choices=Units.choices, default=Units.METRIC)
    country_rules = models.CharField(max_length=10, default="EU")
    notice_by = models.CharField(max_length=20, blank=True)
    credit_note = models.CharField(max_length=200, blank=True)
    remark = models.CharField(max_length=400, blank=True)
    is_own = models.BooleanField(default=False)
    created_at = MomentField()
    created_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(units__in=Units.values), name="customer_units_are_known"
            ),
            models.CheckConstraint(condition=~models.Q(name=""), name="customer_is_named"),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.name}"
