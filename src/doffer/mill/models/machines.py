"""Machines and scales."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from doffer.mill.moment import MomentField


class Machine(models.Model):
    """One machine, rack, tub or table; figures nobody gave stay empty."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    stage = models.CharField(max_length=20)
    kind = models.CharField(max_length=40, blank=True)
    capacity_milli = models.BigIntegerField(null=True, blank=True)  # thousandths of `capacity_unit`
    capacity_unit = models.CharField(max_length=40, blank=True)
    rate_wool_g_per_h = models.IntegerField(null=True, blank=True)
    rate_camelid_g_per_h = models.IntegerField(null=True, blank=True)
    rate_angora_g_per_h = models.IntegerField(null=True, blank=True)
    setup_min = models.IntegerField(default=0)
    clean_light_to_dark_min = models.IntegerField(default=0)
    clean_dark_to_light_min = models.IntegerField(default=0)
    clean_new_owner_min = models.IntegerField(default=0)
    holdup_mg = models.BigIntegerField(default=0)
    status = models.CharField(max_length=10, default="practice")
    note = models.CharField(max_length=400, blank=True)
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(holdup_mg__gte=0, setup_min__gte=0, clean_light_to_dark_min__gte=0)
                & Q(clean_dark_to_light_min__gte=0, clean_new_owner_min__gte=0),
                name="machine_figures_are_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(capacity_milli=None) | Q(capacity_milli__gt=0),
                name="machine_capacity_is_positive",
            ),
        )

    def __str__(self) -> str:
        return self.name


class Scale(models.Model):
    """One scale with its last check against a known mass."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    capacity_mg = models.BigIntegerField()
    division_mg = models.BigIntegerField()
    check_mass_mg = models.BigIntegerField(null=True, blank=True)
    last_check_on = models.DateField(null=True, blank=True)
    last_check_reading_mg = models.BigIntegerField(null=True, blank=True)
    use = models.CharField(max_length=120, blank=True)
    archived_at = MomentField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(capacity_mg__gt=0, division_mg__gt=0), name="scale_figures_are_positive"
            ),
        )

    def __str__(self) -> str:
        return self.name
